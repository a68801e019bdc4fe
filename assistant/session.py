"""One incident: command, decide, write, apply, react. The only place where the state changes."""

from collections.abc import Callable
from typing import Protocol

from assistant.errors import AssistantError
from assistant.journal import Record
from protocol.commands import PROGRAM, Command, Origin, ReportPart, Tick
from protocol.events import Event
from protocol.history import fold
from protocol.phrases import interpret
from protocol.rules import decide
from protocol.scene import Book, Scene
from protocol.state import State
from protocol.timers import next_deadline_ms

Reaction = Callable[[Record, State], None]


class Recorder(Protocol):
    """Where records go before anything else happens."""

    def append(self, command: Command, events: tuple[Event, ...]) -> Record:
        """Write one record and wait until it is safe."""
        ...


class Session:
    """The state of one incident and the order of a turn. Not for several threads: one consumer feeds it."""

    def __init__(self, book: Book, recorder: Recorder, state: State | None = None) -> None:
        self.book = book
        self.state = state or State()
        self._recorder = recorder
        self._reactions: list[Reaction] = []

    def record_with(self, recorder: Recorder) -> None:
        """Write records by another way from now on, such as one that a fence can close."""
        self._recorder = recorder

    def react_with(self, reaction: Reaction) -> None:
        """Tell `reaction` of each record once it is on disk and applied."""
        self._reactions.append(reaction)

    def submit(self, command: Command) -> tuple[Event, ...]:
        """Take one command; what it caused is on disk and applied when this returns.

        Raises:
            JournalError: if the record could not be written; then nothing was applied and nothing is spoken.
        """
        events = decide(self.book, self.state, command)
        if not events:
            return ()
        record = self._recorder.append(command, events)
        self.state = fold(events, self.state)
        failures = [failure for reaction in self._reactions if (failure := _try(reaction, record, self.state))]
        for part, detail in failures:
            self._report(part, detail)
        return events

    def _report(self, part: str, detail: str) -> None:
        if part not in self.state.failed_parts:
            self.submit(ReportPart(self.state.at_ms, PROGRAM, part, works=False, detail=detail))

    def say(self, words: str, at_ms: int, origin: Origin) -> tuple[Event, ...] | None:
        """Take spoken or typed words; gives what they caused, or None when they mean nothing now."""
        command = interpret(self.book, self.state, words, at_ms, origin)
        return None if command is None else self.submit(command)

    def tick(self, at_ms: int) -> tuple[Event, ...]:
        """Let time pass."""
        deadline = next_deadline_ms(self.state)
        if deadline is None or deadline > at_ms:
            return ()
        return self.submit(Tick(at_ms))

    def scene(self, at_ms: int) -> Scene:
        """The state at a moment, for those who show it."""
        return Scene(self.book, self.state, at_ms)


def _try(reaction: Reaction, record: Record, state: State) -> tuple[str, str] | None:
    """Run one reaction; what it could not do becomes a report and never undoes the record."""
    try:
        reaction(record, state)
    except AssistantError as error:
        return error.code, str(error)
    return None
