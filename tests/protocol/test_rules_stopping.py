"""Hold, override and going back: there is always a way to stop, and no way round a gate by accident."""

from dataclasses import replace

import pytest

from protocol import commands as cmd
from protocol import events as ev
from protocol.events import Urgency
from protocol.procedure import Interruption
from protocol.state import Rescuer
from tests.books import shipped_book, shipped_procedure
from tests.drills import VISIBLE, readings
from tests.protocol.emergencies import empty_the_bin, read_all, work_through
from tests.story import MINUTE, Story, kinds, only, origin_of, sentences, walked_to

BOOK = shipped_book()
INSIDE, OUTSIDE, BOTH = cmd.Role.INSIDE, cmd.Role.OUTSIDE, cmd.Role.BOTH


# --------------------------------------------------------------------------------------------------------- hold


def test_hold_blocks_the_procedure_and_resume_repeats_the_step() -> None:
    """Nothing advances while all work is held; both sides hear that it goes on."""
    story = walked_to(BOOK, VISIBLE, "boards")
    said = only(story.say("hold all work"), ev.Said)[0]
    assert ("both", Urgency.ALARM, "Hold all work. Stand still.") == (said.to, said.urgency, said.text)
    assert ["Not yet: all work is held. Say, resume all work."] == sentences(story.say("walkway boards are laid"))
    assert "boards" == story.step
    events = story.say("resume all work")
    assert "Work goes on." == sentences(events, "outside")[0]
    assert "Lay boards" in sentences(events, "inside")[-1]
    story.say("walkway boards are laid")
    assert "beside" == story.step


@pytest.mark.parametrize("row", shipped_procedure().interruptions, ids=lambda row: row.id)
def test_hold_stops_no_emergency(row: Interruption) -> None:
    """Held work can be evacuated, and the steps of an emergency are confirmed while it is held."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("hold all work")
    story.say(row.say[0])
    empty_the_bin(story)
    read_all(story)
    work_through(story)
    assert () == story.state.emergencies
    assert story.state.held


def test_hold_drops_what_was_read_back() -> None:
    """An affirmative after hold confirms nothing from before it."""
    story = walked_to(BOOK, VISIBLE, "entry_go")
    story.say_all(["entry approved by command", "hold all work"])
    assert story.state.pending is None
    assert "readback" not in {timer.timer for timer in story.state.timers}


def test_hold_and_resume_said_twice_are_answered() -> None:
    """The second time nothing changes and the program says how things stand."""
    story = walked_to(BOOK, VISIBLE, "boards")
    assert ["Work is not held."] == sentences(story.say("resume all work"))
    story.say("hold all work")
    assert ["All work is already held."] == sentences(story.say("hold all work"))


def test_nobody_enters_while_work_is_held() -> None:
    """Hold is a precondition of entry too."""
    story = walked_to(BOOK, VISIBLE, "rescuers_in")
    story.say("hold all work")
    events = story.say("rescuer one going in")
    assert ["Rescuer one, do not enter: all work is held. Say, resume all work."] == sentences(events)


def test_readings_counts_and_people_are_taken_while_work_is_held() -> None:
    """Holding work stops the steps, not the watch."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("hold all work")
    story.say_all(readings())
    story.say_all(["canister is full", "grain at rib cage", "person is answering"])
    assert 1 == len(story.state.canisters_ms)
    assert "ribs" == story.state.level


# ----------------------------------------------------------------------------------------------------- override


def _override(story: Story, reason: str = "second meter agrees", role: cmd.Role = OUTSIDE, step: str = "",
              answer: str | None = None) -> tuple[ev.Event, ...]:  # fmt: skip
    return story.do(cmd.Override(story.now, origin_of(role), step or story.step, reason, answer))


def test_the_officer_goes_on_without_a_precondition_and_the_reason_is_on_record() -> None:
    """An override is a named decision: the reason is noted, the step is marked as passed without its guards."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    events = _override(story)
    assert ["Override of Air at the hatch: second meter agrees"] == [event.text for event in only(events, ev.NoteTaken)]
    assert [True] == [event.skipped for event in only(events, ev.StepConfirmed)]
    assert "Air at the hatch: passed by override." == sentences(events)[0]
    assert "air_person" == story.step


@pytest.mark.parametrize(
    ("role", "reason", "step"), [(INSIDE, "because", ""), (OUTSIDE, "", ""), (OUTSIDE, "   ", ""), (OUTSIDE, "x", "meter")]
)
def test_an_override_needs_the_officer_a_reason_and_the_current_step(role: cmd.Role, reason: str, step: str) -> None:
    """Nobody inside, nobody without a reason and nobody for another step."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    events = _override(story, reason, role, step)
    assert ["AdvanceRefused", "Said"] == kinds(events)
    assert "air_hatch" == story.step


