"""Stations, coordinator and standby over Debian's own broker, in real time: killed, hung, cut, slowed, full of nonsense."""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from assistant.clock import SystemClock
from assistant.errors import LinkError
from assistant.journal import read
from assistant.replay import verify
from assistant.stations import messages as ms
from assistant.stations.link import KEEPALIVE_S, MqttWire, Will, broker_at
from protocol.commands import Role
from protocol.delivery import Link
from protocol.events import DeliveryRefused, DeliveryTaken, StationChanged
from tests.stations.real_broker import RealBroker, free_port
from tests.stations.road import Road
from tests.stations.site import INCIDENT, Site


class Town:
    """A site over a real broker; each station may have a road of its own."""

    def __init__(self, folder: Path, last: ExitStack) -> None:
        self.broker = last.enter_context(RealBroker(folder))
        self.roads: dict[str, Road] = {}
        self._last = last
        self.site = Site(SystemClock(), self.dial, folder)

    def road(self, name: str, **weather: int) -> Road:
        """A road for a station that will join."""
        self.roads[name] = self._last.enter_context(Road(self.broker.host, self.broker.port, **weather))
        return self.roads[name]

    def dial(self, topics: list[str], will: Will | None, name: str) -> MqttWire:
        """A real connection."""
        port = self.roads[name].port if name in self.roads else self.broker.port
        wire = MqttWire(broker_at(f"mqtt://127.0.0.1:{port}"), name, topics, will)
        wire.open()
        self._last.callback(wire.close)
        return wire

    def until(self, holds: object, seconds: float = 20.0) -> float:
        """Work until something holds; gives the seconds that it took."""
        assert callable(holds)
        began_ms = self.site.clock.now_ms()
        while not holds():
            took_s = (self.site.clock.now_ms() - began_ms) / 1000
            assert took_s < seconds, "it did not come about in time"
            self.site.pass_time(0.1)
        return (self.site.clock.now_ms() - began_ms) / 1000

    def settled(self) -> bool:
        """Whether every command is on the record and everybody has the same record."""
        site = self.site
        assert site.coordinator is not None
        n = len(site.coordinator.relay._lines)
        logs = [station.follower.log for station in site.stations.values()]
        copies = [site.standby.n] if site.standby and site.standby.replica is not site.coordinator.incident.journal else []
        return (
            len(site.coordinator.incident.session.state.stations.seen) >= len(site.stations)
            and all(station.waiting == 0 for station in site.stations.values())
            and all(log is not None and log.head.n == n for log in logs)
            and all(copy == n for copy in copies)
        )


@pytest.fixture
def town(tmp_path: Path) -> Iterator[Town]:
    """A coordinator, a standby, two headsets inside, one outside."""
    with ExitStack() as last:
        made = Town(tmp_path, last)
        made.road("one")
        made.site.lead()
        made.site.stand_by()
        for name, role in (("one", Role.INSIDE), ("two", Role.INSIDE), ("officer", Role.OUTSIDE)):
            made.site.join(name, role)
        made.until(lambda: len(made.site.players) == 3 and made.settled())
        yield made


def decided(path: Path, name: str) -> list[tuple[int, str]]:
    """Numbers and words of a station as the record has them."""
    events = read(path).events
    return [
        (event.seq, event.heard)
        for event in events
        if isinstance(event, DeliveryTaken | DeliveryRefused) and event.station == name
    ]


def test_a_broker_that_is_killed_twice_loses_and_doubles_nothing(town: Town, tmp_path: Path) -> None:
    """Words said before, while it is dead and after are on the record once, in order; the copy has the same digest."""
    site = town.site
    lines = ["one person trapped", *["hold all work", "resume all work"] * 2, "hold all work"]
    for place, words in enumerate(lines):
        if place in {1, 4}:
            town.broker.kill()
            site.pass_time(0.3)
        site.say("officer", words)
        if place in {2, 5}:
            site.pass_time(1.5)
            town.broker.start()
        site.pass_time(0.2)
    town.until(town.settled)
    assert [(n + 1, words) for n, words in enumerate(lines)] == decided(tmp_path / "command.jsonl", "officer")
    assert (tmp_path / "command.jsonl").read_bytes() == (tmp_path / "spare.jsonl").read_bytes()
    assert verify(read(tmp_path / "spare.jsonl")) is None


def test_a_station_behind_a_blocked_road_is_announced_in_under_ten_seconds_and_keeps_its_words(
    town: Town, tmp_path: Path
) -> None:
    """A partition, not an end: nothing says goodbye. Afterwards everything it kept is decided, late."""
    site = town.site
    road = town.roads["one"]
    assert site.coordinator is not None
    incident = site.coordinator.incident
    road.block()
    took_s = town.until(lambda: incident.session.state.stations.station("one").link is Link.LOST)  # type: ignore[union-attr]
    assert took_s < 10.0
    town.until(lambda: site.stations["one"].cut_off)
    site.say("one", "hold all work")
    site.say("one", "radio check")
    assert any("Nobody else hears this" in text for text in site.players["one"].said)
    assert not incident.session.state.held
    road.clear()
    town.until(town.settled)
    assert incident.session.state.held
    assert [(1, "hold all work")] == decided(tmp_path / "command.jsonl", "one")
    changes = [event.link for event in read(tmp_path / "command.jsonl").events
               if isinstance(event, StationChanged) and event.station == "one"]  # fmt: skip
    assert [Link.UP, Link.LOST, Link.UP] == changes[:3]


