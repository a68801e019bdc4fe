"""Which commands of a station are taken, which are refused and why: late, repeated, twice heard, from before."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas
from protocol.delivery import Delivery, Link
from protocol.headset import Sound
from protocol.rules import RULES
from protocol.rules.delivering import _LATE, ECHO_MS, FROM_STATIONS, LATE_MS
from tests.books import shipped_book
from tests.drills import VISIBLE
from tests.sound_levels import SOUNDS
from tests.story import Story, kinds, only, sentences, walked_to

BOOK = shipped_book()
AGO_MS = 120_000
ROLE = cmd.Role.BOTH
st.register_type_strategy(Decimal, st.decimals(allow_nan=False, allow_infinity=False, min_value=0, max_value=10**6))
st.register_type_strategy(Sound, SOUNDS)


def joined(story: Story, *names: str) -> Story:
    """With stations linked."""
    for name in names or ("one", "two"):
        story.do(cmd.ReportStation(story.now, cmd.PROGRAM, name, ROLE, Link.UP))
    return story


def origin(story: Story, said_ms: int, heard: str = "", name: str = "one", seq: int = 0, term: int = 1) -> cmd.Origin:
    """A command's origin with the number that comes next, unless one is given."""
    following = story.state.stations.seq(name, "s") + 1
    return cmd.Origin(name, ROLE, "voice", heard, 0.9, Delivery("s", seq or following, said_ms, term))


def at_vacuum() -> Story:
    """Two rescuers inside, good air, vacuum on, some minutes later."""
    story = joined(walked_to(BOOK, VISIBLE, "vacuum_ready"))
    story.say("vacuum hose is ready")
    story.tick(story.now + AGO_MS)
    return story


def test_a_command_counts_once_however_often_it_arrives() -> None:
    """The second copy leaves no trace: no event, so no record."""
    story = at_vacuum()
    first = cmd.CountCanister(story.now, origin(story, story.now, "canister is full"))
    assert "CanisterCounted" in kinds(story.do(first))
    assert () == story.do(replace(first, at_ms=story.now + 5_000))
    assert 1 == len(story.state.canisters_ms)


def test_a_command_that_comes_before_the_one_it_follows_waits() -> None:
    """Number two before number one leaves no trace, and is taken when it comes again in order."""
    story = at_vacuum()
    second = cmd.CountCanister(story.now, origin(story, story.now, "b", seq=2))
    assert () == story.do(second)
    story.do(cmd.CountCanister(story.now, origin(story, story.now, "a", seq=1)))
    assert "DeliveryTaken" in kinds(story.do(second))


def test_a_command_from_a_station_that_follows_a_newer_coordinator_leaves_no_trace() -> None:
    """An old coordinator never decides what was meant for the one that replaced it."""
    story = at_vacuum()
    assert () == story.do(cmd.CountCanister(story.now, origin(story, story.now, term=2)))


def test_a_station_that_nobody_knows_leaves_no_trace() -> None:
    """A command from a name that never joined is not taken."""
    story = at_vacuum()
    assert () == story.do(cmd.CountCanister(story.now, origin(story, story.now, name="stranger")))


def test_the_same_phrase_from_two_microphones_counts_once() -> None:
    """Within the window the second is refused without a word; after it, it is another canister."""
    story = at_vacuum()
    now = story.now
    story.do(cmd.CountCanister(now, origin(story, now - 300, "canister is full")))
    echo = story.do(cmd.CountCanister(now, origin(story, now - 300 + ECHO_MS, "canister is full", name="two")))
    assert ["DeliveryRefused"] == kinds(echo)
    story.do(cmd.CountCanister(now, origin(story, now - 300 + ECHO_MS + 1, "canister is full", name="two")))
    assert 2 == len(story.state.canisters_ms)


def test_one_station_may_say_the_same_twice() -> None:
    """Two canisters told by one headset within the window are two."""
    story = at_vacuum()
    for _ in range(2):
        story.do(cmd.CountCanister(story.now, origin(story, story.now, "canister is full")))
    assert 2 == len(story.state.canisters_ms)


