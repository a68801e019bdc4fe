"""Every table is walked from end to end: steps, prompts, clocks, guards, commands, events, emergencies."""

import re
from collections.abc import Iterator
from string import Formatter
from typing import get_args

import pytest

from protocol import commands as cmd
from protocol import events as ev
from protocol.events import Urgency
from protocol.guards import AIR_CURRENT, GUARDS, NOT_HELD, REPEATS_DONE
from protocol.history import _HANDLERS
from protocol.house import House
from protocol.marks import MARKS
from protocol.phrases import MARK_WORDS, NUMBER_SLOT, every_phrase
from protocol.procedure import Interruption, Step
from protocol.rules import RULES
from protocol.rules.advance import FACT_TIMERS
from protocol.rules.crew import ENTRY_GUARDS
from protocol.rules.passing_time import _EFFECTS
from protocol.rules.questions import _ANSWERS
from protocol.timers import TIMERS, TimerRow, timer_row
from protocol.wording import PLACES
from tests.books import shipped_book, shipped_procedure
from tests.drills import COVERED, VISIBLE
from tests.story import MINUTE, Story, only

WORDS_PER_MINUTE = 150
"""Lower end of 150 to 180 words a minute, which pilots preferred (handbook value, from memory)."""
LONGEST_PROMPT_S = 8.0
"""Unanswered messages were recalled 8 to 10 s later (Simpson and Marchionda-Frost 1984, Human Factors 26(5))."""
MOST_ITEMS = 3
"""One four-item message gave more wrong read-backs than two of two items (Morrow and Rodvold, NASA NAS2-13210)."""

PROCEDURE = shipped_procedure()
STEPS = PROCEDURE.steps
STEP_IDS = [step.id for step in STEPS]

LISTS = {
    "driven", "air_hatch", "panel_set", "flow_even", "leak_closed", "medics_have", "rescuers_in", "flow_off",
    "person_told", "mayday_who", "fire_watch", "structure_out", "everyone_out", "bad_air_out", "lights", "stand_down",
}  # fmt: skip
"""Steps whose prompt has more than three parts between its stops and commas; none may join them."""


def _prompts(step: Step) -> Iterator[str]:
    yield from (text for text in (step.inside, step.outside) if text)


def _spoken_s(text: str) -> float:
    return len(text.split()) * 60 / WORDS_PER_MINUTE


# ------------------------------------------------------------------------------------------- steps and stages


@pytest.mark.parametrize("step", STEPS, ids=STEP_IDS)
def test_every_step_has_a_source_and_a_prompt(step: Step) -> None:
    """A step says where it comes from, or owns up that it is common practice."""
    assert len(step.source) > 5
    assert list(_prompts(step))
    assert step.title.strip() == step.title


def test_the_procedure_has_the_size_that_was_planned() -> None:
    """About 45 to 60 steps and gates on the visible way, with the covered branch and the emergencies beside it."""
    assert 45 <= PROCEDURE.main <= 60
    assert 10 == len(PROCEDURE.interruptions)


def test_every_stage_has_steps_and_they_stand_together() -> None:
    """A stage is one run of rows, so that a reader finds it in one place."""
    order = [step.stage for step in STEPS]
    runs = [stage for index, stage in enumerate(order) if index == 0 or order[index - 1] != stage]
    assert sorted(stage.id for stage in PROCEDURE.stages) == sorted(runs)


@pytest.mark.parametrize("step", STEPS, ids=STEP_IDS)
def test_a_prompt_is_short_enough_to_be_remembered(step: Step) -> None:
    """At most three sentences and eight seconds for each prompt, and three parts unless the step is a known list."""
    for text in _prompts(step):
        assert _spoken_s(text) <= LONGEST_PROMPT_S
        assert len([part for part in re.split(r"[.?!]", text) if part.strip()]) <= MOST_ITEMS
    most = max(len([part for part in re.split(r"[.?!;:,]", text) if part.strip()]) for text in _prompts(step))
    assert (most > MOST_ITEMS) == (step.id in LISTS)


@pytest.mark.parametrize("step", STEPS, ids=STEP_IDS)
def test_a_prompt_asks_only_for_what_can_be_filled_in(step: Step) -> None:
    """Every place in braces is known to the wording."""
    for text in _prompts(step):
        assert {name for _text, name, _spec, _how in Formatter().parse(text) if name} <= PLACES


