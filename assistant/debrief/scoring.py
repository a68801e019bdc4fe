"""The score as facts: counted by `protocol.score`, told without a grade unless the department set one."""

from collections.abc import Iterator

from assistant.debrief.document import Block, Heading, Pairs, Table, Text
from assistant.debrief.moments import counted, length, local_time, minutes
from assistant.debrief.names import plain
from assistant.debrief.tale import Tale
from protocol.score import UNSURE_BELOW, InjectAnswer, Score, StageTime

WHEN = ("Local", "Minutes")
MOST_UNSURE = 15
"""Unsure phrases that are listed."""
NO_TARGET = "no target set"


def score_blocks(tale: Tale) -> Iterator[Block]:
    """Facts, stages against their targets, injects, and words to look at."""
    yield Heading("Score, as facts")
    score = tale.score
    if score is None:
        yield Text("It could not be counted from this record.")
        return
    yield Pairs(_facts(score))
    if any(row.target_ms is not None for row in score.stages):
        rows = tuple((row.title, length(row.spent_ms), *_against(row)) for row in score.stages)
        yield Table(("Stage", "In it for", "Wanted", "Over by"), rows, (0.4, 0.2, 0.2, 0.2), "")
    if score.injects:
        injects = tuple((*_when(tale, row.given_ms), row.text, *_answer(row)) for row in score.injects)
        yield Table((*WHEN, "Inject", "Answered after", "Wanted within"), injects, (0.13, 0.11, 0.42, 0.18, 0.16), "")
    words = tuple((*_when(tale, at_ms), text, why) for at_ms, text, why in _words(score))
    if words:
        more = len(score.unsure) - MOST_UNSURE
        rest = f" (the {MOST_UNSURE} least sure; {more} more are in the JSON)" if more > 0 else ""
        yield Text(f"Words to look at, for the wording or the headset{rest}:", "small")
        yield Table((*WHEN, "Words", "What happened"), words, (0.13, 0.11, 0.4, 0.36), "",
                    tuple(at_ms for at_ms, _text, _why in _words(score)))  # fmt: skip
    yield Text("Facts, not grades: what they are worth is for the crew and its trainer.", "small")


def _facts(score: Score) -> tuple[tuple[str, str], ...]:
    oldest = score.oldest_air_ms
    backs = score.read_backs
    leaned = "no step that needs air was confirmed" if oldest is None else f"at most {length(oldest)} old"
    asked = f"{backs.asked} asked, {backs.affirmed} affirmed, {backs.negated} refused, {backs.lapsed} lapsed"
    rows = [
        ("Time", f"{length(score.duration_ms)}{'' if score.closed else ', not finished'}"),
        ("Order", f"{counted(len(score.order_faults), 'thing')} tried before the right moment"),
        ("Refused", f"{counted(len(score.refused), 'confirmation')}, because something was missing"),
        ("Air leaned on", leaned),
        ("Roll calls", _calls(len(score.roll_calls), score.missed_roll_calls)),
        ("Talks to the person", _calls(len(score.person_checks), score.missed_person_checks)),
        ("Read-backs", asked),
        ("Said again on request", counted(len(score.said_again_ms), "time")),
        ("Injects", _injects(score)),
        ("Steps taken back", str(score.steps_back)),
    ]
    if score.ended_by:
        rows.append(("Drill ended", score.ended_by))
    if score.rewinds or score.pauses:
        rows.append(("Trainer", f"{counted(score.pauses, 'pause')}, put back {counted(score.rewinds, 'time')}"))
    if score.grade:
        rows.append(("Grade set by the department", score.grade))
    return tuple(rows)


def _calls(asked: int, missed: int) -> str:
    return f"{asked} asked for, {missed} not answered before the next was due" if asked else "none was asked for"


def _injects(score: Score) -> str:
    if not score.injects:
        return "none was given"
    return f"{len(score.injects)} given, {score.late_answers} not answered in the time wanted"


def _against(row: StageTime) -> tuple[str, str]:
    if row.target_ms is None:
        return NO_TARGET, ""
    return length(row.target_ms), length(row.over_ms) if row.over_ms else "within it"


def _answer(row: InjectAnswer) -> tuple[str, str]:
    if not row.expects:
        return "no answer was expected", ""
    took = "not answered" if row.took_ms is None else length(row.took_ms)
    return took, NO_TARGET if row.within_s is None else length(round(row.within_s * 1000))


def _words(score: Score) -> list[tuple[int, str, str]]:
    taken_back = [(row.at_ms, plain(row.words), row.how) for row in score.misheard]
    unsure = [
        (row.at_ms, row.words, f"taken with {row.confidence:.2f}, under {UNSURE_BELOW}")
        for row in score.unsure[:MOST_UNSURE]
    ]
    return sorted(taken_back + unsure)


def _when(tale: Tale, at_ms: int) -> tuple[str, str]:
    return local_time(tale.opened, at_ms, tale.zone), minutes(at_ms)
