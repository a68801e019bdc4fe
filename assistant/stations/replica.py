"""A copy of a record that another program keeps: the same bytes, the same digest."""

from pathlib import Path
from typing import Self

from assistant.journal import MALFORMED, Journal, Record, checked_chain, header_from, load_line, record_from
from protocol.errors import HistoryError


class Replica(Journal):
    """A record that takes whole lines from afar; it can be led from when the officer orders it."""

    @classmethod
    def copy(cls, path: Path, header_line: bytes) -> Self:
        """Begin a copy from the first line of the record.

        Raises:
            HistoryError: if the line is no header, or one that this version writes otherwise.
            JournalError: if the file exists or cannot be written.
        """
        content = load_line(header_line)
        chain = checked_chain(content, "")
        journal = cls.create(path, header_from(content))
        if journal.chain != chain:
            journal.close()
            path.unlink()
            raise HistoryError("a header of another program version: its digest would differ.")
        return journal

    def append_line(self, line: bytes) -> Record:
        """Write a record that another program decided, if it follows the last one.

        Raises:
            HistoryError: if its number or digest does not follow, or it is no record.
            JournalError: if the disk does not take it.
        """
        record = parse_line(line, self._chain, self._n + 1)
        self._write({name: value for name, value in load_line(line).items() if name != "chain"})
        self._n += 1
        return record


def parse_line(line: bytes, before: str, n: int) -> Record:
    """A record from its line, with number and digest checked.

    Args:
        line: without its end.
        before: digest of the line before it.
        n: the number that it must have.

    Raises:
        HistoryError: if anything about it does not fit.
    """
    try:
        content = load_line(line)
        checked_chain(content, before)
        return record_from(content, n)
    except MALFORMED as error:
        raise HistoryError(f"line {n} from afar: {error}") from error


def chain_of(line: bytes) -> str:
    """The digest that a line says it has; empty for what is no line."""
    try:
        return str(load_line(line).get("chain", ""))
    except MALFORMED:
        return ""


def number_of(line: bytes) -> int:
    """The number that a line says it has; 0 for a header and -1 for what is no line."""
    try:
        return int(load_line(line).get("n", 0))
    except MALFORMED:
        return -1
