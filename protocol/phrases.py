"""Spoken forms and what they mean now: the phrases in force for a role at a moment, and the reading of a phrase.

Phrases that advance are strict, questions are normal, emergencies and "hold all work" are loose: a missed emergency
costs more than a false one, which one phrase takes back.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from protocol import commands as cmd
from protocol.air import Gas
from protocol.errors import NumberError
from protocol.guards import repeats_total
from protocol.house import House
from protocol.marks import MARKS
from protocol.numbers import count_words, parse_number
from protocol.procedure import Procedure, Step
from protocol.scene import Book, Scene
from protocol.state import State
from protocol.wording import fill_number

NUMBER_SLOT = "{number}"
_LENGTHS = {"us": "inches", "metric": "centimeters"}


class Strictness(StrEnum):
    """How sure the listening must be."""

    STRICT = "strict"
    NORMAL = "normal"
    LOOSE = "loose"


Maker = Callable[[int, cmd.Origin, Decimal | None], cmd.Command]


@dataclass(frozen=True, slots=True)
class Meaning:
    """A phrase in force and the command that it stands for."""

    text: str
    """The words; {number} stands for a spoken number."""
    strictness: Strictness
    make: Maker
    """Makes the command from time, origin and number."""


RADIO_CHECK_PHRASE = "radio check"
QUERY_PHRASES: tuple[tuple[str, cmd.Query], ...] = (
    ("say again", cmd.Query.SAY_AGAIN),
    ("what is the danger", cmd.Query.CAUTION),
    ("what comes next", cmd.Query.WHAT_NEXT),
    ("read the choices", cmd.Query.CHOICES),
    ("time check", cmd.Query.TIME),
    ("grain remaining", cmd.Query.GRAIN),
    ("check the balance", cmd.Query.BALANCE),
    ("air status", cmd.Query.AIR),
    ("crew status", cmd.Query.CREW),
    ("speak to the person", cmd.Query.SPEAK),
    ("use the other language", cmd.Query.SPEAK_OTHER),
    ("read back the estimate", cmd.Query.ESTIMATE),
    ("read the handover", cmd.Query.HANDOVER),
    (RADIO_CHECK_PHRASE, cmd.Query.RADIO_CHECK),
)
HOLD_PHRASE = "hold all work"
RESUME_PHRASE = "resume all work"
BACK_PHRASE = "go back one step"
CORRECTION_PHRASE = "correction"
AFFIRM_PHRASES = ("affirmative", "affirm")
NEGATIVE_PHRASE = "negative"
DISREGARD_PHRASE = "disregard emergency"
PERSON_PHRASE = "person is answering"
ROLL_CALL_PHRASE = "all accounted for"
CANISTER_PHRASE = "canister is full"
PLACE_TAILS: tuple[tuple[str, str | None], ...] = (
    ("", None),
    (" at the hatch", "hatch"),
    (" at the person", "person"),
)
"""Where a reading was taken, when it is not where the step is."""
SPARE_RESCUERS = 2
"""Slots beyond the usual crew, for relief."""

MARK_WORDS = {
    "feet": "feet", "knees": "knees", "hips": "hip bone", "waist": "waist",
    "ribs": "rib cage", "chest": "chest", "shoulders": "shoulders", "chin": "chin",
}  # fmt: skip
"""How a mark is said: hips and ribs sound alike, so they are said in full."""


def level_phrase(mark: str) -> str:
    """The words that call a level."""
    return f"grain at {MARK_WORDS[mark]}"


def rescuer_phrase(slot: int, inside: bool) -> str:
    """The words for a rescuer going in or coming out."""
    return f"rescuer {count_words(slot)} {'going in' if inside else 'is out'}"


def meanings(scene: Scene, role: cmd.Role) -> dict[str, Meaning]:
    """Every phrase in force for a role, by its words; the step's own phrases come first."""
    return _by_text(rows_in_force(scene, role))


def rows_in_force(scene: Scene, role: cmd.Role) -> list[Meaning]:
    """The same as a list, in which a test can see that no phrase stands twice."""
    if scene.state.closed or not scene.state.opened:
        return _queries()
    rows = [*_step_rows(scene, role), *_readback_rows(scene), *_emergency_rows(scene), *_queries(), *_controls()]
    rows += [*_crew_rows(scene), *_air_rows()]
    if scene.book.procedure.stage_of(scene.step).counts:
        rows += _counting_rows()
    if scene.state.fact("vacuum") == "on" and scene.book.procedure.stage_of(scene.step).counts:
        rows += _corner_rows(scene.house)
    if scene.step.repeat == "panels" and not scene.step.ordered:
        rows += _outside_rows(scene.house)
    return rows


