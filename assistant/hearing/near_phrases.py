"""Which phrases in force together sound too much alike, and what that may do.

At each step everything is taken that can be in force there: its own phrases, emergencies, questions, readings, counts,
who goes in and who comes out, "affirmative" and "disregard". Phrases that do the same there are no rivals.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cache
from itertools import combinations, product
from typing import Final

from assistant.errors import ProcedureError
from assistant.hearing.sound_distance import SPOKEN_NUMBERS, SoundDistance
from protocol.commands import PROGRAM, Advance, Affirm, Command, Role
from protocol.numbers import parse_number
from protocol.phrases import SPARE_RESCUERS, Meaning, rows_in_force, step_phrases
from protocol.procedure import RETURN
from protocol.scene import Book, Scene
from protocol.state import OpenEmergency, Pending, Rescuer, State

LIMIT: Final = 2.5
"""Least distance, in average mistakes of one phone for another.

Measured with `python -m tests.bench confusions --curve`: 191 clips of the tuning voices against about 3,500 rivals with
one other word. The rival fitted as well as what was said, at 10 dB and at 0 dB: 3.3 and 9.5 of 100 that were 0.5 to 1
apart, 0 and 2.7 at 1.5 to 2, 0.6 and 1.7 at 2 to 2.5, 0.5 and 0.5 at 2.5 to 3, none of 573 at 3 to 4. The limit is
where even at 0 dB no more than 1 in 200 are left, before the second look asks for a lead.
"""
MOST_IN_FORCE: Final = 500
"""Phrases in force at one step, at most; the shipped procedure has under 100."""
FAR: Final = 2 * LIMIT
"""Beyond it nobody asks how far."""

Meant = tuple[str, Command]
"""A phrase in force and what it does."""


class Risk(StrEnum):
    """What a mistake between two phrases would do."""

    ADVANCES = "advances"
    """A step is confirmed that nobody confirmed, or with another answer: refused."""
    REPEATED = "repeated"
    """The phrase of the step before, said once more, confirms the next: refused."""
    COUNTS = "counts"
    """Another number of the same wording (panel five, panel nine), which no other wording would help: warned of."""
    OTHER = "other"
    """Something else is done, none of it an advance: warned of."""


@dataclass(frozen=True, slots=True)
class Rivals:
    """Two phrases that are in force together, or one after the other, and do not mean the same."""

    one: str
    """The phrase that advances, where one does."""
    other: str
    risk: Risk
    steps: tuple[str, ...]
    """Where they are in force together, in the order of the procedure; of REPEATED ones, the later step."""
    distance: float
    """In average mistakes of one phone for another; infinite beyond FAR."""

    @property
    def refused(self) -> bool:
        """Whether a procedure that holds them is refused."""
        return self.too_near and self.risk in {Risk.ADVANCES, Risk.REPEATED}

    @property
    def too_near(self) -> bool:
        """Whether they are nearer than they may be."""
        return self.distance < LIMIT


def rivals_of(book: Book, measure: SoundDistance) -> list[Rivals]:
    """Every pair of rivals once, the nearest first.

    Raises:
        ModelError: if it is not known how a word is said.
        ProcedureError: if far too many phrases would be in force at a step.
    """
    steps: dict[tuple[str, str, Risk], list[str]] = {}
    for step in book.procedure.steps:
        advancing_first = sorted(in_force(book, step.id).items(), key=lambda row: not _advances(row[1]))
        if len(advancing_first) > MOST_IN_FORCE:
            many = f"step '{step.id}': {len(advancing_first)} phrases would be in force"
            raise ProcedureError(f"{many}; {MOST_IN_FORCE} at most can be told apart. Split the step.")
        for one, other in combinations(advancing_first, 2):
            if one[1] != other[1]:
                steps.setdefault((one[0], other[0], _risk(one, other)), []).append(step.id)
    for step_id, pair in _said_again(book):
        steps.setdefault((*pair, Risk.REPEATED), []).append(step_id)
    measure.require({text for one, other, _ in steps for text in (one, other)})
    distances = measure.between([(one, other) for one, other, _ in steps], FAR)
    found = [
        Rivals(*pair, tuple(where), distance)
        for (pair, where), distance in zip(steps.items(), distances, strict=True)
    ]
    return sorted(found, key=lambda pair: (round(pair.distance, 6), pair.one, pair.other))


def _said_again(book: Book) -> Iterator[tuple[str, tuple[str, str]]]:
    """Each phrase of a step with each of the step before it, which is no longer in force."""
    for step in book.procedure.steps:
        ways = (step.next, *(answer.to for answer in step.answers), *(row.to for row in step.detours))
        for dest in dict.fromkeys(way for way in ways if way not in {None, RETURN, step.id}):
            after = step_phrases(book.procedure.step(str(dest)), book.house.panels)
            yield from ((str(dest), pair) for pair in product(after, step_phrases(step, book.house.panels)))


def in_force(book: Book, step: str) -> dict[str, Command]:
    """Every phrase that can be in force at a step, whoever listens, and what it does there."""
    rows = (row for state in _states(book, step) for row in rows_in_force(Scene(book, state, 0), Role.BOTH))
    return {row.text: _done(row) for row in rows}


def near_numbers(measure: SoundDistance) -> list[tuple[str, str, float]]:
    """Number words that are nearer than phrases may be, the nearest first; "nine" and "niner" are one number."""
    pairs = [pair for pair in combinations(SPOKEN_NUMBERS, 2) if len({parse_number(word).value for word in pair}) == 2]
    found = [(*pair, distance) for pair, distance in zip(pairs, measure.between(pairs), strict=True)]
    return sorted((row for row in found if row[2] < LIMIT), key=lambda row: row[2])


def _states(book: Book, step: str) -> Iterator[State]:
    """With all rescuers inside, and with none: between them, everything that a state can put in force is."""
    slots = range(1, book.house.rescuers + SPARE_RESCUERS + 1)
    for crew in (tuple(Rescuer(slot, 0) for slot in slots), ()):
        yield State(
            opened=True,
            step=step,
            facts=(("person_told", "yes"), ("entry", "approved"), ("vacuum", "on")),
            crew=crew,
            pending=Pending("advance", step, "", "", 0),
            emergencies=_any_emergency(book, step),
        )


def _any_emergency(book: Book, step: str) -> tuple[OpenEmergency, ...]:
    return tuple(OpenEmergency(row.id, 0, step) for row in book.procedure.interruptions[:1])


def _done(row: Meaning) -> Command:
    return row.make(0, PROGRAM, Decimal(1))


def _advances(command: Command) -> bool:
    return isinstance(command, Advance | Affirm)


def _risk(one: Meant, other: Meant) -> Risk:
    """Of two, of which the first advances where one does."""
    (text, does), (said, _) = one, other
    plain = isinstance(does, Advance) and does.number is None
    if not plain and _without_numbers(text) == _without_numbers(said):
        return Risk.COUNTS
    return Risk.ADVANCES if _advances(does) else Risk.OTHER


@cache
def _without_numbers(text: str) -> tuple[str, ...]:
    return tuple("" if word in SPOKEN_NUMBERS else word for word in text.split())
