"""A drill without sound: words and moments go in, what the crew would hear comes out."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

from assistant.drill.director import Director
from assistant.drill.preparing import begin, prepare
from assistant.drill.scenarios import Loaded, load_scenario
from assistant.inputs import Order
from assistant.journal import Record
from assistant.session import Session
from protocol import commands as cmd
from protocol import events as ev
from protocol.state import State

WHO = cmd.Origin("crew", cmd.Role.BOTH, "keyboard")
E = TypeVar("E")


class Memory:
    """Keeps records in a list."""

    def __init__(self) -> None:
        self.records: list[Record] = []

    def append(self, command: cmd.Command, events: Sequence[ev.Event]) -> Record:
        """Keep one."""
        self.records.append(Record(len(self.records) + 1, command.at_ms, command, tuple(events)))
        return self.records[-1]


class Rig:
    """One drill, led second by second."""

    def __init__(self, name: str, pace: float | None = None, loaded: Loaded | None = None) -> None:
        self.loaded = loaded or load_scenario(name)
        self.memory = Memory()
        self.session = Session(self.loaded.book, self.memory)
        self.director = Director(self.loaded.scenario, self.loaded.book, pace)
        self.now_ms = 0
        prepare(self.session, self.loaded)
        self.prepared = len(self.memory.records)
        self.session.react_with(self.director.react)
        begin(self.session, self.loaded, 0)

    @property
    def state(self) -> State:
        """The incident."""
        return self.session.state

    def wait(self, seconds: float) -> None:
        """Let time pass, a quarter second at a time, as a running program does."""
        until_ms = self.now_ms + round(seconds * 1000)
        while self.now_ms < until_ms:
            self.now_ms = min(until_ms, self.now_ms + 250)
            self.session.tick(self.now_ms)
            self.poll()

    def poll(self) -> None:
        """Take the director's orders."""
        for order in self.director.poll(self.now_ms):
            assert isinstance(order, Order)
            self.session.submit(replace(order.command, at_ms=self.now_ms))

    def say(self, *lines: str) -> None:
        """Say lines that must mean something, a second apart."""
        for line in lines:
            self.wait(1)
            assert self.session.say(line, self.now_ms, WHO) is not None, f"'{line}' means nothing at {self.state.step}"

    def do(self, command: cmd.Command) -> None:
        """An order of the trainer's."""
        self.session.submit(replace(command, at_ms=self.now_ms))

    def events(self, kind: type[E]) -> list[E]:
        """What happened since the crew came in."""
        every = (event for record in self.memory.records[self.prepared :] for event in record.events)
        return [event for event in every if isinstance(event, kind)]

    def injects(self) -> list[str]:
        """Ids of what was given, in order."""
        return [event.inject for event in self.events(ev.InjectGiven)]
