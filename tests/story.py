"""A told incident: words and moments go in, events and the state come out. No clock, no files."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import TypeVar

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas
from protocol.history import apply
from protocol.phrases import interpret, meanings
from protocol.rules import decide
from protocol.scene import Book, Scene
from protocol.state import State
from protocol.timers import next_deadline_ms

PACE_MS = 4_000
"""Time that passes before each sentence when no moment is given."""
SECOND = 1_000
MINUTE = 60_000

E = TypeVar("E")


class Story:
    """One incident as a test tells it.

    Every call gives the events that it caused; `events` and `commands` keep all of them.
    """

    def __init__(self, book: Book, *, kind: str = "drill", opened: bool = True) -> None:
        self.book = book
        self.state = State()
        self.events: list[ev.Event] = []
        self.commands: list[cmd.Command] = []
        if opened:
            self.do(cmd.OpenIncident(0, cmd.PROGRAM, kind, book.digest))

    @property
    def now(self) -> int:
        """The time of the last event, in milliseconds since the first call."""
        return self.state.at_ms

    @property
    def step(self) -> str:
        """Where the incident stands."""
        return self.state.step

    def do(self, command: cmd.Command) -> tuple[ev.Event, ...]:
        """Decide one command and apply what it caused."""
        events = decide(self.book, self.state, command)
        for event in events:
            self.state = apply(self.state, event)
        self.commands.append(command)
        self.events.extend(events)
        return events

    def say(self, words: str, at: int | None = None, role: cmd.Role = cmd.Role.BOTH) -> tuple[ev.Event, ...]:
        """Say words that must mean something now.

        Args:
            words: as spoken.
            at: moment in milliseconds; left out, PACE_MS after the last event.
            role: whose headset.
        """
        command = self.heard(words, at, role)
        if command is None:
            known = "; ".join(sorted(meanings(self.scene(), role)))
            raise AssertionError(f"'{words}' means nothing in step '{self.step}' for {role}. In force: {known}")
        return self.do(command)

    def say_all(self, lines: Iterable[str], role: cmd.Role = cmd.Role.BOTH) -> "Story":
        """Say one line after the other."""
        for words in lines:
            self.say(words, role=role)
        return self

    def heard(self, words: str, at: int | None = None, role: cmd.Role = cmd.Role.BOTH) -> cmd.Command | None:
        """What words would mean now, without saying them."""
        at_ms = self.now + PACE_MS if at is None else at
        return interpret(self.book, self.state, words, at_ms, origin_of(role, words))

    def read(self, gas: Gas, value: str, place: str | None = None, at: int | None = None) -> tuple[ev.Event, ...]:
        """Report a meter reading and affirm it if it was read back."""
        at_ms = self.now if at is None else at
        events = self.do(cmd.ReportAir(at_ms, origin_of(cmd.Role.BOTH), gas, Decimal(value), place))
        if self.state.pending is None:
            return events
        return (*events, *self.do(cmd.Affirm(at_ms, origin_of(cmd.Role.BOTH))))

    def raise_emergency(self, kind: str, at: int | None = None) -> tuple[ev.Event, ...]:
        """An emergency by its id."""
        return self.do(cmd.RaiseEmergency(self.now if at is None else at, origin_of(cmd.Role.BOTH), kind))

    def tick(self, at: int) -> tuple[ev.Event, ...]:
        """Let time reach `at` in one leap."""
        return self.do(cmd.Tick(at))

    def wait(self, until: int) -> tuple[ev.Event, ...]:
        """Let time pass to `until` as a running program does: a tick at each deadline on the way."""
        first = len(self.events)
        while (deadline := next_deadline_ms(self.state)) is not None and deadline <= until:
            passed = self.tick(max(deadline, self.now))
            assert only(passed, ev.TimerExpired), f"a clock is due at {deadline} and does not run out"
        self.tick(until)
        return tuple(self.events[first:])

    def scene(self) -> Scene:
        """The present moment as a rule sees it."""
        return Scene(self.book, self.state, self.now)


def origin_of(role: cmd.Role, heard: str = "") -> cmd.Origin:
    """A station with one role."""
    return cmd.Origin(role.value, role, "keyboard", heard)


def sentences(events: Iterable[ev.Event], side: str | None = None) -> list[str]:
    """What was said, in order, to one side or to anyone."""
    return [
        event.text for event in events if isinstance(event, ev.Said) and (side is None or event.to in {side, "both"})
    ]


def kinds(events: Iterable[ev.Event]) -> list[str]:
    """Names of the events, in order."""
    return [type(event).__name__ for event in events]


def only(events: Iterable[ev.Event], kind: type[E]) -> list[E]:
    """The events of one kind."""
    return [event for event in events if isinstance(event, kind)]


def walked_to(book: Book, lines: Sequence[str], step: str) -> Story:
    """A story told line by line until it stands at a step for the first time."""
    story = Story(book)
    for words in lines:
        if story.step == step:
            break
        story.say(words)
    assert step == story.step
    return story
