"""The record as somebody keeps it who does not decide: lines from afar, checked, folded into a state."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from assistant.errors import LinkError
from assistant.journal import MALFORMED, Header, History, Record, checked_chain, header_from, load_line
from assistant.replay import book_of
from assistant.stations.messages import Lines, Snapshot
from assistant.stations.replica import chain_of, number_of, parse_line
from protocol.errors import ProtocolError
from protocol.following import Follow, Head, Offered, follow, strays
from protocol.history import fold
from protocol.state import State

Keeper = Callable[[bytes], object]


@dataclass(frozen=True, slots=True)
class Gained:
    """What some lines brought."""

    records: tuple[Record, ...] = ()
    """New ones, in order."""
    lacking: bool = False
    """Lines in between are missing, or the record goes another way: ask."""
    trouble: str = ""


class Log:
    """One incident's record, from its beginning or from a snapshot on."""

    def __init__(self, header_line: bytes, keep: Keeper = lambda _line: None) -> None:
        """Begin with the header.

        Args:
            header_line: first line of the record.
            keep: is given each line that is taken, before anything else happens.

        Raises:
            LinkError: if it is no header.
            ProcedureError: if this version cannot use the procedure in it.
        """
        try:
            self.header: Header = header_from(load_line(header_line))
            checked_chain(load_line(header_line), "")
        except MALFORMED as error:
            raise LinkError(f"nonsense where a header should be ({error})") from error
        self.header_line = header_line
        self.book = book_of(History(self.header, (), "", 0))
        self._keep = keep
        self.head = Head()
        self._begin()

    @property
    def fence(self) -> int:
        """Highest fencing number seen."""
        return max(self.head.fence, self.head.term)

    def raise_fence(self, term: int) -> None:
        """Take nothing any more from a coordinator with a lower number."""
        self.head = replace(self.head, fence=max(self.head.fence, term))

    def heed(self, term: int, n: int, chain: str) -> bool:
        """Compare with a coordinator's beat; whether the own tail was given up, because the new one has another."""
        if not strays(self.head, term, n, same=self.head.chain == chain):
            return False
        self._begin()
        return True

    def load(self, lines: Sequence[bytes], term: int) -> None:
        """Lines that were kept before, without keeping them again."""
        keep, self._keep = self._keep, lambda _line: None
        self.take(Lines(term, tuple(lines)))
        self._keep = keep

    def jump(self, snapshot: Snapshot) -> bool:
        """Start from a state further on; whether it was of use."""
        if snapshot.n <= self.head.n or snapshot.term < self.fence or self.lines:
            return False
        self.head = Head(snapshot.term, snapshot.n, snapshot.chain, self.fence)
        self.state = snapshot.state
        self._first = snapshot.n + 1
        return True

    def take(self, offered: Lines) -> Gained:
        """Take what follows; what is known, fenced off or does not fit changes nothing."""
        found: list[Record] = []
        for line in offered.lines:
            number = number_of(line)
            fits, same = self._fits(line, number), self._same(line, number)
            verdict = follow(self.head, Offered(offered.term, number, fits, same))
            if verdict is Follow.TAKE:
                trouble = self._append(line, offered.term, found)
                if trouble:
                    return Gained(tuple(found), lacking=True, trouble=trouble)
            elif verdict is Follow.GAP:
                return Gained(tuple(found), lacking=True)
            elif verdict is Follow.FORK:
                self._begin()
                return Gained(tuple(found), lacking=True, trouble="The new coordinator's record goes another way.")
            elif verdict is Follow.CONFLICT:
                return Gained(tuple(found), trouble=f"Two different records bear number {number}.")
        return Gained(tuple(found))

    def after(self, n: int) -> tuple[bytes, ...]:
        """The lines that follow a number, as far as they are kept."""
        return tuple(self.lines[max(0, n + 1 - self._first) :])

    def _begin(self) -> None:
        self.head = Head(0, 0, chain_of(self.header_line), self.fence)
        self.lines: list[bytes] = []
        self._first = 1
        self.state = State()

    def _fits(self, line: bytes, number: int) -> bool:
        if number != self.head.n + 1:
            return False
        try:
            checked_chain(load_line(line), self.head.chain)
        except MALFORMED:
            return False
        return True

    def _same(self, line: bytes, number: int) -> bool:
        if number < 1:
            return False
        return number < self._first or (number <= self.head.n and self.lines[number - self._first] == line)

    def _append(self, line: bytes, term: int, found: list[Record]) -> str:
        try:
            record = parse_line(line, self.head.chain, self.head.n + 1)
            state = fold(record.events, self.state)
        except ProtocolError as error:
            self._begin()
            return str(error)
        self._keep(line)
        self.lines.append(line)
        self.state = state
        self.head = Head(term, record.n, chain_of(line), self.fence)
        found.append(record)
        return ""
