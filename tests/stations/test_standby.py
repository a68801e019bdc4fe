"""The standby: the same bytes as the coordinator, the lead by order only, and never two at once."""

from pathlib import Path

import pytest

from assistant.clock import ManualClock
from assistant.errors import LinkError
from assistant.journal import read
from assistant.replay import verify
from assistant.stations.standby import Phase
from protocol.commands import Role
from tests.stations.fake_broker import FakeBroker, FakeWire
from tests.stations.site import Site


@pytest.fixture
def broker() -> FakeBroker:
    """A broker in memory."""
    return FakeBroker()


@pytest.fixture
def site(tmp_path: Path, broker: FakeBroker) -> Site:
    """A coordinator, a standby, two headsets; one step is confirmed."""
    made = Site(ManualClock(), lambda topics, will, _name: broker.wire(topics, will), tmp_path)
    made.lead()
    made.stand_by()
    made.join("one", Role.INSIDE)
    made.join("officer", Role.OUTSIDE)
    made.pass_time(3)
    made.say("officer", "one person trapped")
    made.pass_time(2)
    return made


def test_the_copy_has_the_same_bytes_as_the_record(site: Site, tmp_path: Path) -> None:
    """Byte for byte, so the digest is the same too."""
    assert (tmp_path / "command.jsonl").read_bytes() == (tmp_path / "spare.jsonl").read_bytes()
    assert site.standby is not None
    assert site.coordinator is not None
    assert site.coordinator.digest == site.standby.replica.chain  # type: ignore[union-attr]
    assert site.standby.n == site.coordinator.relay.standby_n


def test_a_standby_that_joins_late_copies_everything(site: Site, tmp_path: Path) -> None:
    """Whoever comes in the middle asks for all that was before."""
    site.stand_by("late")
    site.pass_time(3)
    assert (tmp_path / "command.jsonl").read_bytes() == (tmp_path / "late.jsonl").read_bytes()


def test_a_standby_goes_on_with_its_own_file(site: Site, tmp_path: Path) -> None:
    """Stopped and started again it asks only for what it lacks, and the bytes are the same."""
    assert site.standby is not None
    assert site.standby.replica is not None
    site.others.clear()
    site.standby.close()
    site.standby.replica.close()
    site.say("officer", "person in plain sight")
    site.pass_time(2)
    before = (tmp_path / "spare.jsonl").read_bytes()
    again = site.stand_by()
    site.pass_time(3)
    whole = (tmp_path / "spare.jsonl").read_bytes()
    assert whole.startswith(before)
    assert (tmp_path / "command.jsonl").read_bytes() == whole
    assert again.replica is not None


def test_the_standby_never_leads_by_itself(site: Site) -> None:
    """A coordinator that is gone for minutes is told, and nothing else happens."""
    site.coordinator = None
    site.pass_time(300)
    assert site.standby is not None
    assert Phase.FOLLOWING is site.standby.phase
    assert 1 == sum("The coordinator is not heard" in text for text in site.shown)


def test_a_dead_coordinator_is_replaced_by_order_and_nothing_on_the_copy_is_lost(site: Site, tmp_path: Path) -> None:
    """Stations follow the new one; what they say is taken once; the record verifies from the first line on."""
    dead = site.coordinator
    assert dead is not None
    site.coordinator = None
    dead.relay._wire.close()
    site.say("officer", "person in plain sight")
    site.pass_time(10)
    site.order_standby()
    site.pass_time(12)
    assert site.coordinator is not None
    state = site.coordinator.incident.session.state
    assert (2, "spare") == (state.stations.term, state.stations.leader)
    assert state.pending is not None
    site.say("officer", "affirmative")
    site.pass_time(3)
    assert "depth" == site.stations["one"].state.step
    history = read(tmp_path / "spare.jsonl")
    assert verify(history) is None
    assert {site.coordinator.incident.session.state} == {station.state for station in site.stations.values()}