def test_an_override_of_a_question_needs_an_answer() -> None:
    """A fact is never made up."""
    story = walked_to(BOOK, VISIBLE, "fumigated")
    assert ["AdvanceRefused", "Said"] == kinds(_override(story))
    assert ["AdvanceRefused", "Said"] == kinds(_override(story, answer="maybe"))
    _override(story, answer="unknown")
    assert ("cause", "unknown") == (story.step, story.state.fact("fumigated"))


def test_an_override_does_not_pass_hold() -> None:
    """Held work goes on by "resume all work" and by nothing else."""
    story = walked_to(BOOK, VISIBLE, "boards")
    story.say("hold all work")
    assert ["Not yet: all work is held. Say, resume all work."] == sentences(_override(story))
    assert "boards" == story.step


@pytest.mark.parametrize(
    ("step", "wait", "reason"),
    [("air_hatch", 11, "oxygen is too old"), ("entry_go", 11, "oxygen is too old"), ("boards", 11, "oxygen is too old")],
)
def test_an_override_does_not_pass_stale_air(step: str, wait: int, reason: str) -> None:
    """Before entry and inside: a reading that is too old is read again, never talked away."""
    story = walked_to(BOOK, VISIBLE, step)
    if step == "air_hatch":
        read_all(story)
    story.wait(story.now + wait * MINUTE)
    events = _override(story)
    assert ["AdvanceRefused", "Said"] == kinds(events)
    assert "no override passes this" in sentences(events)[0]
    assert reason in sentences(events)[0]
    assert step == story.step


def test_an_override_does_not_pass_bad_air() -> None:
    """Neither the gate that a bad reading closes nor the step that leads back over it."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    story.say("oxygen one eight at the hatch")
    story.say("nobody left in bad air")
    events = _override(story, "crew on air packs")
    assert ["AdvanceRefused", "Said"] == kinds(events)
    assert "bad_air_cleared" == story.step


@pytest.mark.parametrize("step", ["everyone_out", "stand_down"])
def test_no_override_stands_down_over_somebody_inside(step: str) -> None:
    """The bin is empty by count or the incident stays open."""
    story = walked_to(BOOK, VISIBLE, step)
    if not story.state.inside:
        crew = (*story.state.crew, Rescuer(3, story.now))
        story.state = replace(story.state, crew=crew)
    events = _override(story, "they must be out by now")
    assert ["AdvanceRefused", "Said"] == kinds(events)
    assert "still inside" in sentences(events)[0]
    assert step == story.step


def test_the_work_is_ended_only_over_an_empty_bin() -> None:
    """A meter that died does not keep an incident open for ever: command ends the work once everyone is out."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("gas alarm is sounding")
    end = cmd.EndWork(story.now, origin_of(OUTSIDE), "no meter left")
    assert ["Not yet: 2 still inside."] == sentences(story.do(end))
    empty_the_bin(story)
    assert ["AdvanceRefused", "Said"] == kinds(story.do(replace(end, reason=" ")))
    assert ["AdvanceRefused", "Said"] == kinds(story.do(replace(end, origin=origin_of(INSIDE))))
    events = story.do(end)
    assert ["Work ended: no meter left"] == [event.text for event in only(events, ev.NoteTaken)]
    assert ("everyone_out", ()) == (story.step, story.state.emergencies)


def test_the_incident_never_closes_over_somebody_inside() -> None:
    """Even a procedure that forgot the guard at its last step does not close."""
    rows = [step.model_copy(update={"needs": ()}) if step.id == "stand_down" else step for step in BOOK.procedure.steps]
    loose = replace(BOOK, procedure=BOOK.procedure.model_copy(update={"steps": tuple(rows)}))
    story = walked_to(loose, VISIBLE, "stand_down")
    story.state = replace(story.state, crew=(*story.state.crew, Rescuer(3, story.now)))
    assert ["Not yet: 1 still inside."] == sentences(story.say("stand down the operation"))
    assert not story.state.closed


