"""Stretches that begin with one event and end with another, or with the record."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from assistant.debrief.tale import Span

R = TypeVar("R")


@dataclass(slots=True)
class Spans(Generic[R]):
    """Rows that are open under a key until they are ended."""

    make: Callable[[str, Span, str], R]
    """From the key, the span and the words it was begun with."""
    rows: list[tuple[int, R]] = field(default_factory=list)
    _open: dict[str, tuple[int, str]] = field(default_factory=dict)

    def begin(self, key: str, at_ms: int, words: str = "") -> None:
        """Begin; one that is open under the same key ends first."""
        self.end(key, at_ms)
        self._open[key] = (at_ms, words)

    def end(self, key: str, at_ms: int, words: str | None = None) -> None:
        """End what is open under a key, if anything is."""
        if key in self._open:
            from_ms, begun = self._open.pop(key)
            self._add(key, Span(from_ms, at_ms), begun if words is None else words)

    def end_all(self, at_ms: int) -> None:
        """End everything that is open."""
        for key in tuple(self._open):
            self.end(key, at_ms)

    def is_open(self, key: str) -> bool:
        """Whether a row is open under a key."""
        return key in self._open

    def open_keys(self) -> set[str]:
        """Keys under which rows are open."""
        return set(self._open)

    def words_of(self, key: str) -> str:
        """The words that the open row under a key was begun with; empty without one."""
        return self._open.get(key, (0, ""))[1]

    def again(self, key: str) -> None:
        """The end of the last row under that key was a mistake: it goes on."""
        for place in range(len(self.rows) - 1, -1, -1):
            from_ms, row = self.rows[place]
            if row == self.make(key, Span(from_ms, _end_of(row)), ""):
                del self.rows[place]
                self._open[key] = (from_ms, "")
                return

    def done(self, end_ms: int) -> tuple[R, ...]:
        """Every row in order of its beginning; what is still open ends with the record."""
        for key, (from_ms, words) in self._open.items():
            self._add(key, Span(from_ms, end_ms, open=True), words)
        self._open.clear()
        return tuple(row for _from_ms, row in sorted(self.rows, key=lambda pair: pair[0]))

    def _add(self, key: str, span: Span, words: str) -> None:
        self.rows.append((span.from_ms, self.make(key, span, words)))


def _end_of(row: object) -> int:
    found = row if isinstance(row, Span) else getattr(row, "span", None)
    return found.to_ms if isinstance(found, Span) else -1
