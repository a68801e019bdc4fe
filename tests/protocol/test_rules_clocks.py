"""Clocks and crew, exact to the millisecond: roll call, work period, person check, flags, and who is inside."""

import pytest

from protocol import commands as cmd
from protocol import events as ev
from protocol.events import Urgency
from protocol.house import House
from protocol.timers import next_deadline_ms, running
from tests.books import book_with, shipped_book
from tests.drills import VISIBLE
from tests.story import MINUTE, SECOND, Story, kinds, only, origin_of, sentences, walked_to

BOOK = shipped_book()
CLOCKS = ("elapsed", "held_flag", "person_check", "roll_call", "work_period", "hanging")
"""Clocks that speak a sentence of their own."""


def _started(story: Story, timer: str, key: str = "") -> int:
    clock = running(story.state, timer, key)
    assert clock is not None, f"{timer} does not run in {story.step}"
    return clock.started_ms


def _at(events: tuple[ev.Event, ...], timer: str, key: str = "") -> list[int]:
    found = only(events, ev.TimerExpired)
    return [event.at_ms for event in found if (event.timer, event.key) == (timer, key)]


RUNNING = [
    # clock, key, step in which it runs, minutes, repeats, sentence when it runs out (intervals: test_tables.py)
    ("elapsed", "", "people", 15, True, "Fifteen minutes since the first call."),
    ("held_flag", "", "people", 60, False,
     "Held for one hour. Tell the medics before release: crush injury is possible."),
    ("person_check", "", "line_on", 3, True, "Talk to the person. Then say, person is answering."),
    ("roll_call", "", "boards", 15, True, "Roll call. Two inside. Answer, all accounted for."),
    ("work_period", "1", "boards", 20, True, "Rescuer one: twenty minutes inside. Relief is due."),
    ("work_period", "2", "boards", 20, True, "Rescuer two: twenty minutes inside. Relief is due."),
    ("hanging", "", "free", 10, True, "Ten minutes on the line. Do not leave the person hanging still."),
]  # fmt: skip


@pytest.mark.parametrize(("timer", "key", "step", "minutes", "repeats", "text"), RUNNING)
def test_a_clock_speaks_at_its_moment_and_not_before(
    timer: str, key: str, step: str, minutes: int, repeats: bool, text: str
) -> None:
    """One millisecond early nothing is said; on time the sentence; then again after each whole interval, or never."""
    story = walked_to(BOOK, VISIBLE, step)
    due = _started(story, timer, key) + minutes * MINUTE
    assert [] == _at(story.wait(due - 1), timer, key)
    events = story.wait(due)
    assert [due] == _at(events, timer, key)
    assert text in sentences(events)
    later = _at(story.wait(due + 2 * minutes * MINUTE), timer, key)
    assert ([due + minutes * MINUTE, due + 2 * minutes * MINUTE] if repeats else []) == later


@pytest.mark.parametrize("minutes", [2.0, 7.5])
def test_every_clock_follows_the_house_rule(minutes: float) -> None:
    """The intervals are settings of the department, not law."""
    names = ("roll_call_min", "person_check_min", "work_period_min", "elapsed_call_min")
    story = walked_to(book_with(House(**dict.fromkeys(names, minutes))), VISIBLE, "boards")  # type: ignore[arg-type]
    for timer, key in (("roll_call", ""), ("person_check", ""), ("work_period", "1")):
        clock = running(story.state, timer, key)
        assert clock is not None
        assert clock.due_ms is not None
        assert 0 == (clock.due_ms - clock.started_ms) % round(minutes * MINUTE)


def test_a_leap_over_many_deadlines_says_each_clock_once() -> None:
    """After two hours of sleep nothing is said forty times, and the next deadline lies ahead."""
    story = walked_to(BOOK, VISIBLE, "boards")
    end = story.now + 120 * MINUTE
    events = story.tick(end)
    expired = [(event.timer, event.key) for event in only(events, ev.TimerExpired)]
    assert sorted(set(expired)) == sorted(expired)
    deadline = next_deadline_ms(story.state)
    assert deadline is not None
    assert deadline > end


def test_a_leap_keeps_the_beat() -> None:
    """A clock that was called late is due again at the whole interval, not an interval after the late call."""
    story = walked_to(BOOK, VISIBLE, "boards")
    start = _started(story, "roll_call")
    story.tick(start + 40 * MINUTE)
    assert [start + 45 * MINUTE] == _at(story.wait(start + 59 * MINUTE), "roll_call")


def test_time_passing_without_a_deadline_leaves_no_trace() -> None:
    """Ticks before the next deadline give no events, however many."""
    story = walked_to(BOOK, VISIBLE, "boards")
    deadline = next_deadline_ms(story.state)
    assert deadline is not None
    for moment in range(story.now, deadline, 997):
        assert () == story.tick(moment)


# ------------------------------------------------------------------------------------------- what restarts or stops