def test_an_override_of_a_repeated_step_passes_all_of_it() -> None:
    """Command may leave the panels in."""
    story = walked_to(BOOK, VISIBLE, "panel_out")
    _override(story, "panels stay in")
    assert "everyone_out" == story.step


# ----------------------------------------------------------------------------------------------------- one back


def test_one_step_back_forgets_what_that_step_made_known() -> None:
    """What the step had set is unknown again, and its successor's precondition refuses."""
    story = walked_to(BOOK, VISIBLE, "locked")
    events = story.say("go back one step")
    assert [("locked", "flow_off")] == [(event.step, event.to) for event in only(events, ev.SteppedBack)]
    assert "unknown" == story.state.fact("flow")
    assert "Back one step." == sentences(events)[0]
    assert "flow_off" == story.step
    assert "flow_off" not in story.state.trail


def test_one_step_back_forgets_an_answer() -> None:
    """A question is asked again."""
    story = walked_to(BOOK, VISIBLE, "uphill")
    story.say("go back one step")
    assert ("grain_kind", "unknown") == (story.step, story.state.fact("grain"))
    story.say("soybeans in the bin")
    assert ("uphill", "soybeans") == (story.step, story.state.fact("grain"))


def test_back_to_the_very_first_step_and_no_further() -> None:
    """Step by step the way leads back to the start, whatever loops were taken, and stops there."""
    story = walked_to(BOOK, VISIBLE, "gap")
    seen = [story.step]
    while story.state.trail:
        story.say("go back one step")
        seen.append(story.step)
    assert "people" == seen[-1]
    assert {"unknown"} == {value for _name, value in story.state.facts}
    assert ["This is the first step."] == sentences(story.say("go back one step"))


def test_back_in_an_emergency_is_refused() -> None:
    """An emergency is taken back by its own phrase."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("the ring is leaking")
    assert ["In an emergency. Say, disregard emergency, to go back."] == sentences(story.say("go back one step"))


def test_back_does_not_lead_round_the_entry_gate() -> None:
    """After an evacuation "go back" at the harness does not lead into the bin again."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("gas alarm is sounding")
    empty_the_bin(story)
    read_all(story)
    work_through(story)
    assert ["Work started anew here. There is no step to go back to."] == sentences(story.say("go back one step"))
    story.say("harness and anchor inspected")
    story.say("go back one step")
    assert "harness" == story.step


def test_back_drops_what_was_read_back_and_stops_the_clock_that_the_step_started() -> None:
    """Nothing of the step that is taken back goes on."""
    story = walked_to(BOOK, VISIBLE, "line_on")
    assert "person_check" in {timer.timer for timer in story.state.timers}
    story.say("go back one step")
    assert "person_check" not in {timer.timer for timer in story.state.timers}
    story = walked_to(BOOK, VISIBLE, "tried")
    story.say_all(["start buttons tried and dead", "go back one step"])
    assert story.state.pending is None


def test_back_starts_a_counted_step_again() -> None:
    """Panels are counted from one after going back to them."""
    story = walked_to(BOOK, VISIBLE, "joined")
    story.say("go back one step")
    assert ("panel_set", ()) == (story.step, story.state.repeats)


def test_back_over_the_freed_person_lets_the_stopped_clocks_run_on() -> None:
    """Not free after all: the time held and the time on the line count on from where they began."""
    story = walked_to(BOOK, VISIBLE, "person_out")
    climbing = dict(story.state.fact_times_ms)["climbing"]
    assert not {"hanging", "held_flag"} & {timer.timer for timer in story.state.timers}
    story.say("go back one step")
    clocks = {timer.timer: timer for timer in story.state.timers}
    assert ("free", "unknown") == (story.step, story.state.fact("person"))
    assert (climbing, climbing + 10 * MINUTE) == (clocks["hanging"].started_ms, clocks["hanging"].due_ms)
    assert (0, 60 * MINUTE) == (clocks["held_flag"].started_ms, clocks["held_flag"].due_ms)
    story.say("go back one step")
    assert "hanging" not in {timer.timer for timer in story.state.timers}


def test_back_over_the_hand_over_starts_talking_to_the_person_again() -> None:
    """The person is the crew's again, and so is the clock."""
    story = walked_to(BOOK, VISIBLE, "panel_out")
    story.say("go back one step")
    assert "person_check" in {timer.timer for timer in story.state.timers}
