"""Calls that the program repeats until they are answered: roll call and person check."""

from protocol.score.facts import Call


class Calls:
    """One kind of call, in order."""

    def __init__(self) -> None:
        self._done: list[Call] = []
        self._open_ms: int | None = None

    def asked(self, at_ms: int) -> None:
        """The program asks; the one before was not answered if it is still open."""
        self.stopped()
        self._open_ms = at_ms

    def answered(self, at_ms: int) -> None:
        """Somebody answers; an answer to nothing counts for nothing."""
        if self._open_ms is not None:
            self._done.append(Call(self._open_ms, at_ms))
            self._open_ms = None

    def stopped(self) -> None:
        """Nobody can answer any more."""
        if self._open_ms is not None:
            self._done.append(Call(self._open_ms))
            self._open_ms = None

    def rows(self) -> tuple[Call, ...]:
        """All calls so far; one that is open is not answered."""
        return (*self._done, *(() if self._open_ms is None else (Call(self._open_ms),)))