def test_an_answered_roll_call_starts_the_clock_again() -> None:
    """Fifteen minutes run from the answer, and the number inside is said."""
    story = walked_to(BOOK, VISIBLE, "boards")
    answered = story.now + 5 * MINUTE
    events = story.say("all accounted for", at=answered)
    assert ["Roll call complete. Two inside."] == sentences(events)
    assert [2] == [event.inside for event in only(events, ev.RollCallAnswered)]
    assert [answered + 15 * MINUTE] == _at(story.wait(answered + 16 * MINUTE), "roll_call")


def test_a_person_who_answers_starts_the_check_again() -> None:
    """Three minutes run from the last answer."""
    story = walked_to(BOOK, VISIBLE, "line_on")
    answered = story.now + 2 * MINUTE
    assert ["Person answering."] == sentences(story.say("person is answering", at=answered))
    assert [answered + 3 * MINUTE] == _at(story.wait(answered + 4 * MINUTE), "person_check")


def test_the_roll_call_runs_only_while_somebody_is_inside() -> None:
    """It starts with the first one in, goes on while one is left, and stops with the last one out."""
    story = walked_to(BOOK, VISIBLE, "rescuers_in")
    assert running(story.state, "roll_call") is None
    first_in = story.now + SECOND
    story.say("rescuer one going in", at=first_in)
    story.say("rescuer two going in", at=first_in + MINUTE)
    assert first_in == _started(story, "roll_call")
    story.say("rescuer one is out")
    assert first_in == _started(story, "roll_call")
    story.say("rescuer two is out")
    assert running(story.state, "roll_call") is None


def test_each_rescuer_has_a_work_period_of_their_own() -> None:
    """Relief of one does not touch the clock of the other."""
    story = walked_to(BOOK, VISIBLE, "boards")
    second = _started(story, "work_period", "2")
    story.say("rescuer one is out", at=story.now + 10 * MINUTE - MINUTE)
    assert running(story.state, "work_period", "1") is None
    assert second == _started(story, "work_period", "2")


def test_relief_goes_in_with_a_fresh_clock() -> None:
    """Rescuer three is counted from the moment of going in."""
    story = walked_to(BOOK, VISIBLE, "boards")
    moment = story.now + 5 * MINUTE
    story.say("rescuer three going in", at=moment)
    assert [moment + 20 * MINUTE] == _at(story.wait(moment + 20 * MINUTE), "work_period", "3")


@pytest.mark.parametrize(
    ("timer", "before", "after"),
    [("held_flag", "free", "person_out"), ("hanging", "free", "person_out"), ("person_check", "medics_have", "panel_out")],
)
def test_a_clock_stops_when_its_reason_is_gone(timer: str, before: str, after: str) -> None:
    """Free of the grain: no more held flag and no more hanging; handed over: no more checks."""
    assert running(walked_to(BOOK, VISIBLE, before).state, timer)
    assert running(walked_to(BOOK, VISIBLE, after).state, timer) is None


def test_a_closed_incident_has_no_clocks() -> None:
    """After stand-down time passes in silence."""
    story = Story(BOOK).say_all(VISIBLE)
    assert () == story.state.timers
    assert () == story.tick(story.now + 1000 * MINUTE)


def test_an_hour_held_is_flagged_once_as_an_alarm_to_the_outside() -> None:
    """Crush injury from as little as one hour (Joint Trauma System guideline): said once, before release."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    said = [one for one in only(story.wait(180 * MINUTE), ev.Said) if one.about == "held_flag"]
    assert [("outside", Urgency.ALARM, 60 * MINUTE)] == [(one.to, one.urgency, one.at_ms) for one in said]


# ------------------------------------------------------------------------------------------------------------ quiet


def test_when_nothing_happens_the_step_is_said_again() -> None:
    """After four quiet minutes the prompt comes again, and after each four more."""
    story = walked_to(BOOK, VISIBLE, "guard")
    entered = story.state.step_since_ms
    events = story.wait(entered + 4 * MINUTE)
    assert [entered + 4 * MINUTE] == _at(events, "quiet")
    assert ["Put a guard at the controls until stand-down. Say, sentry at the control panel."] == sentences(events)
    assert [entered + 8 * MINUTE] == _at(story.wait(entered + 8 * MINUTE), "quiet")


def test_anything_that_happens_restarts_the_quiet_clock() -> None:
    """A canister, a level or a reading shows that work goes on."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    for words in ("canister is full", "grain at chest"):
        moment = story.now + 3 * MINUTE
        story.say(words, at=moment)
        assert moment == _started(story, "quiet")


def test_held_work_is_called_as_held() -> None:
    """The reminder does not ask for work that is forbidden now."""
    story = walked_to(BOOK, VISIBLE, "guard")
    story.say("hold all work")
    assert "All work is still held." in sentences(story.wait(story.now + 4 * MINUTE))


# ------------------------------------------------------------------------------------------------------------- crew


def test_rescuers_are_counted_in_and_out_by_number() -> None:
    """Each movement is named back, with the number inside and who they are."""
    story = walked_to(BOOK, VISIBLE, "rescuers_in")
    assert ["Rescuer one is in. One inside: rescuer one."] == sentences(story.say("rescuer one going in"))
    assert ["Not yet: 1 of 2 rescuers not yet in."] == sentences(story.say("team is in the bin"))
    assert ["Rescuer two is in. Two inside: rescuer one and rescuer two."] == sentences(story.say("rescuer two going in"))
    assert ["Rescuer one is out. One inside: rescuer two."] == sentences(story.say("rescuer one is out"))
    assert ["Rescuer two is out. Nobody inside."] == sentences(story.say("rescuer two is out"))


