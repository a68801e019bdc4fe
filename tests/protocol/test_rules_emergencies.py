"""Emergencies: taken in every step, spoken first, with a way back that never leads ahead or into the bin."""

import pytest

from protocol import commands as cmd
from protocol import events as ev
from protocol.events import Urgency
from protocol.procedure import Interruption
from tests.books import shipped_book, shipped_procedure
from tests.drills import AFFIRM, COVERED, VISIBLE
from tests.protocol.emergencies import empty_the_bin, read_all, work_through
from tests.story import Story, kinds, only, origin_of, sentences, walked_to

BOOK = shipped_book()
ROWS = shipped_procedure().interruptions
EVACUATING = [row for row in ROWS if row.evacuates]
RETURNING = [row for row in ROWS if not row.evacuates]
INSIDE, OUTSIDE, BOTH = cmd.Role.INSIDE, cmd.Role.OUTSIDE, cmd.Role.BOTH


def _name(row: Interruption) -> str:
    return row.id


def _shout(story: Story, row: Interruption) -> tuple[ev.Event, ...]:
    return story.say(row.say[0])


# ------------------------------------------------------------------------------------------------------ raising


@pytest.mark.parametrize("row", ROWS, ids=_name)
@pytest.mark.parametrize("step", ["people", "tried", "entry_go", "panel_set", "chest_clear", "climbing", "locks_stay"])
def test_an_emergency_is_taken_in_any_step_and_spoken_first(step: str, row: Interruption) -> None:
    """The order is the first thing said, to everyone, as an alarm; then come the emergency's own steps."""
    story = walked_to(BOOK, VISIBLE, step)
    events = _shout(story, row)
    first = only(events, ev.Said)[0]
    assert ("both", Urgency.ALARM) == (first.to, first.urgency)
    assert first.text.startswith(row.first)
    assert "If that was wrong, say, disregard emergency." in first.text
    assert [(row.id, step)] == [(event.kind, event.from_step) for event in only(events, ev.EmergencyRaised)]
    assert row.to == story.step


@pytest.mark.parametrize("row", RETURNING, ids=_name)
def test_a_returning_emergency_leads_back_to_the_interrupted_step(row: Interruption) -> None:
    """Its own steps, then the step that was interrupted, said again; nothing that was known is lost."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    before = story.state
    _shout(story, row)
    work_through(story)
    assert "chest_clear" == story.step
    learned = {("leak", "closed")} if row.id == "leak" else set()
    assert learned == set(story.state.facts) - set(before.facts)
    assert before.trail == story.state.trail
    assert before.crew == story.state.crew
    assert [(row.id, False)] == [(event.kind, event.withdrawn) for event in only(story.events, ev.EmergencyEnded)]
    assert any("Chest first" in text for text in sentences(story.events[-4:]))


@pytest.mark.parametrize("row", EVACUATING, ids=_name)
def test_an_evacuation_leads_to_the_entry_gate_and_entry_starts_anew(row: Interruption) -> None:
    """Nobody is left, then harness, tenders, radio and approval again; the old approval is gone."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    _shout(story, row)
    out = story.scene().step.say[0]
    assert ["Not yet: 2 still inside."] == sentences(story.say(out))
    empty_the_bin(story)
    read_all(story)
    work_through(story)
    assert "harness" == story.step
    assert "unknown" == story.state.fact("entry")
    events = story.do(cmd.MoveRescuer(story.now, origin_of(INSIDE), 1, inside=True))
    assert ["Rescuer one, do not enter: command has not approved entry."] == sentences(events)
    story.say_all(VISIBLE[VISIBLE.index("harness and anchor inspected") :])
    assert story.state.closed


@pytest.mark.parametrize("row", EVACUATING, ids=_name)
@pytest.mark.parametrize("step", ["people", "flow_off", "air_hatch", "harness"])
def test_an_evacuation_before_the_entry_gate_never_leads_ahead(step: str, row: Interruption) -> None:
    """Lockout and air are not skipped by an alarm: the interrupted step comes again, and the drill can be finished."""
    story = walked_to(BOOK, VISIBLE, step)
    rest = VISIBLE[len([c for c in story.commands if not isinstance(c, cmd.OpenIncident)]) :]
    _shout(story, row)
    read_all(story)
    work_through(story)
    assert step == story.step
    story.say_all(rest)
    assert story.state.closed


