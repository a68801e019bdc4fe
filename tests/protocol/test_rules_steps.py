"""Confirming steps: roles, read-back, preconditions, answers, repeats."""

from dataclasses import replace
from decimal import Decimal
from functools import cache

import pytest

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas, Reading
from protocol.guards import GUARDS
from protocol.history import fold
from protocol.house import House
from protocol.procedure import Step
from protocol.rules import decide
from protocol.scene import Scene
from protocol.state import Rescuer, State
from tests.books import book_with, shipped_book, shipped_procedure
from tests.drills import COVERED, SEVERAL, VISIBLE
from tests.story import SECOND, Story, kinds, only, origin_of, sentences, walked_to

BOOK = shipped_book()
STEPS = shipped_procedure().steps
INSIDE, OUTSIDE, BOTH = cmd.Role.INSIDE, cmd.Role.OUTSIDE, cmd.Role.BOTH


@cache
def _states() -> dict[str, State]:
    """For each step of the drills the state in which it was confirmed."""
    found: dict[str, State] = {}
    for lines in (COVERED, SEVERAL, VISIBLE):
        story = Story(BOOK)
        for words in lines:
            if words != "affirmative":
                found[story.step] = story.state
            story.say(words)
    return found


def _confirmation(step: Step, at_ms: int) -> cmd.Advance:
    answer = step.answers[0].value if step.answers else None
    return cmd.Advance(at_ms, origin_of(BOTH), step.id, answer, 1 if step.repeat else None)


# ------------------------------------------------------------------------------------------ opening, confirming


def test_the_caution_is_the_first_thing_said() -> None:
    """Command decides, the program advises: that is said before the first prompt, and the clocks run."""
    story = Story(BOOK)
    caution, prompt = only(story.events, ev.Said)
    assert "Advice only. The incident commander decides; local procedure and medical direction come first." == caution.text
    assert "both" == caution.to
    assert "How many people are trapped?" in prompt.text
    assert {"elapsed", "held_flag", "quiet"} == {timer.timer for timer in story.state.timers}


def test_a_confirmation_is_answered_by_name_and_followed_by_the_next_prompt() -> None:
    """Closed loop: what was confirmed is named back, then the next step is said with the words for it."""
    story = walked_to(BOOK, VISIBLE, "flow_off")
    events = story.say("unloading gear is off")
    assert [
        "Everything that moves grain is off, confirmed.",
        "Lock and tag every one of them. Say, padlocks and tags applied.",
    ] == sentences(events)
    assert "StepConfirmed" == kinds(events)[0]
    assert "locked" == story.step
    assert "off" == story.state.fact("flow")


def test_an_answer_is_named_back_in_the_words_that_were_said() -> None:
    """Questions are acknowledged with the answer, not with the title."""
    story = walked_to(BOOK, VISIBLE, "grain_kind")
    assert "Soybeans in the bin." == sentences(story.say("soybeans in the bin"))[0]
    assert "soybeans" == story.state.fact("grain")


def test_a_confirmation_of_another_step_is_refused_aloud() -> None:
    """A late or early confirmation names its step: it can never advance the wrong one."""
    story = walked_to(BOOK, VISIBLE, "locked")
    events = story.do(cmd.Advance(story.now, origin_of(OUTSIDE), "flow_off"))
    assert ["AdvanceRefused", "Said"] == kinds(events)
    assert ["Not yet: the step now is Locks and tags on."] == sentences(events)
    assert "locked" == story.step


@pytest.mark.parametrize("step", [step for step in STEPS if not step.final], ids=lambda step: step.id)
def test_only_the_side_that_confirms_a_step_can_confirm_it(step: Step) -> None:
    """A confirmation from the other headset is refused and says who confirms."""
    other = {"inside": OUTSIDE, "outside": INSIDE}.get(step.confirmed_by)
    state = replace(_states().get(step.id, State(opened=True)), step=step.id)
    if other is None:
        assert step.confirmed_by == "either"
        return
    command = replace(_confirmation(step, state.at_ms), origin=origin_of(other))
    events = decide(BOOK, state, command)
    assert [f"Not yet: {step.confirmed_by} confirms this."] == sentences(events)
    assert step.id == fold(events, state).step


