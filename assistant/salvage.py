"""Reading a record one line at a time, whatever is wrong with it: for reports and the archive.

Nothing is skipped silently: every line comes out, and one that is damaged says so. Only one line is held in memory.
"""

import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from assistant.errors import JournalError
from assistant.journal import (
    MALFORMED,
    MAX_LINE_BYTES,
    NO_HEADER,
    Header,
    Record,
    checked_chain,
    header_from,
    load_line,
    record_from,
)
from protocol.errors import HistoryError


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the file."""

    number: int
    """From 1."""
    header: Header | None = None
    record: Record | None = None
    """None: the header, or a line that cannot be read."""
    fault: str = ""
    """What is wrong with the line; empty: nothing."""
    torn: bool = False
    """The remains of a line that was being written; never counted."""
    chain: str = ""
    """The digest that the line carries; empty when it cannot be read."""


@dataclass(frozen=True, slots=True)
class _Link:
    """What the next line has to follow."""

    chain: str = ""
    n: int = 0


def entries(path: Path) -> Iterator[Entry]:
    """Every line of a record, the header first.

    Raises:
        JournalError: if the file cannot be read or does not begin with the header of a record.
    """
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise JournalError(f"{path} is not a file. Name an incident record.")
        with path.open("rb") as handle:
            yield from _entries(path, handle)
    except (OSError, ValueError) as error:
        raise JournalError(f"{path} cannot be read ({error}). Check the name.") from error


def _entries(path: Path, handle: BinaryIO) -> Iterator[Entry]:
    link = _Link()
    number = 0
    for number, (line, is_last) in enumerate(_with_last(_lines(handle)), start=1):
        if number == 1:
            entry, link = _first(path, line)
        else:
            entry, link = _next(number, line, link, is_last=is_last)
        yield entry
    if number == 0:
        raise JournalError(f"{path}, line 1: {NO_HEADER}")


def _lines(handle: BinaryIO) -> Iterator[bytes]:
    """Lines with their end; of one without end in sight only the beginning."""
    while line := handle.readline(MAX_LINE_BYTES + 2):
        yield line
        while line and not line.endswith(b"\n"):
            line = handle.readline(MAX_LINE_BYTES)


def _with_last(lines: Iterable[bytes]) -> Iterator[tuple[bytes, bool]]:
    before: bytes | None = None
    for line in lines:
        if before is not None:
            yield before, False
        before = line
    if before is not None:
        yield before, True


def _first(path: Path, line: bytes) -> tuple[Entry, _Link]:
    try:
        content = load_line(line)
        carried = str(content.get("chain"))
        fault = _chain_fault(content, "")
        header = header_from(content)
    except MALFORMED as error:
        raise JournalError(f"{path}, line 1: {error} {NO_HEADER}") from error
    return Entry(1, header=header, fault=fault, chain=carried), _Link(carried, 0)


def _next(number: int, line: bytes, link: _Link, *, is_last: bool) -> tuple[Entry, _Link]:
    whole = line.endswith(b"\n")
    try:
        content = load_line(line)
        carried = str(content.get("chain"))
        fault = _chain_fault(content, link.chain)
        n = int(content["n"])
        record = record_from(content, n)
    except MALFORMED as error:
        if is_last:
            return Entry(number, fault=f"{len(line)} bytes of a record that was being written", torn=True), link
        return Entry(number, fault=f"cannot be read: {error}"), _Link(link.chain, link.n + 1)
    if is_last and (fault or not whole):
        return Entry(number, fault=f"{len(line)} bytes of a record that was being written", torn=True), link
    if not fault and n != link.n + 1:
        fault = f"record {n} stands where record {link.n + 1} should be."
    return Entry(number, record=record, fault=fault, chain=carried), _Link(carried, n)


def _chain_fault(content: dict[str, Any], before: str) -> str:
    try:
        checked_chain(content, before)
    except HistoryError as error:
        return str(error)
    return ""
