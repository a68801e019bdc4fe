"""Adding records: read line by line, written in batches, one transaction a record; nothing is held but one batch."""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, delete, insert, select, update
from sqlalchemy.exc import IntegrityError

from assistant.archive.counting import Counts
from assistant.archive.schema import DRILLS, EVENTS, STAGES, UNKNOWN_MONTH
from assistant.archive.store import told
from assistant.errors import ArchiveError
from assistant.journal import MAX_LINE_BYTES, Header, History
from assistant.replay import book_of
from assistant.salvage import Entry, entries
from protocol.scene import Book
from protocol.wire import to_plain

BATCH = 5_000
"""Events that are written at once."""


@dataclass(frozen=True, slots=True)
class Labels:
    """What the record does not hold, as the trainer names it."""

    department: str = ""
    crew: str = ""
    place: str = ""
    scenario: str = ""
    """In place of the one in the record."""


@dataclass(frozen=True, slots=True)
class Added:
    """What became of one record."""

    drill: int
    new: bool
    """False: it was already there."""
    replaced: bool
    """It goes on from one that was there, which it replaces."""
    events: int


class Shelf:
    """Procedures that were read before, so that ten thousand records of one procedure read it once."""

    def __init__(self) -> None:
        self._books: dict[str, Book] = {}

    def book(self, header: Header) -> Book:
        """The procedure and house rules that a record holds.

        Raises:
            ProcedureError: if this version cannot use them.
            JournalError: if the house rules are none.
        """
        content = [header.procedure, dict(header.texts), dict(header.house), dict(header.words)]
        key = hashlib.sha256(json.dumps(content, sort_keys=True, default=list).encode()).hexdigest()
        if key not in self._books:
            self._books[key] = book_of(History(header, (), "", 0))
        return self._books[key]


class _Stream:
    """The events of a record as rows, counted and checked on the way."""

    def __init__(self, path: Path, drill: int, earlier: dict[str, int], shelf: Shelf) -> None:
        self._lines = entries(path)
        first = next(self._lines)
        assert first.header is not None
        self.header: Header = first.header
        self.header_digest = first.chain
        self.counts = Counts(shelf.book(first.header))
        self.digest = first.chain
        self.records = 0
        self.faults: list[str] = [f"line 1: {first.fault}"] if first.fault else []
        self.continues: int | None = None
        self._drill, self._earlier = drill, earlier

    def rows(self) -> Iterator[dict[str, Any]]:
        """One row an event."""
        for entry in self._lines:
            if entry.torn:
                continue
            if entry.fault:
                self.faults.append(f"line {entry.number}: {entry.fault}")
            if entry.record is not None:
                yield from self._record(entry)

    def _record(self, entry: Entry) -> Iterator[dict[str, Any]]:
        record = entry.record
        assert record is not None
        self.records += 1
        self.digest = entry.chain
        self.continues = self._earlier.get(entry.chain, self.continues)
        self.counts.hear(record.command)
        for place, event in enumerate(record.events):
            self.counts.take(event)
            plain = to_plain(event)
            kind = plain.pop("is")
            yield {
                "drill": self._drill, "n": record.n, "place": place, "at_ms": event.at_ms, "kind": kind,
                "body": json.dumps(plain, separators=(",", ":"), sort_keys=True),
            }  # fmt: skip


def add(engine: Engine, path: Path, labels: Labels, shelf: Shelf | None = None, *, damaged: bool = False) -> Added:
    """Add one record. The same record again changes nothing; one that goes on from an archived one replaces it.

    Args:
        engine: the archive.
        path: the record.
        labels: department, crew, place.
        shelf: procedures read before, when many records are added.
        damaged: take a record that was changed or damaged, too; it is marked as such.

    Raises:
        JournalError: if the file is no record.
        ProcedureError: if its procedure cannot be used by this version.
        ArchiveError: if the database fails, or the record is damaged and that was not allowed.
    """
    digest = last_digest(path)
    with told(engine), engine.connect() as connection:
        known = connection.execute(select(DRILLS.c.id).where(DRILLS.c.digest == digest)).scalar() if digest else None
        if known is not None:
            return Added(int(known), new=False, replaced=False, events=0)
        try:
            added = _load(connection, path, labels, shelf or Shelf(), damaged=damaged)
            if added.new:
                connection.commit()
        except IntegrityError as error:
            raise ArchiveError(f"{path}: another program is adding the same record. Nothing was added.") from error
        return added