def test_no_sentence_of_the_procedure_tells_anyone_to_pull_the_person() -> None:
    """A panel wall raises the pull force by 26 % (Roberts et al. 2015, JASH 21(2)): every pull is a "no pull"."""
    texts = [text for step in STEPS for text in (*_prompts(step), step.caution or "")]
    texts += [row.first for row in PROCEDURE.interruptions]
    for text in texts:
        for sentence in re.split(r"[.?!:]", text.lower()):
            if re.search(r"\b(pull|pulls|winch|winches|lift)\b", sentence):
                assert re.search(r"\b(no|nobody|never|not)\b", sentence), sentence


def test_no_spoken_sentence_says_that_air_is_safe() -> None:
    """Only what was read is said; "safe" stands nowhere but in "not that the air is safe"."""
    story = Story(shipped_book()).say_all(VISIBLE)
    for query in ("air status", "what comes next"):
        story.say(query)
    for text in [said.text for said in only(story.events, ev.Said)] + [t for step in STEPS for t in _prompts(step)]:
        assert "safe" not in text.lower().replace("not that the air is safe", "").replace("safety officer", "").replace(
            "when the rescuer is safe", ""
        )


@pytest.mark.parametrize("lines", [VISIBLE, COVERED], ids=["visible", "covered"])
def test_nothing_that_is_said_takes_too_long(lines: tuple[str, ...]) -> None:
    """Acknowledgement, prompt and the words to say stay within 20 s; alarms within 10 s."""
    story = Story(shipped_book()).say_all(lines)
    for said in only(story.events, ev.Said):
        assert _spoken_s(said.text) <= (10 if said.urgency is Urgency.ALARM else 20)


# ------------------------------------------------------------------------------------------------------ guards


def test_every_guard_is_used() -> None:
    """A guard that no step and no rule names would be a precondition that nobody checks."""
    named = {guard for step in STEPS for guard in step.needs}
    by_program = {NOT_HELD, AIR_CURRENT, REPEATS_DONE, *ENTRY_GUARDS}
    assert set(GUARDS) == named | by_program


@pytest.mark.parametrize("guard", sorted(GUARDS))
def test_a_guard_refuses_an_incident_that_has_just_begun_or_says_nothing(guard: str) -> None:
    """Each reason fits after "Not yet:" and is spoken without figures beyond a count."""
    story = Story(shipped_book())
    reason = GUARDS[guard](story.scene())
    if guard in {NOT_HELD, "nobody_inside", "bad_gas_has_cleared"}:
        assert reason is None
    else:
        assert reason
        assert reason[0].islower() or reason[0].isdigit()
        assert not reason.endswith(".")


def test_every_fact_that_a_guard_waits_for_can_be_learned() -> None:
    """Along both drills every guard that a step names holds when the step is confirmed, and refused before."""
    waited = {guard for step in STEPS for guard in step.needs}
    fresh = Story(shipped_book())
    refusing = {guard for guard in waited if GUARDS[guard](fresh.scene())}
    held: set[str] = set()
    for lines in (VISIBLE, COVERED):
        story = Story(shipped_book())
        for words in lines:
            held |= {guard for guard in story.scene().step.needs if GUARDS[guard](story.scene()) is None}
            story.say(words)
    emergencies_only = {guard for step in STEPS if step.stage == "emergency" for guard in step.needs}
    assert waited - held <= emergencies_only
    assert waited - {"nobody_inside", "bad_gas_has_cleared"} == refusing


# ------------------------------------------------------------------------------------------------------ clocks


@pytest.mark.parametrize("row", TIMERS, ids=lambda row: row.id)
def test_every_clock_has_an_interval_a_source_and_a_voice(row: TimerRow) -> None:
    """Each interval comes from the house rules; each clock that has no rule of its own says a sentence."""
    assert row == timer_row(row.id)
    assert row.interval_ms(House()) > 0
    assert "house rule" in row.source or "Joint Trauma" in row.source or "HSE" in row.source
    assert bool(row.says) != (row.id in _EFFECTS)
    places = {name for _text, name, _spec, _how in Formatter().parse(row.says) if name}
    assert places <= {"key", "minutes", "inside"}
    assert row.to in {"inside", "outside", "both"}


