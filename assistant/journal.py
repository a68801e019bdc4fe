"""The incident record: one file, append-only, each record on disk before anything is spoken or applied.

Line 1 is the header (what it ran on: procedure texts, house rules, wall time of zero). Each further line is one
record: number, time, command, events. Every line ends in `chain`, the SHA-256 of the line before it and of its own
content, so that an edited, removed or added line shows. A torn last line is set aside and reported; anything torn
before the last line stops the load.
"""

import fcntl
import hashlib
import json
import os
import stat
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Self

from pydantic import TypeAdapter, ValidationError

from assistant.errors import JournalError
from protocol.commands import Command
from protocol.errors import HistoryError
from protocol.events import Event
from protocol.wire import command_from, event_from, to_plain

FORMAT = 1
MAX_LINE_BYTES = 4_000_000
MAX_FILE_BYTES = 256_000_000
"""Far more than a day of records; a larger file is refused before it is read."""
MALFORMED = (HistoryError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError)
"""What a line of nonsense, or of well-formed JSON of the wrong shape, raises while it is read."""
NO_HEADER = "no whole header: not an incident record, or nothing was recorded. Begin a new one with: bin-rescue run."


@dataclass(frozen=True, slots=True)
class KeptScenario:
    """A drill's scenario as it was when the drill began, so that it can go on after a stop."""

    name: str
    """What its file was called."""
    text: str
    pace: float
    """How much faster than in earnest the simulated vacuum works."""


@dataclass(frozen=True, slots=True)
class Header:
    """What an incident ran on."""

    procedure: str
    """Name of the main procedure text."""
    texts: Mapping[str, str]
    house: Mapping[str, Any]
    words: Mapping[str, Sequence[str]]
    """A department's own phrases by step."""
    digest: str
    kind: str
    """live, drill or rehearsal."""
    opened: str
    """Wall time of zero, UTC."""
    clock: Mapping[str, Any]
    """How time was kept: machine boot and its count at zero, or a recording."""
    program: str
    scenario: KeptScenario | None = None
    """Of a drill that has one."""


HEADER: TypeAdapter[Header] = TypeAdapter(Header)


@dataclass(frozen=True, slots=True)
class Record:
    """One turn."""

    n: int
    at_ms: int
    command: Command
    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class History:
    """All that a file holds."""

    header: Header
    records: tuple[Record, ...]
    chain: str
    """Digest of the last line."""
    good_bytes: int
    """Length of the part that is whole."""
    torn: bytes = field(default=b"")
    """What follows it: the remains of a line that was being written."""

    @property
    def events(self) -> tuple[Event, ...]:
        """Every event in order."""
        return tuple(event for record in self.records for event in record.events)


class Journal:
    """The open record of one incident; one program at a time."""

    def __init__(self, path: Path, handle: int, n: int, chain: str) -> None:
        self.path = path
        self._handle = handle
        self._n = n
        self._chain = chain
        self._whole_bytes = os.fstat(handle).st_size
        self.last_line = b""
        """The line that was written last, as it stands in the file without its end."""

    @classmethod
    def create(cls, path: Path, header: Header) -> Self:
        """Begin a new file.

        Raises:
            JournalError: if it exists or cannot be written.
        """
        try:
            _make_folder(path.parent)
            handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o600)
        except FileExistsError as error:
            raise JournalError(f"{path} already exists. Give a new name, or go on with: bin-rescue resume.") from error
        except OSError as error:
            raise JournalError(f"{path} cannot be written ({error.strerror}). Choose another folder.") from error
        _lock(handle, path)
        journal = cls(path, handle, 0, "")
        try:
            journal._write({"format": FORMAT, **_header_plain(header)})
            _sync_folder(path.parent)
        except (JournalError, OSError) as error:
            journal.close()
            path.unlink(missing_ok=True)
            raise JournalError(f"{path}: no record can be begun there ({error}). Choose another folder.") from error
        return journal

    @classmethod
    def reopen(cls, path: Path) -> tuple[Self, History]:
        """Go on with a file; a torn last line is moved to a file beside it.

        Raises:
            JournalError: if it is damaged, locked or cannot be written.
        """
        try:
            handle = os.open(path, os.O_RDWR | os.O_APPEND)
        except OSError as error:
            raise JournalError(f"{path} cannot be opened ({error.strerror}). Check the name and the rights.") from error
        _lock(handle, path)
        try:
            history = read(path)
            if history.torn:
                _set_aside(path, history)
                _cut(handle, history.good_bytes)
        except (JournalError, OSError) as error:
            os.close(handle)
            if isinstance(error, JournalError):
                raise
            raise JournalError(f"{path}: its torn end cannot be set aside ({error}). Free some space.") from error
        return cls(path, handle, len(history.records), history.chain), history

    @property
    def chain(self) -> str:
        """Digest of the last line."""
        return self._chain

    def append(self, command: Command, events: Sequence[Event]) -> Record:
        """Write one record and wait until it is on disk.

        Raises:
            JournalError: if the disk does not take it; the file then ends with the last whole record.
        """
        record = Record(self._n + 1, command.at_ms, command, tuple(events))
        self._write({
            "n": record.n,
            "at_ms": record.at_ms,
            "command": to_plain(command),
            "events": [to_plain(event) for event in events],
        })  # fmt: skip
        self._n += 1
        return record

    def close(self) -> None:
        """Let go of the file."""
        os.close(self._handle)

    def _write(self, content: dict[str, Any]) -> None:
        chain = _link(self._chain, content)
        line = _dump({**content, "chain": chain}) + b"\n"
        if len(line) > MAX_LINE_BYTES:
            raise JournalError(f"{self.path}: a record of {len(line)} bytes is too long. Make it shorter.")
        try:
            self._remove_remains()
            _write_all(self._handle, line)
            os.fsync(self._handle)
            self._whole_bytes += len(line)
        except OSError as error:
            self._try_to_remove_remains()
            raise JournalError(
                f"{self.path}: the record could not be written ({error.strerror}). Free some space; nothing was lost."
            ) from error
        self._chain = chain
        self.last_line = line[:-1]

    def _remove_remains(self) -> None:
        """Cut off what a failed write left, so that the next record does not follow half a line."""
        if os.fstat(self._handle).st_size > self._whole_bytes:
            _cut(self._handle, self._whole_bytes)

    def _try_to_remove_remains(self) -> None:
        try:
            self._remove_remains()
        except OSError:
            return  # tried again before the next write, which fails if it cannot be done


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        raise NotADirectoryError(error.errno, "part of the path is a file", str(folder)) from error