LATE = {
    cmd.CountCanister: True, cmd.RaiseEmergency: True, cmd.Hold: True, cmd.Note: True, cmd.ReportPart: True,
    cmd.MoveRescuer: True, cmd.Advance: True, cmd.Affirm: False, cmd.Negate: False, cmd.ReportAir: False,
    cmd.CallLevel: False, cmd.TapeCorner: False, cmd.CallOutside: False, cmd.CheckPerson: False,
    cmd.AnswerRollCall: False, cmd.StepBack: False, cmd.Correct: False, cmd.Resume: False,
    cmd.WithdrawEmergency: False, cmd.Ask: False, cmd.Override: False, cmd.EndWork: False, cmd.BeginHearing: True,
}  # fmt: skip
"""Every kind that a station may send, and whether it is taken two minutes late when nothing happened since."""
MORE = {
    cmd.RaiseEmergency: ("mayday",), cmd.Note: ("words",), cmd.ReportPart: ("microphone", False, "gone"),
    cmd.MoveRescuer: (1, False), cmd.ReportAir: (Gas.OXYGEN, Decimal("20.9"), "person"), cmd.CallLevel: ("chest",),
    cmd.TapeCorner: (1, Decimal(10)), cmd.CallOutside: (1, Decimal(10)), cmd.Ask: (cmd.Query.TIME,),
    cmd.EndWork: ("reason",),
}  # fmt: skip


def made(kind: type, story: Story, came: cmd.Origin) -> cmd.Command:
    """A command of a kind."""
    if kind is cmd.Advance:
        return cmd.Advance(story.now, came, story.step)
    if kind is cmd.Override:
        return cmd.Override(story.now, came, story.step, "reason")
    made_one: cmd.Command = kind(story.now, came, *MORE.get(kind, ()))
    return made_one


def test_the_table_of_late_commands_is_whole() -> None:
    """Every kind is judged: what a station may send is in the table above, everything else is refused at once."""
    assert set(LATE) == set(FROM_STATIONS)
    assert set(_LATE) <= set(FROM_STATIONS)


@pytest.mark.parametrize("kind", FROM_STATIONS, ids=lambda kind: kind.__name__)
def test_a_late_command_is_taken_only_if_it_stays_true(kind: type) -> None:
    """What happened is taken two minutes later; what was measured, asked or ordered then is refused with the reason."""
    story = at_vacuum()
    story.state = replace(story.state, step_since_ms=story.now - AGO_MS)
    events = story.do(made(kind, story, origin(story, story.now - AGO_MS + 1, "words")))
    taken = "DeliveryTaken" in kinds(events)
    assert LATE[kind] == taken
    if not taken:
        assert "ago" in only(events, ev.DeliveryRefused)[0].reason


@pytest.mark.parametrize("kind", FROM_STATIONS, ids=lambda kind: kind.__name__)
def test_nothing_is_late_within_the_limit(kind: type) -> None:
    """What comes in time goes to its own rule."""
    story = at_vacuum()
    events = story.do(made(kind, story, origin(story, story.now - LATE_MS, "words")))
    assert "DeliveryTaken" == kinds(events)[0]


@pytest.mark.parametrize("kind", sorted(set(RULES) - set(FROM_STATIONS), key=lambda kind: kind.__name__))
@settings(max_examples=5)
@given(data=st.data())
def test_what_no_station_may_send_is_refused(kind: type, data: st.DataObject) -> None:
    """Ticks, other stations' links, the lead, a drill's strings: never from a headset, and it is on record."""
    story = at_vacuum()
    before = story.state
    command = data.draw(st.from_type(kind))
    events = story.do(replace(command, at_ms=story.now, origin=origin(story, story.now, "words")))
    assert "DeliveryRefused" == kinds(events)[0]
    assert replace(before, stations=story.state.stations, last_said=story.state.last_said) == story.state


def test_a_step_that_moved_on_is_named() -> None:
    """A confirmation that came too late says where the incident is now."""
    story = joined(walked_to(BOOK, VISIBLE, "panel_set"))
    old = story.step
    came = origin(story, story.now, "panel one standing")
    story.say("panel one standing")
    for words in ("panel two standing", "panel three standing", "panel four standing"):
        story.say(words)
    events = story.do(cmd.Advance(story.now + AGO_MS, came, old, None, 1))
    assert only(events, ev.DeliveryRefused)[0].reason.startswith("the step now is ")
    assert sentences(events, "inside")[0].startswith("Not taken, panel one standing: the step now is ")