def test_a_rescuer_counted_out_by_mistake_is_inside_again() -> None:
    """Correction takes it back by name, and the work period counts on from when the rescuer went in."""
    story = walked_to(BOOK, VISIBLE, "boards")
    entered = next(one.entered_ms for one in story.state.inside if one.slot == 2)
    story.say("rescuer two is out")
    said = sentences(story.say("correction"), "inside")
    assert ["Taken back: rescuer two is out.", "Rescuer two is still inside. Two inside: rescuer one and rescuer two."] == said
    clock = next(row for row in story.state.timers if (row.timer, row.key) == ("work_period", "2"))
    assert (entered, entered + 20 * MINUTE) == (clock.started_ms, clock.due_ms)


@pytest.mark.parametrize(
    ("slot", "inside", "text"),
    [
        (1, True, "Rescuer one, do not enter: already counted inside."),
        (3, False, "Rescuer three was not inside."),
        (0, True, "Rescuer zero, do not enter: that rescuer has no number."),
        (10, True, "Rescuer ten, do not enter: that rescuer has no number."),
    ],
)
def test_a_count_that_cannot_be_is_refused_aloud(slot: int, inside: bool, text: str) -> None:
    """Nobody is counted twice, and nobody leaves who never went in."""
    story = walked_to(BOOK, VISIBLE, "boards")
    before = story.state.crew
    events = story.do(cmd.MoveRescuer(story.now, origin_of(cmd.Role.BOTH), slot, inside))
    assert [text] == sentences(events)
    assert before == story.state.crew


def test_nobody_goes_in_before_command_approves() -> None:
    """Before the entry gate the words are not even in force, and a button is refused with the reason."""
    story = walked_to(BOOK, VISIBLE, "harness")
    assert story.heard("rescuer one going in") is None
    events = story.do(cmd.MoveRescuer(story.now, origin_of(cmd.Role.OUTSIDE), 1, inside=True))
    assert ["Rescuer one, do not enter: command has not approved entry."] == sentences(events)
    assert ["entry"] == [event.guard for event in only(events, ev.AdvanceRefused)]


def test_somebody_who_went_in_again_is_inside_once() -> None:
    """Out and in again: one person inside, with the clock of the second entry."""
    story = walked_to(BOOK, VISIBLE, "boards")
    story.say("rescuer one is out")
    again = story.now + MINUTE
    story.say("rescuer one going in", at=again)
    assert [2, 1] == [one.slot for one in story.state.inside]
    assert again == _started(story, "work_period", "1")
    story.say("rescuer one is out")
    assert [2] == [one.slot for one in story.state.inside]


def test_stand_down_is_refused_while_somebody_is_inside() -> None:
    """Nobody is left unaccounted: the count decides, not the words."""
    story = walked_to(BOOK, VISIBLE, "everyone_out")
    assert ["Not yet: 2 still inside."] == sentences(story.say("bin is empty of people"))
    story.say("rescuer one is out")
    assert ["Not yet: 1 still inside."] == sentences(story.say("bin is empty of people"))
    story.say_all(["rescuer two is out", "bin is empty of people", "affirmative"])
    assert "locks_stay" == story.step


def test_a_rise_of_the_grain_is_an_alarm() -> None:
    """Grain that stands higher than it did is said as a leak to look for, to both sides."""
    story = walked_to(BOOK, VISIBLE, "to_knees")
    said = only(story.say("grain at chest"), ev.Said)[0]
    assert ("both", Urgency.ALARM) == (said.to, said.urgency)
    assert "Grain rose from hips to chest. Check the ring for a leak." == said.text
    assert "chest" == story.state.level


def test_a_level_that_is_no_mark_is_not_taken() -> None:
    """Only the eight marks of the body are levels."""
    story = walked_to(BOOK, VISIBLE, "to_knees")
    events = story.do(cmd.CallLevel(story.now, origin_of(cmd.Role.INSIDE), "nose"))
    assert ["Said"] == kinds(events)
    assert "hips" == story.state.level


@pytest.mark.parametrize("apart_ms", [0, 1, 1_000])
def test_two_levels_of_one_moment_are_taken(apart_ms: int) -> None:
    """Two marks called at once, or a hair apart, are no leak and no error: the last one counts."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    origin = origin_of(cmd.Role.INSIDE)
    story.do(cmd.CountCanister(story.now + MINUTE, origin))
    story.do(cmd.CallLevel(story.now, origin, "chest"))
    events = story.do(cmd.CallLevel(story.now + apart_ms, origin, "hips"))
    assert not [said for said in only(events, ev.Said) if said.about == "leak"]
    assert "hips" == story.state.level


def test_canisters_are_counted_aloud() -> None:
    """Each canister is named by its number."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    assert ["Canister one.", "Canister two."] == [sentences(story.say("canister is full"))[0] for _ in range(2)]