def interpret(book: Book, state: State, words: str, at_ms: int, origin: cmd.Origin) -> cmd.Command | None:
    """The command that words stand for now, or None when they mean nothing."""
    text = " ".join(words.lower().split())
    found = meanings(Scene(book, state, at_ms), origin.role)
    if text in found:
        return found[text].make(at_ms, origin, None)
    for meaning in found.values():
        number = _slot_number(meaning.text, text)
        if number is not None:
            return meaning.make(at_ms, origin, number)
    return None


def every_phrase(book: Book) -> tuple[str, ...]:
    """All phrases that the procedure knows anywhere, sorted; slots stay {number}."""
    procedure, house = book.procedure, book.house
    texts = {text for step in procedure.steps for text in step_phrases(step, house.panels)}
    texts |= {text for row in procedure.interruptions for text in row.say}
    texts |= {row.text for row in (*_queries(), *_controls(), *_air_rows(), *_counting_rows())}
    texts |= {row.text for row in (*_corner_rows(house), *_outside_rows(house))}
    texts |= {*AFFIRM_PHRASES, NEGATIVE_PHRASE, DISREGARD_PHRASE, PERSON_PHRASE, ROLL_CALL_PHRASE}
    slots = range(1, house.rescuers + SPARE_RESCUERS + 1)
    texts |= {rescuer_phrase(slot, inside) for slot in slots for inside in (True, False)}
    return tuple(sorted(texts))


def step_phrases(step: Step, panels: int) -> tuple[str, ...]:
    """The phrases that confirm a step, numbers written out."""
    said = [*step.say, *(phrase for answer in step.answers for phrase in answer.say)]
    if not step.repeat:
        return tuple(said)
    return tuple(fill_number(phrase, number) for phrase in said for number in range(1, panels + 1))


def advance_phrases(procedure: Procedure, panels: int) -> Iterable[tuple[Step, str]]:
    """Every phrase that advances a step, with its step."""
    return ((step, phrase) for step in procedure.steps for phrase in step_phrases(step, panels))


def syllables(phrase: str) -> int:
    """Syllables of a phrase, by the vowel groups of its letters (an estimate; "lines" has one)."""
    return sum(_word_syllables(word) for word in phrase.split())


def _word_syllables(word: str) -> int:
    count = len(re.findall(r"[aeiouy]+", word))
    silent = re.search(r"([^aeiouyl]|[aeiouy]l+)(e|es|ed)$", word)
    spoken = re.search(r"([td]ed|[sxz]es|ches|shes|ges)$", word)
    return max(1, count - 1 if silent and not spoken and count > 1 else count)


def _by_text(rows: Iterable[Meaning]) -> dict[str, Meaning]:
    found: dict[str, Meaning] = {}
    for row in rows:
        found.setdefault(row.text, row)
    return found


def _slot_number(pattern: str, text: str) -> Decimal | None:
    head, slot, tail = pattern.partition(NUMBER_SLOT)
    if not slot or not text.startswith(head) or not text.endswith(tail):
        return None
    try:
        return parse_number(text[len(head) : len(text) - len(tail)]).value
    except NumberError:
        return None


def _step_rows(scene: Scene, role: cmd.Role) -> list[Meaning]:
    step = scene.step
    if step.final or not role.covers(step.confirmed_by):
        return []
    if step.answers:
        return [
            Meaning(phrase, Strictness.STRICT, _advance(step.id, answer.value, None))
            for answer in step.answers
            for phrase in answer.say
        ]
    if not step.repeat:
        return [Meaning(phrase, Strictness.STRICT, _advance(step.id, None, None)) for phrase in step.say]
    return [
        Meaning(fill_number(phrase, number), Strictness.STRICT, _advance(step.id, None, number))
        for phrase in step.say
        for number in range(1, repeats_total(scene) + 1)
    ]


def _advance(step: str, answer: str | None, number: int | None) -> Maker:
    return lambda at_ms, origin, _number: cmd.Advance(at_ms, origin, step, answer, number)


def _readback_rows(scene: Scene) -> list[Meaning]:
    if scene.state.pending is None:
        return []
    rows = [Meaning(text, Strictness.STRICT, lambda at, origin, _n: cmd.Affirm(at, origin)) for text in AFFIRM_PHRASES]
    return [*rows, Meaning(NEGATIVE_PHRASE, Strictness.NORMAL, lambda at, origin, _n: cmd.Negate(at, origin))]