# ---------------------------------------------------------------------------------------------------- read-back


@pytest.mark.parametrize("step", [step for step in STEPS if step.critical], ids=lambda step: step.id)
def test_what_can_hurt_is_read_back_and_waits(step: Step) -> None:
    """A critical step is not confirmed by its phrase alone."""
    state = replace(_states().get(step.id, State(opened=True)), step=step.id, emergencies=())
    if step.id == "structure_safe":
        state = replace(state, crew=())
    events = decide(BOOK, state, _confirmation(step, state.at_ms))
    assert ["ReadbackAsked", "TimerStarted", "Said"] == kinds(events)
    heard = step.answers[0].say[0] if step.answers else step.say[0]
    assert [f"I heard, {heard}. Say, affirmative, or, negative."] == sentences(events)
    assert state.step == fold(events, state).step


def test_the_critical_steps_are_the_known_ones() -> None:
    """Visible, fumigated, lockout tried, entry, ring depth, anybody else, everyone out; the branches alike."""
    assert {
        "visible", "fumigated", "tried", "entry_go", "reach", "everyone_out", "covered_off", "covered_fumigant", "person_shows",
        "structure_safe", "mayday_over", "anybody_else", "next_visible",
    } == {step.id for step in STEPS if step.critical}  # fmt: skip


def test_affirmative_confirms_and_the_record_keeps_the_first_words() -> None:
    """What counts is what was read back, not the word affirmative."""
    story = walked_to(BOOK, VISIBLE, "tried")
    story.say("start buttons tried and dead", role=OUTSIDE)
    events = story.say("affirmative", role=OUTSIDE)
    confirmed = only(events, ev.StepConfirmed)[0]
    assert ("tried", "outside", "start buttons tried and dead") == (confirmed.step, confirmed.by, confirmed.heard)
    assert "tried" == story.state.fact("lockout")
    assert story.state.pending is None


def test_negative_drops_it_and_the_step_stands() -> None:
    """No to a read-back changes nothing else."""
    story = walked_to(BOOK, VISIBLE, "tried")
    before = story.state
    story.say("start buttons tried and dead")
    events = story.say("negative")
    assert ["Disregarded. Say it again."] == sentences(events)
    assert ["negative"] == [event.why for event in only(events, ev.ReadbackDropped)]
    kept = ("step", "facts", "trail", "pending", "steps_confirmed", "timers")
    assert [getattr(before, name) for name in kept] == [getattr(story.state, name) for name in kept]


@pytest.mark.parametrize("readback_s", [5.0, 12.0])
@pytest.mark.parametrize("late_ms", [-1, 0])
@pytest.mark.parametrize("ticked", [True, False])
def test_a_read_back_lapses_to_the_millisecond(readback_s: float, late_ms: int, ticked: bool) -> None:
    """An affirmative that comes too late confirms nothing, whether or not a clock tick came before it."""
    story = walked_to(book_with(House(readback_s=readback_s)), VISIBLE, "tried")
    story.say("start buttons tried and dead")
    moment = story.now + round(readback_s * 1000) + late_ms
    if ticked:
        story.tick(moment)
    story.do(cmd.Affirm(moment, origin_of(OUTSIDE)))
    assert ("guard" if late_ms < 0 else "tried") == story.step
    assert story.state.pending is None
    assert "readback" not in {timer.timer for timer in story.state.timers}


def test_a_lapse_is_said_aloud() -> None:
    """Whoever said it hears that nothing was changed."""
    story = walked_to(BOOK, VISIBLE, "tried")
    story.say("start buttons tried and dead")
    assert ["Not affirmed. Nothing was changed."] == sentences(story.tick(story.now + round(BOOK.house.readback_s * SECOND)))


def test_saying_something_else_overtakes_the_read_back() -> None:
    """Of two statements the last one waits for the affirmative."""
    story = walked_to(BOOK, VISIBLE, "visible")
    story.say("person in plain sight")
    events = story.say("covered by the grain")
    assert ["overtaken"] == [event.why for event in only(events, ev.ReadbackDropped)]
    story.say("affirmative")
    assert "mark_point" == story.step


