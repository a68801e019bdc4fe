"""Opening, resuming and closing an incident: record, rules, clock and session put together."""

from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from assistant.clock import Clock, SystemClock, boot_id, boot_ms, wall_ms_since, wall_time
from assistant.journal import Header, Journal, KeptScenario, Record
from assistant.library import Source, make_book
from assistant.replay import book_of, rebuild
from assistant.session import Session
from protocol.commands import PROGRAM, OpenIncident


@dataclass(frozen=True, slots=True)
class Incident:
    """Everything that belongs to one open incident."""

    session: Session
    journal: Journal
    clock: Clock
    note: str = ""
    """What a person should know about how it was resumed."""
    history: tuple[Record, ...] = ()
    """Records from before it was resumed."""
    scenario: KeptScenario | None = None
    """What a drill that was resumed had begun with."""


def program_version() -> str:
    """The installed version."""
    try:
        return version("bin-rescue-assistant")
    except PackageNotFoundError:
        return "from source"


def open_incident(
    source: Source, path: Path, kind: str, clock: Clock, scenario: KeptScenario | None = None
) -> Incident:
    """Begin a record; the opening command is for the caller, once it is ready to speak.

    Args:
        source: procedure texts, house rules and words.
        path: the new file.
        kind: live, drill or rehearsal.
        clock: a clock at zero.
        scenario: of a drill, kept in the record.

    Raises:
        JournalError: if the file exists or cannot be written.
        ProcedureError: if the procedure is wrong.
    """
    book = make_book(source)
    zero: dict[str, Any] = {"kept": "recording"}
    if isinstance(clock, SystemClock):
        zero = {"kept": "machine", "boot": boot_id(), "zero_ms": boot_ms() - clock.now_ms()}
    header = Header(
        procedure=source.name,
        texts=source.texts,
        house=book.house.model_dump(mode="json"),
        words=source.words,
        digest=book.digest,
        kind=kind,
        opened=wall_time(),
        clock=zero,
        program=f"bin-rescue-assistant {program_version()}",
        scenario=scenario,
    )
    journal = Journal.create(path, header)
    return Incident(Session(book, journal), journal, clock)


def begin(incident: Incident, kind: str) -> None:
    """Submit the opening command."""
    book = incident.session.book
    incident.session.submit(OpenIncident(incident.clock.now_ms(), PROGRAM, kind, book.digest))


def resume_incident(path: Path) -> Incident:
    """Go on with a record: same step, same counts, clocks as if nothing had happened.

    Raises:
        JournalError: if the record is damaged or in use.
        ProcedureError: if its procedure cannot be used.
    """
    journal, history = Journal.reopen(path)
    book = book_of(history)
    state = rebuild(history)
    last_ms = state.at_ms
    now_ms, note = _time_now(history.header, last_ms)
    if history.torn:
        note = f"{note} A record that was being written is set aside; it had not been spoken or applied.".strip()
    session, clock = Session(book, journal, state), SystemClock(now_ms)
    return Incident(session, journal, clock, note, history.records, history.header.scenario)


def _time_now(header: Header, last_ms: int) -> tuple[int, str]:
    kept = header.clock
    if kept.get("kept") != "machine":
        return last_ms, "The clock goes on from the last record."
    try:
        if kept.get("boot") == boot_id():
            return max(last_ms, boot_ms() - int(kept["zero_ms"])), ""
        passed = wall_ms_since(header.opened)
    except (KeyError, ValueError, TypeError, OverflowError):
        return last_ms, "The record does not say how time was kept: clocks go on from the last record."
    if passed < last_ms:
        return last_ms, "The machine was restarted and its wall clock is behind: clocks go on from the last record."
    return passed, "The machine was restarted: clocks follow its wall clock."
