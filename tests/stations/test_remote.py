"""Stations and a coordinator over a broker in memory, on a virtual clock: what each hears, says and keeps."""

from pathlib import Path

import pytest

from assistant.clock import ManualClock
from protocol.commands import Role
from protocol.delivery import Link
from tests.stations.fake_broker import FakeBroker, FakeWire
from tests.stations.site import Site


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """A coordinator, one headset inside and one outside."""
    broker = FakeBroker()
    made = Site(ManualClock(), lambda topics, will, _name: broker.wire(topics, will), tmp_path)
    made.lead()
    made.join("one", Role.INSIDE)
    made.join("officer", Role.OUTSIDE)
    made.pass_time(3)
    return made


def test_what_a_station_understood_is_decided_by_the_coordinator_and_spoken_by_every_station(site: Site) -> None:
    """A confirmed step is on the record under the station's name, and both headsets follow."""
    site.say("officer", "one person trapped")
    site.pass_time(1)
    assert site.coordinator is not None
    state = site.coordinator.incident.session.state
    assert "visible" == state.step
    assert {state.step} == {station.state.step for station in site.stations.values()}
    assert 0 == site.stations["officer"].waiting
    assert any("How many" in text or "trapped" in text for text in site.players["officer"].said)


def test_an_answer_is_spoken_only_where_it_was_asked(site: Site) -> None:
    """Each hears only its own."""
    site.join("two", Role.INSIDE)
    site.pass_time(3)
    before = len(site.players["two"].said)
    site.say("one", "time check")
    site.pass_time(1)
    assert any("since the first call" in text.lower() or "second" in text.lower() for text in site.players["one"].said[-1:])
    assert before == len(site.players["two"].said)


def test_a_phrase_heard_by_two_microphones_counts_once(site: Site) -> None:
    """The second is refused with its reason, silently; the next one, later, counts."""
    site.join("tender", Role.OUTSIDE)
    site.pass_time(3)
    assert site.coordinator is not None
    site.say("officer", "canister is full")
    site.say("officer", "one person trapped")
    site.say("tender", "one person trapped")
    site.pass_time(2)
    state = site.coordinator.incident.session.state
    assert "visible" == state.step
    assert 1 == state.steps_confirmed
    assert 0 == site.stations["tender"].waiting


def test_a_lost_station_is_announced_and_its_return_too(site: Site) -> None:
    """The last will reaches the coordinator, everybody is told, and the board can see it."""
    wire = site.wires["one"]
    assert isinstance(wire, FakeWire)
    wire.cut()
    site.pass_time(1)
    assert site.coordinator is not None
    stations = site.coordinator.incident.session.state.stations
    assert Link.LOST is getattr(stations.station("one"), "link", None)
    assert any("Headset one is lost" in text for text in site.players["officer"].said)
    wire.join()
    site.pass_time(3)
    assert any("Headset one is back" in text for text in site.players["officer"].said)


def test_a_station_that_falls_silent_is_lost_in_under_ten_seconds(site: Site) -> None:
    """Even where the broker says nothing."""
    station = site.stations.pop("one")
    site.pass_time(9.5)
    assert site.coordinator is not None
    assert Link.LOST is getattr(site.coordinator.incident.session.state.stations.station("one"), "link", None)
    assert station.cut_off is False


def test_a_station_cut_off_says_so_keeps_what_is_confirmed_and_speaks_its_clocks(site: Site) -> None:
    """Two minutes alone: cut off is said, a question answered, a clock called, a confirmation kept and taken later."""
    wire = site.wires["officer"]
    assert isinstance(wire, FakeWire)
    wire.cut()
    site.pass_time(8)
    said = site.players["officer"].said
    assert any("cut off" in text for text in said)
    count = len(said)
    site.say("officer", "time check")
    site.say("officer", "one person trapped")
    site.pass_time(1)
    assert any("Kept, not sent: one person trapped." == text for text in said[count:])
    assert any(text.startswith("As last known: ") for text in said[count:])
    site.say("officer", "radio check")
    assert "Nobody else hears this. Use the radio." == said[-1]
    assert site.stations["officer"].cut_off
    site.pass_time(15 * 60)
    assert any("since the first call" in text for text in said[count + 2 :])
    assert site.coordinator is not None
    assert 0 == site.coordinator.incident.session.state.steps_confirmed
    wire.join()
    site.pass_time(5)
    assert 1 == site.coordinator.incident.session.state.steps_confirmed
    assert any("The link is back. Sending 1 that were kept." == text for text in said)
    assert 0 == site.stations["officer"].waiting
    assert site.stations["officer"].state == site.coordinator.incident.session.state


def test_an_emergency_while_cut_off_is_spoken_here_and_raised_on_return(site: Site) -> None:
    """The alarm sounds at once on the headset, with the word that nobody else hears it; late, it still counts."""
    wire = site.wires["one"]
    assert isinstance(wire, FakeWire)
    wire.cut()
    site.pass_time(8)
    site.say("one", "mayday mayday mayday")
    site.pass_time(120)
    assert any("Nobody else hears this" in text for text in site.players["one"].said)
    assert site.coordinator is not None
    assert () == site.coordinator.incident.session.state.emergencies
    wire.join()
    site.pass_time(5)
    assert ["one"] == [one.by for one in site.coordinator.incident.session.state.emergencies]


def test_a_question_asked_long_ago_is_not_answered(site: Site) -> None:
    """What was asked "now" is stale; a read-back that lapsed is not affirmed; each has its reason on record."""
    site.say("officer", "one person trapped")
    site.pass_time(1)
    site.say("officer", "person in plain sight")
    site.pass_time(1)
    wire = site.wires["officer"]
    assert isinstance(wire, FakeWire)
    wire.cut()
    site.pass_time(8)
    site.say("officer", "affirmative")
    site.pass_time(60)
    wire.join()
    site.pass_time(5)
    assert site.coordinator is not None
    assert "visible" == site.coordinator.incident.session.state.step
    assert any("Not taken, affirmative: that was one minute ago" in text for text in site.players["officer"].said)
