"""A broker in memory: it keeps, forwards and says last wills, and its lines can be cut, lossy, doubled and reordered."""

import random
from dataclasses import dataclass, field

from assistant.stations.link import Came, Will


def fits(pattern: str, topic: str) -> bool:
    """Whether a topic filter takes a topic."""
    wanted, parts = pattern.split("/"), topic.split("/")
    for place, word in enumerate(wanted):
        if word == "#":
            return True
        if place >= len(parts) or word not in {"+", parts[place]}:
            return False
    return len(wanted) == len(parts)


@dataclass
class FakeWire:
    """One client's line."""

    broker: "FakeBroker"
    patterns: list[str]
    will: Will | None = None
    up: bool = True
    displaced: bool = False
    inbox: list[Came] = field(default_factory=list)

    def send(self, topic: str, payload: bytes, *, keep: bool = False, sure: bool = True) -> None:
        """Send now or not at all."""
        if self.up:
            self.broker.publish(topic, payload, keep=keep, sure=sure)

    def take(self) -> list[Came]:
        """What came since the last call."""
        if not self.up:
            return []
        found, self.inbox = self.inbox, []
        return found

    def close(self) -> None:
        """Goodbye."""
        self.up = False

    def cut(self) -> None:
        """The line breaks: what was under way is gone, and the broker says the last will."""
        self.up = False
        self.inbox.clear()
        if self.will:
            self.broker.publish(self.will.topic, self.will.payload, keep=True, sure=True)

    def join(self) -> None:
        """The line is there again: kept messages come first."""
        self.up = True
        self.inbox.clear()
        self.inbox.extend(
            Came(topic, payload, kept=True)
            for topic, payload in self.broker.kept.items()
            if any(fits(pattern, topic) for pattern in self.patterns)
        )


class FakeBroker:
    """Forwards between wires."""

    def __init__(self, seed: int = 0, *, loss: float = 0.0, double: float = 0.0, shuffle: float = 0.0) -> None:
        self.kept: dict[str, bytes] = {}
        self.wires: list[FakeWire] = []
        self._chance = random.Random(seed)
        self.loss, self.double, self.shuffle = loss, double, shuffle

    def wire(self, patterns: list[str], will: Will | None = None) -> FakeWire:
        """A new client."""
        made = FakeWire(self, patterns, will)
        self.wires.append(made)
        made.join()
        return made

    def publish(self, topic: str, payload: bytes, *, keep: bool, sure: bool) -> None:
        """Hand to everyone who listens; with loss even what was sure, as when a broker dies."""
        del sure
        if keep:
            self.kept[topic] = payload
        for wire in self.wires:
            if wire.up and any(fits(pattern, topic) for pattern in wire.patterns):
                self._hand(wire, Came(topic, payload, kept=False))

    def kill(self) -> None:
        """The broker dies and forgets everything; nobody's will is said."""
        self.kept.clear()
        for wire in self.wires:
            wire.up = False
            wire.inbox.clear()

    def _hand(self, wire: FakeWire, came: Came) -> None:
        if self._chance.random() < self.loss:
            return
        copies = 2 if self._chance.random() < self.double else 1
        for _ in range(copies):
            late = self._chance.random() < self.shuffle and wire.inbox
            wire.inbox.insert(self._chance.randrange(len(wire.inbox)) if late else len(wire.inbox), came)