@pytest.mark.parametrize("row", EVACUATING, ids=_name)
@pytest.mark.parametrize("step", ["person_out", "medics_have", "panel_out", "locks_stay"])
def test_an_evacuation_after_the_person_is_free_does_not_send_anyone_in_again(step: str, row: Interruption) -> None:
    """With nobody left to reach, the crew goes on where it was instead of back to the harness."""
    story = walked_to(BOOK, VISIBLE, step)
    _shout(story, row)
    empty_the_bin(story)
    read_all(story)
    work_through(story)
    assert step == story.step


@pytest.mark.parametrize("row", EVACUATING, ids=_name)
def test_the_covered_branch_is_interrupted_and_goes_on(row: Interruption) -> None:
    """An evacuation while openings are cut comes back to the openings."""
    story = walked_to(BOOK, COVERED, "openings_cut")
    _shout(story, row)
    read_all(story)
    work_through(story)
    assert "openings_cut" == story.step


def test_panels_already_standing_are_kept_through_an_emergency() -> None:
    """After a leak at panel three the count goes on at panel three."""
    story = walked_to(BOOK, VISIBLE, "panel_set")
    story.say_all(["panel one standing", "panel two standing", "grain is falling in"])
    work_through(story)
    assert [1, 2] == list(story.state.repeats)
    story.say_all(["panel three standing", "rescuer is down", "disregard emergency"])
    assert [1, 2, 3] == list(story.state.repeats)
    story.say("panel four standing")
    assert "joined" == story.step


def test_an_emergency_inside_an_emergency_ends_before_the_first_one_does() -> None:
    """Mayday during a leak: the leak's step comes again, then the interrupted step."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say_all(["the ring is leaking", "mayday mayday mayday"])
    assert [("leak", "chest_clear"), ("mayday", "leak_closed")] == [
        (one.kind, one.return_to) for one in story.state.emergencies
    ]
    story.say("mayday is answered")
    assert ["leak", "mayday"] == [one.kind for one in story.state.emergencies]
    story.say_all(["mayday is over now", AFFIRM])
    assert "leak_closed" == story.step
    assert ["leak"] == [one.kind for one in story.state.emergencies]
    story.say("leaking corner closed")
    assert "chest_clear" == story.step
    assert () == story.state.emergencies


def test_the_same_emergency_again_is_said_again_but_does_not_pile_up() -> None:
    """Two alarms of one kind have one way back."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("the ring is leaking")
    events = story.say("the ring is leaking")
    assert ["Said"] == kinds(events)
    assert 1 == len(story.state.emergencies)


def test_disregard_takes_the_newest_back() -> None:
    """One phrase ends a false alarm; everyone hears it."""
    story = walked_to(BOOK, VISIBLE, "panel_set")
    story.say("panel one standing")
    story.say("person is slipping")
    events = story.say("disregard emergency")
    assert "Person slipping: withdrawn." == sentences(events, "outside")[0]
    assert "Person slipping: withdrawn." == sentences(events, "inside")[0]
    assert [True] == [event.withdrawn for event in only(events, ev.EmergencyEnded)]
    assert "panel_set" == story.step


def test_disregard_without_an_emergency_changes_nothing() -> None:
    """There is nothing to take back, and the program says so."""
    story = walked_to(BOOK, VISIBLE, "harness")
    events = story.do(cmd.WithdrawEmergency(story.now, origin_of(BOTH)))
    assert ["No emergency is open."] == sentences(events)


def test_an_unknown_emergency_is_refused_on_record() -> None:
    """A kind that the procedure does not have is an event, not an exception."""
    story = walked_to(BOOK, VISIBLE, "harness")
    assert ["CommandRefused"] == kinds(story.raise_emergency("flood"))


def test_an_emergency_drops_what_was_read_back() -> None:
    """An affirmative after the alarm confirms nothing from before it."""
    story = walked_to(BOOK, VISIBLE, "entry_go")
    story.say("entry approved by command")
    story.say("mayday mayday mayday")
    assert story.state.pending is None
    assert story.heard(AFFIRM) is None
    assert "unknown" == story.state.fact("entry")


def test_the_clocks_run_on_through_an_emergency() -> None:
    """Roll call, work periods and the age of the air do not wait."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    before = {(timer.timer, timer.key, timer.due_ms) for timer in story.state.timers if timer.timer != "quiet"}
    story.say("the ring is leaking")
    assert before <= {(timer.timer, timer.key, timer.due_ms) for timer in story.state.timers}


def test_nobody_enters_during_an_emergency_but_everybody_may_leave() -> None:
    """A standby rescuer is sent by command's word, not counted in by habit."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("rescuer is down")
    assert ["Rescuer three, do not enter: there is an emergency."] == sentences(story.say("rescuer three going in"))
    story.say("rescuer one is out")
    assert [2] == [one.slot for one in story.state.inside]