def test_the_other_side_cannot_affirm() -> None:
    """An affirmative meant for somebody else does not approve entry; the right side still may."""
    story = walked_to(BOOK, VISIBLE, "entry_go")
    story.say("entry approved by command", role=OUTSIDE)
    assert ["Outside affirms this."] == sentences(story.say("affirmative", role=INSIDE))
    assert "entry_go" == story.step
    story.say("affirmative", role=OUTSIDE)
    assert "rescuers_in" == story.step


@pytest.mark.parametrize("command", [cmd.Affirm, cmd.Negate])
def test_yes_and_no_to_nothing_are_answered(command: type[cmd.Affirm] | type[cmd.Negate]) -> None:
    """Nothing is confirmed when nothing was read back."""
    story = walked_to(BOOK, VISIBLE, "tried")
    assert ["Nothing was read back."] == sentences(story.do(command(story.now, origin_of(BOTH))))
    assert "tried" == story.step


def test_a_missing_precondition_is_refused_before_anything_is_read_back() -> None:
    """Nobody is asked to affirm what cannot be done."""
    story = walked_to(BOOK, VISIBLE, "entry_go")
    events = story.say("entry approved by command", at=story.now + 11 * 60 * SECOND)
    assert ["AdvanceRefused", "Said"] == kinds(events)
    assert ["Not yet: oxygen is too old, test again at the hatch."] == sentences(events)


def test_a_precondition_lost_between_read_back_and_affirmative_is_refused() -> None:
    """Air that grows stale while command thinks about it stops the entry."""
    story = walked_to(BOOK, VISIBLE, "entry_go")
    oldest = min(reading.at_ms for reading in story.state.readings)
    story.say("entry approved by command", at=oldest + 10 * 60 * SECOND - 1)
    events = story.say("affirmative", at=oldest + 10 * 60 * SECOND)
    assert ["Not yet: oxygen is too old, test again at the hatch."] == sentences(events)
    assert "entry_go" == story.step
    assert "unknown" == story.state.fact("entry")


# ------------------------------------------------------------------------------------------------ preconditions


def _spoiled(state: State) -> list[State]:
    """The same moment with one thing missing."""
    without = [replace(state, facts=tuple(pair for pair in state.facts if pair != gone)) for gone in state.facts]
    crew = (Rescuer(1, 0),)
    bad = Reading(Gas.CARBON_DIOXIDE, Decimal(9000), "hatch", state.at_ms)
    readings = [replace(state, readings=()), replace(state, readings=(*state.readings, bad))]
    return [*without, *readings, replace(state, levels=()), replace(state, crew=crew)]


@pytest.mark.parametrize(
    ("step", "guard"), [(step, guard) for step in STEPS for guard in step.needs], ids=lambda part: getattr(part, "id", part)
)
def test_every_precondition_of_every_step_refuses_with_its_reason(step: Step, guard: str) -> None:
    """Take away the one thing a guard waits for: the step is refused by that guard, and the reason is spoken."""
    state = replace(_states().get(step.id, State(opened=True)), step=step.id, pending=None, repeats=())
    scenes = [Scene(BOOK, spoiled, state.at_ms) for spoiled in _spoiled(state)]
    refusing = [scene for scene in scenes if GUARDS[guard](scene)]
    assert refusing, f"nothing makes {guard} refuse"
    scene = refusing[0]
    first = next(name for name in step.needs if GUARDS[name](scene))
    if BOOK.procedure.stage_of(step).inside_bin and GUARDS["air_current"](scene):
        first = "air_current"
    events = decide(BOOK, scene.state, _confirmation(step, state.at_ms))
    assert [first] == [event.guard for event in only(events, ev.AdvanceRefused)]
    assert [f"Not yet: {GUARDS[first](scene)}."] == sentences(events)
    assert step.id == fold(events, scene.state).step


# ----------------------------------------------------------------------------------------------------- answers