def test_a_station_that_dies_is_announced_by_its_last_will(town: Town) -> None:
    """Its line breaks: the broker says so at once."""
    site = town.site
    station = site.stations.pop("two")
    assert site.coordinator is not None
    state = site.coordinator.incident.session
    wire = station.follower.wire
    assert isinstance(wire, MqttWire)
    wire._client._sock_close()  # type: ignore[no-untyped-call]
    took_s = town.until(lambda: state.state.stations.station("two").link is Link.LOST)  # type: ignore[union-attr]
    wire.close()
    assert took_s < 2 * KEEPALIVE_S


def test_a_broker_that_hangs_is_outlived(town: Town, tmp_path: Path) -> None:
    """Connections stay open and nothing moves for some seconds: both sides notice, and nothing is lost."""
    site = town.site
    town.broker.pause()
    site.say("officer", "one person trapped")
    site.pass_time(8)
    assert site.stations["officer"].cut_off
    town.broker.go_on()
    town.until(town.settled)
    assert [(1, "one person trapped")] == decided(tmp_path / "command.jsonl", "officer")
    assert (tmp_path / "command.jsonl").read_bytes() == (tmp_path / "spare.jsonl").read_bytes()


def test_bad_roads_change_nothing_but_the_time(tmp_path: Path) -> None:
    """Half a second and more of delay, pieces held up, connections cut in the middle: one record everywhere."""
    with ExitStack() as last:
        town = Town(tmp_path, last)
        for seed, name in enumerate(("one", "officer", "spare", "command")):
            town.road(name, delay_ms=30, jitter_ms=120, hold_ms=400, seed=seed)
        site = town.site
        site.lead()
        site.stand_by()
        site.join("one", Role.INSIDE)
        site.join("officer", Role.OUTSIDE)
        town.until(lambda: len(site.players) == 2 and town.settled())
        for place in range(8):
            site.say("officer" if place % 2 else "one", "time check")
            site.pass_time(0.3)
            if place == 3:
                town.roads["officer"].hang_up()
            if place == 5:
                town.roads["command"].hang_up()
        town.until(town.settled, 40)
        for name in ("one", "officer"):
            assert [1, 2, 3, 4] == [seq for seq, _words in decided(tmp_path / "command.jsonl", name)]
        assert (tmp_path / "command.jsonl").read_bytes() == (tmp_path / "spare.jsonl").read_bytes()


def test_the_standby_leads_by_order_over_a_real_broker(town: Town, tmp_path: Path) -> None:
    """The coordinator's process is gone; the officer orders; what was kept meanwhile is decided by the new one."""
    site = town.site
    dead = site.coordinator
    assert dead is not None
    site.say("officer", "one person trapped")
    town.until(town.settled)
    site.coordinator = None
    dead.relay._wire.close()
    site.pass_time(7)
    site.say("officer", "person in plain sight")
    site.order_standby()
    town.until(town.settled)
    assert site.coordinator is not None
    state = site.coordinator.incident.session.state
    assert 2 == state.stations.term
    assert state.pending is not None
    assert verify(read(tmp_path / "spare.jsonl")) is None


def test_nonsense_is_refused_and_told_once(town: Town) -> None:
    """A device that sends rubbish on every topic changes nothing."""
    site = town.site
    assert site.coordinator is not None
    before = site.coordinator.incident.session.state
    wire = town.dial([], None, "rubbish")
    for what in ("here", "pulse", "say", "ask", "offer"):
        for payload in (b"", b"\xff\xfe", b"{}", b"[1,2]", b'{"after":"x"}', b"x" * 100_000):
            wire.send(ms.topic(INCIDENT, "from", "rubbish", what), payload)
    for what in ("records", "lead", "header", "fence", "yield", "state"):
        wire.send(ms.topic(INCIDENT, "all", what), b'{"term":true}\nrubbish')
    site.pass_time(2)
    assert before.step == site.coordinator.incident.session.state.step
    assert 0 < sum("rubbish" in text for text in site.coordinator.shown) <= 10
    site.say("officer", "one person trapped")
    town.until(town.settled)
    assert "visible" == site.stations["two"].state.step


def test_a_broker_that_is_not_there_has_its_sentence() -> None:
    """Coded, with what to do."""
    with pytest.raises(LinkError, match=r"There is no broker at mqtt:.*Start mosquitto"):
        MqttWire(broker_at(f"mqtt://127.0.0.1:{free_port()}"), "one", []).open()