def _emergency_rows(scene: Scene) -> list[Meaning]:
    rows = [
        Meaning(phrase, Strictness.LOOSE, _raise(row.id))
        for row in scene.book.procedure.interruptions
        for phrase in row.say
    ]
    if scene.state.emergencies:
        rows.append(
            Meaning(DISREGARD_PHRASE, Strictness.NORMAL, lambda at, origin, _n: cmd.WithdrawEmergency(at, origin))
        )
    return rows


def _raise(kind: str) -> Maker:
    return lambda at_ms, origin, _number: cmd.RaiseEmergency(at_ms, origin, kind)


def _queries() -> list[Meaning]:
    return [Meaning(text, Strictness.NORMAL, _ask(query)) for text, query in QUERY_PHRASES]


def _ask(query: cmd.Query) -> Maker:
    return lambda at_ms, origin, _number: cmd.Ask(at_ms, origin, query)


def _controls() -> list[Meaning]:
    return [
        Meaning(HOLD_PHRASE, Strictness.LOOSE, lambda at, origin, _n: cmd.Hold(at, origin)),
        Meaning(RESUME_PHRASE, Strictness.STRICT, lambda at, origin, _n: cmd.Resume(at, origin)),
        Meaning(BACK_PHRASE, Strictness.STRICT, lambda at, origin, _n: cmd.StepBack(at, origin)),
        Meaning(CORRECTION_PHRASE, Strictness.NORMAL, lambda at, origin, _n: cmd.Correct(at, origin)),
    ]


def _crew_rows(scene: Scene) -> list[Meaning]:
    rows: list[Meaning] = []
    if scene.state.fact("person_told") == "yes":
        rows.append(
            Meaning(PERSON_PHRASE, Strictness.NORMAL, lambda at, origin, _n: cmd.CheckPerson(at, origin))
        )
    inside = {one.slot for one in scene.state.inside}
    if inside:
        rows.append(
            Meaning(ROLL_CALL_PHRASE, Strictness.STRICT, lambda at, origin, _n: cmd.AnswerRollCall(at, origin))
        )
        rows += [Meaning(rescuer_phrase(slot, False), Strictness.STRICT, _move(slot, False)) for slot in sorted(inside)]
    if scene.state.fact("entry") == "approved":
        slots = range(1, scene.house.rescuers + SPARE_RESCUERS + 1)
        rows += [
            Meaning(rescuer_phrase(slot, True), Strictness.STRICT, _move(slot, True))
            for slot in slots
            if slot not in inside
        ]
    return rows


def _move(slot: int, inside: bool) -> Maker:
    return lambda at_ms, origin, _number: cmd.MoveRescuer(at_ms, origin, slot, inside)


def _air_rows() -> list[Meaning]:
    return [
        Meaning(f"{gas.spoken} {NUMBER_SLOT}{tail}", Strictness.NORMAL, _report(gas, place))
        for gas in Gas
        for tail, place in PLACE_TAILS
    ]


def _report(gas: Gas, place: str | None) -> Maker:
    return lambda at_ms, origin, number: cmd.ReportAir(at_ms, origin, gas, number or Decimal(0), place)


def _counting_rows() -> list[Meaning]:
    rows = [Meaning(level_phrase(mark), Strictness.STRICT, _call(mark)) for mark in MARKS]
    canister = Meaning(CANISTER_PHRASE, Strictness.STRICT, lambda at, origin, _n: cmd.CountCanister(at, origin))
    return [canister, *rows]


def _corner_rows(house: House) -> list[Meaning]:
    return [
        Meaning(f"corner {count_words(one)} {NUMBER_SLOT} {_LENGTHS[house.units]}", Strictness.STRICT, _tape(one))
        for one in range(1, house.panels + 1)
    ]


def _outside_rows(house: House) -> list[Meaning]:
    return [
        Meaning(f"outside panel {count_words(one)} {NUMBER_SLOT} {_LENGTHS[house.units]}", Strictness.STRICT, _up(one))
        for one in range(1, house.panels + 1)
    ]


def _tape(corner: int) -> Maker:
    return lambda at_ms, origin, number: cmd.TapeCorner(at_ms, origin, corner, number or Decimal(0))


def _up(panel: int) -> Maker:
    return lambda at_ms, origin, number: cmd.CallOutside(at_ms, origin, panel, number or Decimal(0))


def _call(mark: str) -> Maker:
    return lambda at_ms, origin, _number: cmd.CallLevel(at_ms, origin, mark)
