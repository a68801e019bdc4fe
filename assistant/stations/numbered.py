"""A headset of this machine that shares an incident with others: its commands are numbered like those from afar.

That is what makes a phrase that two microphones heard count once, and an answer sound only where it was asked.
"""

import secrets
from collections.abc import Callable, Sequence
from dataclasses import replace

from assistant.inputs import Input, Order, Part, Words
from assistant.journal import Record
from assistant.session import Session
from assistant.station import Station
from protocol import commands as cmd
from protocol.delivery import Delivery, Link
from protocol.phrases import interpret
from protocol.state import State


class Numbered:
    """One headset among several; the loop sees it as a post."""

    def __init__(self, station: Station, session: Session, battery: Callable[[], int | None] = lambda: None) -> None:
        self.station = station
        self._session = session
        self._battery = battery
        self._name = station.place.name
        self._drawn = secrets.token_hex(6)
        self._joined = False

    def react(self, record: Record, state: State) -> None:
        """Speak what is addressed to it, and listen for what now means something."""
        self.station.react(record, state)

    def poll(self, now_ms: int) -> Sequence[Input]:
        """What happened at it, its words as numbered commands."""
        found: list[Input] = []
        state = self._session.state
        if state.opened and not self._joined:
            self._joined = True
            role = self.station.place.role
            found.append(Order(cmd.ReportStation(0, cmd.PROGRAM, self._name, role, Link.UP, self._battery())))
        following = state.stations.seq(self._name, self._drawn) + 1
        for item in self.station.poll(now_ms):
            if isinstance(item, Part):
                found.append(replace(item, part=f"{self._name} {item.part}"))
                continue
            made = self._numbered(item, now_ms, following)
            following += made is not item
            found.append(made)
        return found

    @property
    def silent(self) -> bool:
        """Whether nothing is being said or waits to be said."""
        return self.station.silent

    def close(self) -> None:
        """Let go of devices."""
        self.station.close()

    def _numbered(self, item: Input, now_ms: int, seq: int) -> Input:
        """Words that mean something now as a command with its number; everything else as it is."""
        if not isinstance(item, Words) or not self._joined:
            return item
        said_ms = now_ms if item.said_ms is None else min(item.said_ms, now_ms)
        delivery = Delivery(self._drawn, seq, said_ms, self._session.state.stations.term)
        origin = replace(item.origin, delivery=delivery)
        state = self._session.state
        command = interpret(self._session.book, state, item.text, max(now_ms, state.at_ms), origin)
        return item if command is None else Order(command)
