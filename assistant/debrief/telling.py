"""A record file made into a tale, whatever is wrong with the file."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from pathlib import Path

from assistant.debrief.gather import Gatherer
from assistant.debrief.moments import opened_at
from assistant.debrief.tale import Condition, LevelRow, Tale
from assistant.errors import AssistantError, JournalError
from assistant.journal import MAX_FILE_BYTES, Header, History, Record
from assistant.replay import book_of, verify
from assistant.salvage import Entry, entries
from protocol.air import required_gases
from protocol.balance import taped_levels
from protocol.errors import ProtocolError
from protocol.handover import Line, handover
from protocol.remaining import person_of
from protocol.scene import Book, Scene
from protocol.score import Score, Tally

MOST_FAULTS = 5
"""Faults that are named one by one."""


@dataclass(slots=True)
class File:
    """What a record file holds, and what is wrong with it."""

    header: Header
    records: list[Record] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    torn: str = ""
    digest: str = ""


def tell(path: Path, zone: tzinfo | None = None) -> Tale:
    """Everything that a record tells.

    Args:
        path: the record; torn or altered ones are told as far as they go.
        zone: time zone of the report; None: the machine's own.

    Raises:
        JournalError: if it is no record at all.
    """
    file = read_file(path)
    book, why = _book(file)
    gatherer = Gatherer(book)
    for record in file.records:
        gatherer.take(record)
    return _tale(file, gatherer, _condition(file, gatherer, book, why), zone)


def read_file(path: Path) -> File:
    """Header and records, with the faults of the lines.

    Raises:
        JournalError: if it is no record at all.
    """
    lines = entries(path)
    first = next(lines)
    if path.stat().st_size > MAX_FILE_BYTES:
        raise JournalError(f"{path}: longer than {MAX_FILE_BYTES} bytes; an incident record is never so long.")
    assert first.header is not None
    file = File(first.header, digest=first.chain)
    _note_fault(file, first)
    for entry in lines:
        _note_fault(file, entry)
        if entry.record is not None:
            file.records.append(entry.record)
            file.digest = entry.chain
    return file


def _note_fault(file: File, entry: Entry) -> None:
    if entry.torn:
        file.torn = entry.fault
    elif entry.fault:
        file.faults.append(f"line {entry.number}: {entry.fault}")


def _book(file: File) -> tuple[Book | None, str]:
    """The procedure that the record holds, or why it cannot be used."""
    try:
        return book_of(History(file.header, (), "", 0)), ""
    except AssistantError as error:
        return None, f"The procedure in the record cannot be used by this version ({error}): ids stand for titles."


def _condition(file: File, gatherer: Gatherer, book: Book | None, why: str) -> Condition:
    said: list[str] = []
    if file.faults:
        named = "; ".join(file.faults[:MOST_FAULTS]).rstrip(".")
        more = len(file.faults) - MOST_FAULTS
        rest = f"; and {more} more" if more > 0 else ""
        said.append(f"This record was changed or damaged after it was written and is told as found: {named}{rest}.")
    if file.torn:
        said.append(
            f"The file ends in {file.torn}. It had not been spoken or applied, and it is not counted. "
            "Everything before it is whole."
            if not file.faults
            else f"The file ends in {file.torn}; it is not counted."
        )
    if gatherer.misfits:
        said.append(f"{len(gatherer.misfits)} events contradict those before them; the first: {gatherer.misfits[0]}")
    verified, sentence = _verified(file, book)
    said.extend(text for text in (why, sentence) if text)
    return Condition(not file.faults, tuple(said), file.digest, len(file.records), verified)


def _verified(file: File, book: Book | None) -> tuple[bool | None, str]:
    if file.faults or book is None:
        return None, "It could not be verified against the rules."
    if not file.records:
        return None, "Nothing was recorded after the file was begun."
    try:
        difference = verify(History(file.header, tuple(file.records), file.digest, 0))
    except (AssistantError, ProtocolError) as error:
        return False, f"It does not verify: {error}"
    if difference is None:
        return True, "Verified: every record is whole, and the rules decide each one as recorded."
    return False, f"Every record is whole, but the rules of this version decide record {difference.n} otherwise."


def _tale(file: File, gatherer: Gatherer, condition: Condition, zone: tzinfo | None) -> Tale:
    header, book, state, end_ms = file.header, gatherer.book, gatherer.state, gatherer.end_ms
    scene = Scene(book, state, end_ms) if book else None
    house = book.house if book else None
    return Tale(
        kind=header.kind,
        title=book.procedure.heading.title if book else header.procedure,
        scenario=gatherer.scenario,
        opened=opened_at(header.opened),
        zone=zone,
        program=header.program,
        units=house.units if house else "us",
        book_digest=header.digest,
        end_ms=end_ms,
        closed=state.closed,
        last_step=gatherer.names.step(state.step) if state.step else "",
        condition=condition,
        max_age_ms=round((house.air_max_age_min if house else 10.0) * 60_000),
        needed=required_gases(state.fact("fumigated")),
        height_m=person_of(house).height_m.value if house else 1.75,
        stages=gatherer.stages.done(end_ms),
        confirmations=tuple(gatherer.confirmations),
        orders=tuple(gatherer.orders),
        refusals=tuple(gatherer.refusals),
        alarms=tuple(gatherer.alarms),
        emergencies=gatherer.emergencies.done(end_ms),
        holds=gatherer.holds.done(end_ms),
        air=tuple(gatherer.air),
        levels=(*gatherer.levels, *_taped(scene)),
        canisters=tuple(gatherer.canisters),
        crew=gatherer.crew.done(end_ms),
        parts=gatherer.parts.done(end_ms),
        moments=tuple(gatherer.moments),
        notes=tuple(gatherer.notes),
        time_guesses=tuple(gatherer.time_guesses),
        level_guesses=tuple(gatherer.level_guesses),
        story=tuple(gatherer.story),
        sounds=tuple(gatherer.sounds),
        handover=_handover(scene),
        score=_score(file, book),
        gaps=gaps(gatherer),
    )


def _score(file: File, book: Book | None) -> Score | None:
    if book is None:
        return None
    tally = Tally(book.procedure)
    try:
        for record in file.records:
            tally.take(record.events)
            tally.hear(record.command)
        return tally.score()
    except (ProtocolError, KeyError, ValueError):
        return None


def _taped(scene: Scene | None) -> Sequence[LevelRow]:
    if scene is None:
        return ()
    return [LevelRow(round(row.at_s * 1000), "", row.height_m, taped=True) for row in taped_levels(scene)]


def _handover(scene: Scene | None) -> tuple[Line, ...]:
    if scene is None or not scene.state.opened:
        return ()
    return handover(scene)


def gaps(gatherer: Gatherer) -> tuple[str, ...]:
    """What nobody said, so that silence is not taken for good news."""
    state = gatherer.state
    asked = {
        "people": "how many were caught", "visible": "whether the person could be seen", "depth": "how deep at first",
        "grain": "which grain", "fumigated": "whether it was fumigated", "cause": "how it happened",
    }  # fmt: skip
    missing = [words for fact, words in asked.items() if state.fact(fact, "") == ""]
    told = [f"Never said: {', '.join(missing)}."] if missing else []
    if not any(not row.taken_back for row in gatherer.levels):
        told.append("No grain level was called, so nothing is known about how the grain fell.")
    if not any(not row.taken_back for row in gatherer.canisters):
        told.append("No canister was counted.")
    if not gatherer.confirmations:
        told.append("No step was confirmed.")
    if not state.closed:
        told.append("The incident was not closed in this record.")
    return tuple(told)
