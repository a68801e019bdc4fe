"""Whole sites on random bad networks, on a virtual clock.

Brokers lose, double, shuffle and die; stations are cut off; coordinators are replaced. In the end there is one record
everywhere, and every kept command stands in it once.
"""

import random
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.clock import ManualClock
from assistant.journal import read
from assistant.replay import verify
from protocol.commands import Role
from protocol.events import DeliveryRefused, DeliveryTaken
from tests.stations.fake_broker import FakeBroker, FakeWire
from tests.stations.site import Site

PHRASES = ("one person trapped", "person in plain sight", "hold all work", "resume all work", "time check", "mayday mayday mayday")
NAMES = {"one": Role.INSIDE, "two": Role.INSIDE, "officer": Role.OUTSIDE}


class Trouble:
    """A site, and chance that works against it."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.chance = random.Random(seed)
        self.broker = FakeBroker(seed, loss=0.15, double=0.2, shuffle=0.3)
        self.site = Site(ManualClock(), lambda topics, will, _name: self.broker.wire(topics, will), folder)
        self.site.lead()
        self.site.stand_by()
        for name, role in NAMES.items():
            self.site.join(name, role)
        self.site.pass_time(8)
        self.led_by_spare = False

    def do(self, what: str) -> None:
        """One thing that happens."""
        name = self.chance.choice(list(NAMES))
        wire = self.site.wires[name]
        assert isinstance(wire, FakeWire)
        if what == "say" and self.site.players.get(name):
            self.site.say(name, self.chance.choice(PHRASES), how="keyboard")
        elif what == "cut" and wire.up:
            wire.cut()
        elif what == "join" and not wire.up:
            wire.join()
        elif what == "kill":
            self.broker.kill()
            self.site.pass_time(self.chance.choice([0.5, 3, 12]))
            self.everybody_back()
        elif what == "replace" and not self.led_by_spare and self.site.standby and self.site.standby.n > 3:
            self.replace_coordinator()
        self.site.pass_time(self.chance.choice([0.1, 0.5, 2, 7, 15]))

    def replace_coordinator(self) -> None:
        """The coordinator dies; the officer orders the standby."""
        assert self.site.coordinator is not None
        self.site.coordinator.relay._wire.close()
        self.broker.wires.remove(self.site.coordinator.relay._wire)  # type: ignore[arg-type]
        self.site.coordinator = None
        wire = self.site.wires["spare"]
        assert isinstance(wire, FakeWire)
        if not wire.up:
            wire.join()
        self.site.pass_time(3)
        self.site.order_standby()
        self.led_by_spare = True

    def everybody_back(self) -> None:
        """Every line is there again."""
        for wire in self.broker.wires:
            if not wire.up:
                wire.join()

    def heal(self) -> None:
        """The network is good for a while."""
        self.broker.loss = self.broker.double = self.broker.shuffle = 0.0
        self.everybody_back()
        self.site.pass_time(25)


@settings(max_examples=25)
@given(seed=st.integers(0, 10**6), story=st.lists(st.sampled_from(["say", "say", "say", "cut", "join", "kill", "replace"]), min_size=5, max_size=25))
def test_whatever_the_network_does_the_record_is_one_and_whole(seed: int, story: list[str]) -> None:
    """Nothing that a station kept is lost or doubled; stations, coordinator and copy end with the same."""
    with tempfile.TemporaryDirectory() as text:
        trouble = Trouble(Path(text), seed)
        for what in story:
            trouble.do(what)
        trouble.heal()
        site = trouble.site
        assert site.coordinator is not None
        history = read(site.coordinator.incident.journal.path)
        assert verify(history) is None
        state = site.coordinator.incident.session.state
        for name, station in site.stations.items():
            decided = [
                (event.seq, event.heard)
                for event in history.events
                if isinstance(event, DeliveryTaken | DeliveryRefused) and event.station == name
            ]
            kept = [(place + 1, command.origin.heard) for place, command in enumerate(station.outbox.after(0))]
            assert kept == decided
            assert state == station.state
        if not trouble.led_by_spare:
            assert (Path(text) / "command.jsonl").read_bytes() == (Path(text) / "spare.jsonl").read_bytes()
        site.coordinator.incident.journal.close()