@pytest.mark.parametrize(
    ("step", "index"), [(step, index) for step in STEPS for index in range(len(step.answers))],
    ids=lambda part: getattr(part, "id", str(part)),
)  # fmt: skip
def test_every_answer_is_kept_and_leads_where_its_row_says(step: Step, index: int) -> None:
    """Each answer becomes the fact of its question and leads to its own next step."""
    answer = step.answers[index]
    story = Story(BOOK)
    story.state = replace(_states()[step.id], step=step.id)
    story.say(answer.say[0])
    if step.critical:
        story.say("affirmative")
    assert answer.value == story.state.fact(str(step.fact))
    assert (answer.to or step.next) == story.step


@pytest.mark.parametrize(
    ("question", "words", "worse"),
    [
        ("visible", "cannot see inside", "covered by the grain"),
        ("reach", "ring depth uncertain", "ring stops too high"),
        ("feet_free", "no feeling in the feet", "feet are still held fast"),
    ],
)
def test_unknown_is_worked_as_the_worse_case(question: str, words: str, worse: str) -> None:
    """Not knowing leads where the worse answer leads."""
    ends = []
    for said in (words, worse):
        story = Story(BOOK)
        story.state = replace(_states()[question], step=question)
        story.say(said)
        if BOOK.procedure.step(question).critical:
            story.say("affirmative")
        ends.append(story.step)
    assert ends[0] == ends[1]


def test_unknown_fumigation_asks_for_phosphine() -> None:
    """Nobody knows for sure: the hatch cannot be passed without a phosphine reading."""
    story = walked_to(BOOK, COVERED, "air_hatch")
    for gas in ("oxygen two zero decimal niner", "flammable gas zero", "carbon monoxide zero", "hydrogen sulfide zero"):
        story.say(gas)
        story.say("affirmative")
    assert ["Not yet: phosphine is unread at the hatch."] == sentences(story.say("hatch readings finished"))


def test_every_question_of_the_size_up_takes_unknown_for_an_answer() -> None:
    """Nobody is stuck at a question: each has an answer for not knowing."""
    for step in STEPS:
        if step.answers and step.stage == "size_up":
            assert "unknown" in {answer.value for answer in step.answers}


# ----------------------------------------------------------------------------------------------------- repeats


def test_panels_are_set_in_order() -> None:
    """Panel two before panel one is refused by name; each is named back; the last leads on."""
    story = walked_to(BOOK, VISIBLE, "panel_set")
    assert ["Not yet: panel one standing comes first."] == sentences(story.say("panel two standing"))
    assert ["Panel one standing.", "Say, panel two standing."] == sentences(story.say("panel one standing"))
    assert ["Not yet: panel one standing was already confirmed."] == sentences(story.say("panel one standing"))
    story.say("panel two standing")
    story.say("panel three standing")
    events = story.say("panel four standing")
    assert "joined" == story.step
    assert [4] == [event.of for event in only(events, ev.RepeatConfirmed)]


def test_panels_come_out_in_any_order_but_each_once() -> None:
    """Lowest outside grain first: the crew chooses."""
    story = walked_to(BOOK, VISIBLE, "panel_out")
    for words in ("panel three recovered", "panel one recovered", "panel four recovered"):
        story.say(words)
    assert ["Not yet: panel three recovered was already confirmed."] == sentences(story.say("panel three recovered"))
    assert (3, 1, 4) == story.state.repeats
    story.say("panel two recovered")
    assert "everyone_out" == story.step


@pytest.mark.parametrize("number", [None, 0, -1, 5, 99])
def test_a_panel_that_does_not_exist_is_refused(number: int | None) -> None:
    """The number must be one of the ring's."""
    story = walked_to(BOOK, VISIBLE, "panel_set")
    events = story.do(cmd.Advance(story.now, origin_of(INSIDE), "panel_set", None, number))
    assert ["Not yet: say which of the 4."] == sentences(events)


@pytest.mark.parametrize("panels", [3, 6, 12])
def test_the_ring_has_as_many_panels_as_the_house_says(panels: int) -> None:
    """Another number of panels changes how often the step is confirmed, and which words are in force."""
    story = walked_to(book_with(House(panels=panels)), VISIBLE, "panel_set")
    words = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"]
    for word in words[:panels]:
        assert "panel_set" == story.step
        story.say(f"panel {word} standing")
    assert "joined" == story.step