def test_a_coordinator_that_lives_stops_before_the_standby_leads(site: Site) -> None:
    """Ordered while the old one works: it yields, says where its record ended, and takes nothing any more."""
    old = site.coordinator
    assert old is not None
    site.others.append(old.turn)
    site.coordinator = None
    site.order_standby("the laptop gets wet")
    site.pass_time(5)
    assert "spare leads now, by order" == old.stopped
    assert old.incident.session.state.stations.term == 1
    count = len(read(old.incident.journal.path).records)
    site.say("officer", "person in plain sight")
    site.pass_time(3)
    assert count == len(read(old.incident.journal.path).records)
    assert site.coordinator is not None
    assert site.coordinator.incident.session.state.pending is not None


def test_a_coordinator_that_comes_back_after_it_was_replaced_is_fenced_off(site: Site) -> None:
    """It was cut off, decided on alone, and returns: it stops at once, and nobody has followed its records."""
    old = site.coordinator
    assert old is not None
    wire = old.relay._wire
    assert isinstance(wire, FakeWire)
    wire.up = False
    site.coordinator = None
    site.others.append(old.turn)
    site.pass_time(10)
    site.order_standby("cut off")
    site.pass_time(3)
    old.incident.session.say("person in plain sight", old.incident.clock.now_ms(), site.stations["officer"]._origin)
    site.pass_time(3)
    wire.join()
    site.pass_time(5)
    assert "spare leads now, by order" == old.stopped
    assert site.coordinator is not None
    assert site.coordinator.incident.session.state.pending is None
    assert {2} == {station.follower.log.head.term for station in site.stations.values() if station.follower.log}


def test_a_station_gives_the_new_coordinator_what_only_it_had(site: Site, broker: FakeBroker) -> None:
    """The standby was away for the last records; the coordinator died; a headset had heard them."""
    assert site.standby is not None
    wire = site.wires["spare"]
    assert isinstance(wire, FakeWire)
    wire.up = False
    site.say("officer", "person in plain sight")
    site.pass_time(2)
    dead = site.coordinator
    assert dead is not None
    digest = dead.digest
    site.coordinator = None
    dead.relay._wire.close()
    site.pass_time(1)
    wire.join()
    site.order_standby()
    assert site.coordinator is not None
    history = read(site.coordinator.incident.journal.path)
    assert site.coordinator.incident.session.state.pending is not None
    assert 1 == sum(digest in line.decode() for line in site.coordinator.relay._lines)
    assert verify(history) is None
    assert broker.kept


def test_records_that_died_with_the_coordinator_are_said_again_by_the_stations(site: Site) -> None:
    """Neither the standby nor a headset had the last record: the command in it is decided anew, once."""
    dead = site.coordinator
    assert dead is not None
    for name in ("spare", "one", "officer"):
        site.wires[name].inbox.clear()  # type: ignore[attr-defined]
    site.say("officer", "person in plain sight")
    dead.turn()
    assert dead.incident.session.state.pending is not None
    for name in ("spare", "one", "officer"):
        site.wires[name].inbox.clear()  # type: ignore[attr-defined]
    site.coordinator = None
    dead.relay._wire.close()
    site.order_standby()
    site.pass_time(3)
    assert site.coordinator is not None
    state = site.coordinator.incident.session.state
    assert state.pending is not None
    assert 2 == state.stations.seq("officer", site.stations["officer"].outbox.session)


def test_there_is_nothing_to_lead_without_a_copy(tmp_path: Path, broker: FakeBroker) -> None:
    """An order before anything was copied is refused with its reason."""
    site = Site(ManualClock(), lambda topics, will, _name: broker.wire(topics, will), tmp_path)
    standby = site.stand_by()
    with pytest.raises(LinkError, match="nothing to lead"):
        standby.order()


@pytest.mark.parametrize("polled_between", [False, True])
def test_of_two_standbys_only_the_first_leads(site: Site, polled_between: bool) -> None:
    """The broker's order decides; the other says so and goes on following."""
    first, second = site.standby, site.stand_by("third")
    site.pass_time(3)
    assert first is not None
    first.order()
    if polled_between:
        first.poll()
    second.term = first.term
    second.phase = Phase.CLAIMING
    second._send_claim(site.clock.now_ms())
    site.pass_time(4)
    assert (Phase.READY, Phase.BEATEN) == (first.phase, second.phase)
    assert "!! spare takes the lead already. This standby goes on following." in site.shown