def last_digest(path: Path) -> str:
    """The digest on the last whole line, read from the end of the file; empty when there is none."""
    try:
        with path.open("rb") as handle:
            size = handle.seek(0, 2)
            handle.seek(max(0, size - 2 * MAX_LINE_BYTES))
            lines = handle.read().split(b"\n")
        content = json.loads(lines[-2]) if len(lines) > 1 else {}
        return str(content.get("chain", "")) if isinstance(content, dict) else ""
    except (OSError, ValueError, RecursionError):
        return ""  # the reader that follows says what is wrong


def _load(connection: Connection, path: Path, labels: Labels, shelf: Shelf, *, damaged: bool) -> Added:
    earlier = _earlier(connection, path)
    drill = _placeholder(connection, path)
    stream = _Stream(path, drill, earlier, shelf)
    rows = stream.rows()
    while batch := list(islice(rows, BATCH)):
        connection.execute(insert(EVENTS), batch)
    if stream.faults and not damaged:
        raise ArchiveError(
            f"{path}: changed or damaged after it was written ({stream.faults[0].rstrip('.')}). Nothing was added. "
            "Add it as it is, marked, with --damaged."
        )
    longer = _longer(connection, stream, drill)
    if longer is not None:
        return Added(longer, new=False, replaced=False, events=0)
    if stream.continues is not None:
        connection.execute(delete(DRILLS).where(DRILLS.c.id == stream.continues))
    summary = _summary(stream, path, labels)
    connection.execute(update(DRILLS).where(DRILLS.c.id == drill).values(summary))
    stages = [{"drill": drill, "month": summary["month"], **asdict(row)} for row in stream.counts.stages()]
    if stages:
        connection.execute(insert(STAGES), stages)
    return Added(drill, new=True, replaced=stream.continues is not None, events=stream.counts.events)


def _longer(connection: Connection, stream: _Stream, drill: int) -> int | None:
    """An archived record that goes on from this one: begun by the same line, longer, and the same at this one's end."""
    same = select(DRILLS.c.id).where(
        DRILLS.c.header_digest == stream.header_digest, DRILLS.c.records > stream.records, DRILLS.c.id != drill
    )
    mine = _at(connection, drill, stream.records)
    for other in connection.execute(same).scalars().all():
        if mine and mine == _at(connection, other, stream.records):
            return int(other)
    return None


def _at(connection: Connection, drill: int, n: int) -> list[tuple[Any, ...]]:
    """The events of one record of an archived incident."""
    statement = select(EVENTS.c.at_ms, EVENTS.c.kind, EVENTS.c.body).where(EVENTS.c.drill == drill, EVENTS.c.n == n)
    return [tuple(row) for row in connection.execute(statement.order_by(EVENTS.c.place))]


def _placeholder(connection: Connection, path: Path) -> int:
    """A row to hang the events on; its columns are filled in once the record has been read."""
    empty: dict[str, Any] = {
        column.name: "" if column.type.python_type is str else 0
        for column in DRILLS.columns
        if not column.nullable and not column.primary_key
    }
    empty.update(digest=f"being added: {path.name}"[:64], closed=False, whole=False)
    return int(connection.execute(insert(DRILLS).values(empty).returning(DRILLS.c.id)).scalar_one())


def _earlier(connection: Connection, path: Path) -> dict[str, int]:
    """Archived records that began with the same line, by their last digest."""
    first = next(entries(path))
    same = select(DRILLS.c.digest, DRILLS.c.id).where(DRILLS.c.header_digest == first.chain)
    return {str(digest): int(drill) for digest, drill in connection.execute(same)}


def _summary(stream: _Stream, path: Path, labels: Labels) -> dict[str, Any]:
    header, counts = stream.header, stream.counts
    opened_s, month = _opened(header.opened)
    return {
        "digest": stream.digest,
        "header_digest": stream.header_digest,
        "file": path.name,
        "kind": header.kind,
        "scenario": labels.scenario or counts.scenario,
        "title": counts.title,
        "department": labels.department,
        "crew": labels.crew,
        "place": labels.place,
        "opened_s": opened_s,
        "month": month,
        "closed": counts.closed,
        "whole": not stream.faults,
        "records": stream.records,
        "events": counts.events,
        "procedure": header.procedure,
        "procedure_digest": header.digest,
        "program": header.program,
        **counts.numbers,
        **counts.scored(),
    }


def _opened(text: str) -> tuple[int | None, str]:
    try:
        moment = datetime.fromisoformat(text)
        moment = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    except (ValueError, OverflowError):
        return None, UNKNOWN_MONTH
    return int(moment.timestamp()), f"{moment:%Y-%m}"
