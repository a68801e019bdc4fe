"""Late joiners, restarts, the end, drills put back: whoever comes when, all have one state."""

from pathlib import Path

import pytest

from assistant.clock import ManualClock
from assistant.incident import resume_incident
from assistant.journal import whole_lines
from protocol.commands import PROGRAM, BeginDrill, Origin, RewindDrill, Role
from tests.drills import VISIBLE
from tests.stations.fake_broker import FakeBroker, FakeWire
from tests.stations.site import Coordinator, Site, coordinate


@pytest.fixture
def broker() -> FakeBroker:
    """A broker in memory."""
    return FakeBroker()


@pytest.fixture
def site(tmp_path: Path, broker: FakeBroker) -> Site:
    """A coordinator and the officer's headset."""
    made = Site(ManualClock(), lambda topics, will, _name: broker.wire(topics, will), tmp_path)
    made.lead()
    made.join("officer", Role.OUTSIDE)
    made.pass_time(3)
    return made


def running(site: Site) -> Coordinator:
    """The coordinator."""
    assert site.coordinator is not None
    return site.coordinator


def test_a_station_that_joins_late_has_the_whole_state_at_once(site: Site) -> None:
    """From what the broker kept, before anybody answers; then record by record like everybody."""
    site.say("officer", "one person trapped")
    site.pass_time(8)
    late = site.join("one", Role.INSIDE)
    late.poll()
    assert running(site).incident.session.state == late.state
    assert late.follower.log is not None
    assert 0 == len(late.follower.log.lines)
    site.say("officer", "person in plain sight")
    site.pass_time(3)
    assert running(site).incident.session.state == late.state


def test_a_station_that_joins_while_nobody_leads_speaks_from_what_was_kept(site: Site) -> None:
    """It says that it is cut off, answers from the last state as such, and calls no clock whose time it never heard."""
    site.say("officer", "one person trapped")
    site.pass_time(8)
    site.coordinator = None
    late = site.join("one", Role.INSIDE)
    site.pass_time(1_200)
    assert late.cut_off
    assert "visible" == late.state.step
    site.say("one", "what is the danger")
    said = site.players["one"].said
    assert any(text.startswith("As last known: ") for text in said)
    assert not any("since the first call" in text for text in said)


def test_a_coordinator_that_was_restarted_goes_on_with_the_same_stations(site: Site, tmp_path: Path) -> None:
    """Its process died; resumed from its record it is the same incident, and what was kept meanwhile is decided."""
    dead = running(site)
    dead.relay._wire.close()
    dead.incident.journal.close()
    site.coordinator = None
    site.pass_time(8)
    site.say("officer", "one person trapped")
    path = tmp_path / "command.jsonl"
    incident = resume_incident(path)
    object.__setattr__(incident, "clock", site.clock)
    site.coordinator = coordinate(incident, site.dial, "command", whole_lines(path))
    site.pass_time(5)
    assert "visible" == running(site).incident.session.state.step
    assert 1 == running(site).incident.session.state.stations.term
    assert running(site).incident.session.state == site.stations["officer"].state


def test_a_restarted_coordinator_announces_who_did_not_come_back(site: Site, tmp_path: Path) -> None:
    """A headset that was there before and died meanwhile is not taken for linked."""
    site.join("one", Role.INSIDE)
    site.pass_time(3)
    dead = running(site)
    dead.relay._wire.close()
    dead.incident.journal.close()
    site.coordinator = None
    del site.stations["one"]
    incident = resume_incident(tmp_path / "command.jsonl")
    object.__setattr__(incident, "clock", site.clock)
    site.coordinator = coordinate(incident, site.dial, "command", whole_lines(tmp_path / "command.jsonl"))
    site.pass_time(10)
    seen = {one.name: one.link.value for one in running(site).incident.session.state.stations.seen}
    assert {"one": "lost", "officer": "up"} == seen


def test_a_coordinator_that_was_replaced_cannot_be_resumed_to_lead(site: Site, tmp_path: Path) -> None:
    """The broker keeps who leads: the old record is opened, sees it, publishes nothing and stops."""
    site.stand_by()
    site.pass_time(3)
    dead = running(site)
    dead.relay._wire.close()
    dead.incident.journal.close()
    site.coordinator = None
    site.order_standby()
    site.pass_time(3)
    incident = resume_incident(tmp_path / "command.jsonl")
    object.__setattr__(incident, "clock", site.clock)
    old = coordinate(incident, site.dial, "command", whole_lines(tmp_path / "command.jsonl"))
    for _ in range(20):
        old.turn()
        site.pass_time(0.1)
    assert "spare leads now, by order" == old.stopped
    assert not old.relay._cleared
    assert {2} == {station.follower.log.head.term for station in site.stations.values() if station.follower.log}


def test_everybody_has_the_last_record_before_the_coordinator_ends(site: Site) -> None:
    """A station that lags holds the end up until it has caught up; one that is lost does not."""
    relay = running(site).relay
    site.pass_time(3)
    assert relay.silent
    wire = site.wires["officer"]
    assert isinstance(wire, FakeWire)
    running(site).incident.session.say("one person trapped", site.clock.now_ms(), Origin("crew", Role.BOTH, "keyboard", "x"))
    assert not relay.silent
    site.pass_time(3)
    assert relay.silent
    wire.cut()
    running(site).incident.session.say("person in plain sight", site.clock.now_ms(), Origin("crew", Role.BOTH, "keyboard", "x"))
    site.pass_time(1)
    assert relay.silent


def test_the_end_of_the_incident_ends_the_stations(site: Site) -> None:
    """Closed for the coordinator, closed for everybody; a station that was cut off learns it when it is back."""
    lost = site.join("one", Role.INSIDE)
    site.pass_time(3)
    session = running(site).incident.session
    for words in VISIBLE[:-1]:
        session.say(words, site.clock.now_ms(), Origin("crew", Role.BOTH, "keyboard", words))
        site.pass_time(0.5)
    wire = site.wires["one"]
    assert isinstance(wire, FakeWire)
    wire.cut()
    site.pass_time(8)
    site.say("one", "hold all work")
    session.say(VISIBLE[-1], site.clock.now_ms(), Origin("crew", Role.BOTH, "keyboard", VISIBLE[-1]))
    assert session.state.closed
    site.pass_time(4)
    assert "closed" == site.stations["officer"].ended
    running(site).relay.close()
    site.coordinator = None
    wire.join()
    site.pass_time(12)
    assert "closed while this station was cut off; 1 kept commands were not taken" == lost.ended


def test_a_drill_put_back_is_the_same_for_a_station_that_joined_late(site: Site) -> None:
    """What the broker keeps lacks the earlier moments: the station asks for the whole record and has them too."""
    session = running(site).incident.session
    session.submit(BeginDrill(site.clock.now_ms(), PROGRAM, "", ""))
    site.say("officer", "one person trapped")
    site.pass_time(8)
    late = site.join("one", Role.INSIDE)
    site.pass_time(3)
    session.submit(RewindDrill(site.clock.now_ms(), PROGRAM, "people"))
    site.pass_time(4)
    assert "people" == session.state.step
    assert session.state == late.state == site.stations["officer"].state
    site.say("officer", "one person trapped")
    site.pass_time(2)
    assert "visible" == late.state.step
    assert 0 == site.stations["officer"].waiting