def test_a_step_begun_anew_is_not_confirmed_by_old_words() -> None:
    """Said before the step was taken back and entered again."""
    story = joined(Story(BOOK))
    said_ms = story.now
    story.say("one person trapped")
    story.say("go back one step")
    events = story.do(cmd.Advance(story.now, origin(story, said_ms, "x"), story.step, "one"))
    assert "the step was begun anew since" == only(events, ev.DeliveryRefused)[0].reason


def test_bad_air_counts_however_late_and_good_air_never() -> None:
    """A bad reading orders everyone out two minutes later, unless the gas was read again there since."""
    story = at_vacuum()
    bad = cmd.ReportAir(story.now, origin(story, story.now - AGO_MS, "x"), Gas.OXYGEN, Decimal("17.0"), "person")
    assert "EmergencyRaised" in kinds(story.do(bad))
    story = at_vacuum()
    story.read(Gas.OXYGEN, "20.9", "person")
    bad = cmd.ReportAir(story.now, origin(story, story.now - AGO_MS, "x"), Gas.OXYGEN, Decimal("17.0"), "person")
    assert ["it was read again since"] == [event.reason for event in only(story.do(bad), ev.DeliveryRefused)]


def test_an_affirmative_is_for_what_was_read_back_when_it_was_said() -> None:
    """Even in time, it never affirms something that was read back after it was said."""
    story = joined(walked_to(BOOK, VISIBLE, "visible"))
    said_ms = story.now + 1_000
    story.say("person in plain sight", at=story.now + 3_000)
    events = story.do(cmd.Affirm(story.now + 500, origin(story, said_ms, "affirmative")))
    assert ["something else was read back since"] == [event.reason for event in only(events, ev.DeliveryRefused)]
    assert "visible" == story.step


def test_a_station_takes_its_own_late_emergency_back() -> None:
    """Raised and withdrawn while cut off: both count, in order; another station's is not withdrawn late."""
    story = at_vacuum()
    story.do(cmd.RaiseEmergency(story.now, origin(story, story.now - 60_000, "x"), "mayday"))
    story.do(cmd.WithdrawEmergency(story.now, origin(story, story.now - 50_000, "y")))
    assert () == story.state.emergencies
    story.raise_emergency("mayday")
    story.do(cmd.WithdrawEmergency(story.now, origin(story, story.now - 50_000, "z")))
    assert 1 == len(story.state.emergencies)


def test_somebody_counted_again_since_is_not_moved_by_old_words() -> None:
    """Out and in again after it was said: the old "is out" would lose a rescuer inside."""
    story = at_vacuum()
    said_ms = story.now
    story.say("rescuer one is out")
    for gas in (Gas.OXYGEN, Gas.FLAMMABLE, Gas.CARBON_MONOXIDE, Gas.HYDROGEN_SULFIDE):
        story.read(gas, "20.9" if gas is Gas.OXYGEN else "0", "person")
    story.say("rescuer one going in")
    events = story.do(cmd.MoveRescuer(story.now + 60_000, origin(story, said_ms, "x"), 1, inside=False))
    assert ["rescuer one was counted since"] == [event.reason for event in only(events, ev.DeliveryRefused)]
    assert {1, 2} == {one.slot for one in story.state.inside}


def test_the_lead_is_taken_only_by_order_of_somebody_outside_with_a_reason_and_a_higher_number() -> None:
    """Fencing numbers only rise."""
    story = joined(Story(BOOK))
    outside, inside = cmd.Origin("officer", cmd.Role.OUTSIDE), cmd.Origin("one", cmd.Role.INSIDE)
    for whose, number, why in ((inside, 2, "it is dead"), (outside, 2, " "), (outside, 1, "it is dead")):
        assert ["CommandRefused"] == kinds(story.do(cmd.TakeLead(story.now, whose, "spare", number, why)))
    assert 1 == story.state.stations.term
    story.do(cmd.TakeLead(story.now, outside, "spare", 2, "it is dead"))
    assert (2, "spare") == (story.state.stations.term, story.state.stations.leader)


def test_a_low_battery_is_said_once() -> None:
    """At the step down to fifteen percent, not at every step below."""
    story = joined(Story(BOOK))
    said = [
        sentences(story.do(cmd.ReportStation(story.now, cmd.PROGRAM, "one", ROLE, Link.UP, battery)))
        for battery in (80, 20, 15, 10)
    ]
    assert [[], [], ["Headset one: battery low."], []] == said
