"""The sections of a debrief, from a tale. What is not known is said to be; nothing here says that air is safe."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from assistant.debrief.air_plot import air_plot, shown_limits
from assistant.debrief.air_table import air_table
from assistant.debrief.document import Block, Figure, Folded, Heading, Pairs, Report, Table, Text
from assistant.debrief.gather import PREPARED
from assistant.debrief.grain_plot import level_plot, reached_ms, time_plot
from assistant.debrief.moments import counted, length, local_day, local_time, minutes
from assistant.debrief.people import people
from assistant.debrief.scoring import score_blocks
from assistant.debrief.tale import KINDS, LevelRow, StageRow, Tale
from assistant.debrief.timeline import stage_numbers, timeline
from protocol.air import RANGES, Verdict
from protocol.units import INCH_M
from protocol.wording import READ_NOT_SAFE

ADVICE = (
    "Advice only. The incident commander decides; local procedure, the authority having jurisdiction and licensed "
    "medical practice come first."
)
WHEN = ("Local", "Minutes")


@dataclass(frozen=True, slots=True)
class Cover:
    """What the record does not hold and the person who makes the report may add."""

    department: str = ""
    file: str = ""


def report(tale: Tale, cover: Cover) -> Report:
    """The whole debrief."""
    kind = KINDS.get(tale.kind, tale.kind.capitalize())
    scenario = f": {tale.scenario}" if tale.scenario else ""
    title = f"Debrief. {kind}{scenario}"
    when = local_day(tale.opened, 0, tale.zone)
    who = f"{cover.department}. " if cover.department else ""
    blocks = [
        *_condition(tale), *_summary(tale, cover), *_timeline(tale), *_air(tale), *_grain(tale), *people(tale),
        *_handover(tale), *score_blocks(tale), *_cautions(), *_record(tale, cover),
    ]  # fmt: skip
    foot = f"{title}, begun {when}. Record digest {tale.condition.digest[:16]}"
    return Report(title, f"{who}{tale.title}. Begun {when}.", foot, "a4" if tale.units == "metric" else "letter",
                  tuple(blocks))  # fmt: skip


def when(tale: Tale, at_ms: int) -> tuple[str, str]:
    """A moment in local time and in minutes since the start."""
    return local_time(tale.opened, at_ms, tale.zone), minutes(at_ms)


def _condition(tale: Tale) -> Iterator[Block]:
    yield Text(ADVICE, "caution")
    if not tale.condition.whole or tale.condition.verified is False:
        yield Text(" ".join(tale.condition.sentences), "caution")
    elif len(tale.condition.sentences) > 1:
        yield Text(" ".join(tale.condition.sentences[:-1]))


def _summary(tale: Tale, cover: Cover) -> Iterator[Block]:
    yield Heading("Summary")
    ended = "closed" if tale.closed else f"not closed; the record ends at: {tale.last_step or 'the beginning'}"
    air = [row for row in tale.air if not row.taken_back]
    bad = sum(row.verdict is Verdict.BAD for row in air)
    canisters = sum(not row.taken_back for row in tale.canisters)
    levels = sum(not row.taken_back for row in tale.levels)
    rows = [
        ("Length", f"{length(tale.end_ms)}, {ended}"),
        ("Steps", _steps(tale)),
        ("Air", f"{counted(len(air), 'reading')}, {bad} bad. {_not_read(tale)} {READ_NOT_SAFE}."),
        ("Grain", f"{counted(canisters, 'canister')} counted, {counted(levels, 'level')} read.{_reached(tale)}"),
        ("Crew", _crew(tale)),
        ("Emergencies", _emergencies(tale)),
    ]  # fmt: skip
    if cover.department:
        rows.insert(0, ("Department", cover.department))
    yield Pairs(tuple(rows))
    if tale.gaps:
        yield Text(f"Not known from this record: {' '.join(tale.gaps)}")


def _steps(tale: Tale) -> str:
    ordered = sum(order.taken for order in tale.orders)
    prepared = sum(row.outcome == PREPARED for row in tale.confirmations)
    confirmed = counted(len(tale.confirmations) - prepared, "confirmation")
    before = f"; {prepared} before them were prepared for the drill" if prepared else ""
    return f"{confirmed}, {len(tale.refusals)} refused, {ordered} passed or ended by order with a reason{before}"


def _not_read(tale: Tale) -> str:
    missing = [gas.spoken for gas in tale.not_read]
    return f"Not read: {', '.join(missing)}." if missing else "Every gas of the list was read at least once."


def _reached(tale: Tale) -> str:
    at_ms = reached_ms(tale, "knees")
    return f" At the knees {minutes(at_ms)} min after the start." if at_ms is not None else ""


def _crew(tale: Tale) -> str:
    if not tale.crew:
        return "Nobody was counted into the bin."
    inside = [str(row.slot) for row in tale.crew if row.span.open]
    most = max(row.span.length_ms for row in tale.crew)
    still = f" When the record ends, still inside: rescuer {', '.join(inside)}." if inside else " All counted out."
    return f"{counted(len(tale.crew), 'stay')} in the bin, the longest {length(most)}.{still}"


def _emergencies(tale: Tale) -> str:
    if not tale.emergencies:
        return "None was raised."
    back = sum(row.withdrawn for row in tale.emergencies)
    return f"{len(tale.emergencies)} raised, {back} of them taken back."


def _timeline(tale: Tale) -> Iterator[Block]:
    yield Heading("Timeline")
    injects = " Injects stand in a row of their own." if any(row.what == "inject" for row in tale.moments) else ""
    yield Figure(timeline(tale), f"Stages carry the numbers of the table. Crossed: an emergency.{injects}")
    numbers = stage_numbers(tale)
    by_stage: dict[str, list[StageRow]] = {}
    for row in tale.stages:
        by_stage.setdefault(row.stage, []).append(row)
    rows = tuple(
        (str(numbers[stage]), stays[0].title, *when(tale, stays[0].span.from_ms), *_stay(stays))
        for stage, stays in by_stage.items()
    )
    yield Table(("No.", "Stage", *WHEN, "In it for", "Stays"), rows, (0.07, 0.37, 0.16, 0.13, 0.17, 0.1),
                "No stage was entered.")  # fmt: skip


def _stay(stays: Sequence[StageRow]) -> tuple[str, str]:
    total = length(sum(row.span.length_ms for row in stays))
    return f"{total}{' so far' if stays[-1].span.open else ''}", str(len(stays))


def _air(tale: Tale) -> Iterator[Block]:
    yield Heading("Air as read")
    picture = air_plot(tale)
    if picture is not None:
        age = length(tale.max_age_ms)
        yield Figure(picture, f"A reading counts for {age} (house rule). {_not_read(tale)} {READ_NOT_SAFE}.")
    if not tale.air:
        yield Text("No air reading is on record: nothing is known about the air.")
        return
    yield air_table(tale)
    yield Text(f"One row for each round of the meter; a dash: not read in that round. Limits: {_limit_sources(tale)}",
               "small")  # fmt: skip


def _limit_sources(tale: Tale) -> str:
    gases = {row.gas for row in tale.air} | set(tale.needed)
    parts = [
        f"{gas.spoken} {limit.crossing.value.replace('_', ' ')} {limit.value:f} {limit.unit} ({limit.source})"
        for gas in (row.gas for row in RANGES) if gas in gases
        for limit in shown_limits(gas)
    ]  # fmt: skip
    return "; ".join(parts) + "."


def _grain(tale: Tale) -> Iterator[Block]:
    yield Heading("Grain inside the ring")
    level, left = level_plot(tale), time_plot(tale)
    if level is None:
        yield Text("No grain level was called: nothing can be drawn or predicted.")
        return
    yield Figure(level, "Heights are those of a person of the middle of the assumed range of height. What the "
                        "canisters predict is an estimate: ring area times height, less the body.")  # fmt: skip
    if left is None:
        yield Text("Too few canisters and levels were called to predict how long the work would take.")
    else:
        yield Figure(left, "Each bar is what the program predicted at that moment, from the low to the high end.")
    rows = tuple(
        (*when(tale, row.at_ms), _level(row, tale.units)) for row in sorted(tale.levels, key=lambda row: row.at_ms)
    )
    yield Table((*WHEN, "Level"), rows, (0.16, 0.14, 0.7), "No level was called.")


def _level(row: LevelRow, units: str) -> str:
    height = f"{row.height_m / INCH_M:.0f} in" if units == "us" else f"{row.height_m:.2f} m"
    words = f"taped, {height} over the soles" if row.taped else f"grain at {row.mark}"
    return f"{words} (taken back)" if row.taken_back else words


def _handover(tale: Tale) -> Iterator[Block]:
    yield Heading("Hand-over card")
    if not tale.handover:
        yield Text("No hand-over can be made from this record.")
        return
    yield Pairs(tuple((f"{line.letter}  {line.title}", _sentence(line.text)) for line in tale.handover))
    yield Text("As the record stands at its end. What nobody said is called not known. Nothing here is medical advice.",
               "small")  # fmt: skip


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _cautions() -> Iterator[Block]:
    yield Heading("Cautions")
    yield Text(ADVICE, "caution")
    yield Text(f"{READ_NOT_SAFE}. What was not read is not known. Estimates are estimates, each with its range. Times "
               "of stages say how long the record stood in them, not who was to blame.")  # fmt: skip


def _record(tale: Tale, cover: Cover) -> Iterator[Block]:
    yield Heading("The record")
    whole = "whole: the chain of digests fits" if tale.condition.whole else "changed or damaged"
    yield Pairs((
        ("File", cover.file or "not named"),
        ("Records", f"{tale.condition.records}, {whole}"),
        ("Final digest", tale.condition.digest),
        ("Made by", tale.program),
        ("Procedure and house rules", f"digest {tale.book_digest}"),
    ))  # fmt: skip
    yield Text(" ".join(tale.condition.sentences))
    rows = tuple((*when(tale, line.at_ms), line.who, line.text) for line in tale.story)
    heard = tuple(line.at_ms if line.sort == "heard" else -1 for line in tale.story)
    yield Folded("Everything that was heard, said and done",
                 Table((*WHEN, "Who", "What"), rows, (0.12, 0.1, 0.2, 0.58), "Nothing.", heard))  # fmt: skip