def test_no_two_clocks_share_a_name_and_every_effect_belongs_to_one() -> None:
    """Names resolve both ways."""
    names = [row.id for row in TIMERS]
    assert len(set(names)) == len(names)
    assert set(_EFFECTS) <= set(names)
    assert {timer for effects in FACT_TIMERS.values() for _what, timer in effects} <= set(names)


def test_every_clock_runs_at_some_time_of_a_drill() -> None:
    """No row of the table is dead: one drill starts each of them."""
    story = Story(shipped_book()).say_all(VISIBLE)
    started = {event.timer for event in only(story.events, ev.TimerStarted)}
    assert {row.id for row in TIMERS} == started


def test_every_interval_is_a_setting() -> None:
    """Another house rule moves every clock; none is built in."""
    fields = ("roll_call_min", "person_check_min", "work_period_min", "air_max_age_min", "quiet_min",
              "elapsed_call_min", "hanging_min", "held_flag_min")  # fmt: skip
    other = House(readback_s=5.0, **dict.fromkeys(fields, 7.0))  # type: ignore[arg-type]
    intervals = {row.id: row.interval_ms(other) for row in TIMERS}
    assert 5_000 == intervals.pop("readback")
    assert {7 * MINUTE} == set(intervals.values())


def test_the_default_intervals_are_those_of_their_sources() -> None:
    """Each default is the figure that its source gives."""
    expected = {
        "roll_call": 15,  # local policies: 15, 30 and 30 min
        "elapsed": 15,  # local policy citing NJAC 5:75-2.10
        "work_period": 20,  # NFPA 1584 (2007 draft summary): rest after 20 min of work
        "hanging": 10,  # UK HSE harness suspension: a fifth faint within 10 min
        "held_flag": 60,  # Joint Trauma System guideline: from as little as one hour
        "person_check": 3,  # common practice, no source
    }
    minutes = {row.id: row.interval_ms(House()) / MINUTE for row in TIMERS}
    assert expected == {name: minutes[name] for name in expected}


# ---------------------------------------------------------------------------------------- commands and events


def test_every_command_has_one_rule() -> None:
    """Nothing that may be asked is forgotten, and no rule is left without a command."""
    assert set(get_args(cmd.Command)) == set(RULES)


def test_every_event_has_one_handler() -> None:
    """Nothing that can happen is forgotten by the fold."""
    assert set(get_args(ev.Event)) == set(_HANDLERS)


def test_every_question_has_an_answer_and_a_phrase() -> None:
    """Say again repeats, a radio check rests on what was measured; each other question has a function of its own."""
    assert set(cmd.Query) - {cmd.Query.SAY_AGAIN, cmd.Query.RADIO_CHECK} == set(_ANSWERS)


def test_every_mark_has_words() -> None:
    """Each grain level can be called."""
    assert set(MARKS) == set(MARK_WORDS)


def test_a_number_stands_where_something_is_measured_only() -> None:
    """Free numbers are heard for gases and for lengths at corners and panels; the rest is counted in whole phrases."""
    slots = [text for text in every_phrase(shipped_book()) if NUMBER_SLOT in text]
    assert all(text.count(NUMBER_SLOT) == 1 for text in slots)
    assert 7 * 3 + 2 * shipped_book().house.panels == len(slots)


# ------------------------------------------------------------------------------------------------- emergencies


@pytest.mark.parametrize("row", PROCEDURE.interruptions, ids=lambda row: row.id)
def test_every_emergency_speaks_at_once_and_leads_to_steps_of_its_own(row: Interruption) -> None:
    """The first sentence is short, has a source, and its first step belongs to an emergency."""
    assert _spoken_s(row.first) <= 6
    assert len(row.source) > 5
    assert PROCEDURE.stage_of(PROCEDURE.step(row.to)).emergency
    assert row.evacuates == ("leave the bin" in row.first.lower())


def test_evacuation_is_ordered_in_a_full_sentence() -> None:
    """The word evacuate means civilians only in one department's procedure: the order is a full sentence."""
    assert "All rescuers leave the bin now." == PROCEDURE.interruption("bad_air").first
    assert not [text for text in every_phrase(shipped_book()) if "evacuat" in text]