def _write_all(handle: int, data: bytes) -> None:
    left = memoryview(data)
    while left:
        left = left[os.write(handle, left) :]


def read(path: Path) -> History:
    """Read a file, check its numbers and its chain.

    Raises:
        JournalError: naming the first line that is wrong.
    """
    lines = _bytes_of(path).split(b"\n")
    whole, rest = lines[:-1], lines[-1]
    header: Header | None = None
    records: list[Record] = []
    chain, good = "", 0
    for number, line in enumerate(whole, start=1):
        last = number == len(whole) and not rest
        try:
            content = load_line(line)
            chain = checked_chain(content, chain)
            if header is None:
                header = header_from(content)
            else:
                records.append(record_from(content, len(records) + 1))
        except MALFORMED as error:
            if last and header is not None:
                return History(header, tuple(records), chain, good, line + b"\n")
            raise JournalError(f"{path}, line {number}: {error}") from error
        good += len(line) + 1
    if header is None:
        raise JournalError(f"{path}, line 1: {NO_HEADER}")
    return History(header, tuple(records), chain, good, rest)


def whole_lines(path: Path) -> list[bytes]:
    """The lines of a record that was read before, header first, without a torn end.

    Raises:
        JournalError: if it cannot be read.
    """
    return _bytes_of(path).split(b"\n")[:-1]


def _bytes_of(path: Path) -> bytes:
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise JournalError(f"{path} is not a file. Name an incident record.")
        if found.st_size > MAX_FILE_BYTES:
            raise JournalError(f"{path}: {found.st_size} bytes; an incident record is never so long.")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        raise JournalError(f"{path} cannot be read ({error}). Check the name.") from error


def checked_chain(content: dict[str, Any], before: str) -> str:
    """The digest that a line carries, taken out of its content, when it fits the line before.

    Raises:
        HistoryError: if it does not fit.
    """
    chain = content.pop("chain", None)
    if chain != _link(before, content):
        raise HistoryError("the digest does not fit: this record was changed, or one before it removed or added.")
    return str(chain)


def load_line(line: bytes) -> dict[str, Any]:
    """One line as JSON values.

    Raises:
        HistoryError: if it is longer or deeper than a record can be, or no JSON object.
    """
    if len(line) > MAX_LINE_BYTES:
        raise HistoryError("longer than a record can be.")
    try:
        content = json.loads(line)
    except RecursionError as error:
        raise HistoryError("nested deeper than a record can be.") from error
    if not isinstance(content, dict):
        raise HistoryError("not a record.")
    return content


def _link(before: str, content: Mapping[str, Any]) -> str:
    return hashlib.sha256(before.encode() + _dump(content)).hexdigest()


def _dump(content: Mapping[str, Any]) -> bytes:
    """As JSON; half a surrogate pair, which is no text, is written as its escape."""
    return json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode(errors="backslashreplace")


def _header_plain(header: Header) -> dict[str, Any]:
    plain = {name: getattr(header, name) for name in Header.__slots__ if name != "scenario"}
    return {**plain, "scenario": asdict(header.scenario)} if header.scenario else plain


def header_from(content: Mapping[str, Any]) -> Header:
    """The header from its JSON values.

    Raises:
        HistoryError: if it is none, or of another format.
    """
    if content.get("format") != FORMAT:
        raise HistoryError(f"format {content.get('format')!r} is not one that this version reads ({FORMAT}).")
    try:
        wanted = {name: content[name] for name in Header.__slots__ if name != "scenario"}
        return HEADER.validate_python({**wanted, "scenario": content.get("scenario")})
    except ValidationError as error:
        where = ".".join(str(part) for part in error.errors()[0]["loc"])
        raise HistoryError(f"{where}: {error.errors()[0]['msg']}.") from error


def record_from(content: Mapping[str, Any], expected: int) -> Record:
    """One record from its JSON values.

    Raises:
        HistoryError: if its number is not the expected one or a message in it is unknown.
    """
    if content["n"] != expected:
        raise HistoryError(f"record {content['n']} stands where record {expected} should be.")
    events = tuple(event_from(event) for event in content["events"])
    return Record(expected, int(content["at_ms"]), command_from(content["command"]), events)


def _set_aside(path: Path, history: History) -> None:
    """Keep the remains of a torn line in a new file, on disk before they are cut off."""
    name = f"{path.name}.torn-{len(history.records) + 1}"
    earlier = len(list(path.parent.glob(f"{name}*")))
    place = path.with_name(f"{name}.{earlier}" if earlier else name)
    handle = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        _write_all(handle, history.torn)
        os.fsync(handle)
    finally:
        os.close(handle)
    _sync_folder(path.parent)


def _cut(handle: int, length: int) -> None:
    os.ftruncate(handle, length)
    os.fsync(handle)


def _lock(handle: int, path: Path) -> None:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(handle)
        raise JournalError(f"{path} is in use by another program. Close that one first.") from error


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
