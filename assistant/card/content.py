"""What stands on the card: emergencies, what is said at any time, and the phrases of each stage with what they do."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from protocol.air import Gas
from protocol.commands import Query, Role
from protocol.house import House
from protocol.marks import MARKS
from protocol.phrases import (
    AFFIRM_PHRASES,
    BACK_PHRASE,
    CANISTER_PHRASE,
    CORRECTION_PHRASE,
    DISREGARD_PHRASE,
    HOLD_PHRASE,
    NEGATIVE_PHRASE,
    PERSON_PHRASE,
    QUERY_PHRASES,
    RESUME_PHRASE,
    ROLL_CALL_PHRASE,
    SPARE_RESCUERS,
    level_phrase,
    rescuer_phrase,
    step_phrases,
)
from protocol.procedure import Stage, Step
from protocol.scene import Book

ANSWERED: Final[Mapping[Query, str]] = MappingProxyType({
    Query.SAY_AGAIN: "the last words once more",
    Query.CAUTION: "the caution of this step",
    Query.WHAT_NEXT: "the step that follows",
    Query.CHOICES: "the answers this step takes",
    Query.TIME: "the clocks",
    Query.GRAIN: "how much is left, with its range",
    Query.BALANCE: "does the ring leak?",
    Query.AIR: "last readings, how old, what is unread",
    Query.CREW: "who is in, and how long",
    Query.SPEAK: "words for the person",
    Query.SPEAK_OTHER: "the same, other language",
    Query.ESTIMATE: "inputs, method, source",
    Query.HANDOVER: "what the medics need",
    Query.RADIO_CHECK: "how well it hears you",
})
"""What each question is answered with."""
CAUTION: Final = (
    "The incident commander decides. Local procedure, the authority having jurisdiction and licensed medical practice "
    "come first. No phrase makes air safe: only what was read counts, where and when."
)
WHOSE: Final[Mapping[Role, str]] = MappingProxyType({
    Role.BOTH: "", Role.INSIDE: "For those inside the bin", Role.OUTSIDE: "For those outside",
})  # fmt: skip
HOW: Final = "Say exactly these words."
READ_BACK: Final = "*"
READ_BACK_NOTE: Final = f"{READ_BACK} is read back: answer affirmative or negative."
DIGITS: Final = (
    "then the number, digit by digit: two zero decimal niner. Read elsewhere than here: at the hatch, at the person"
)
UP_TO: Final = " … "


@dataclass(frozen=True, slots=True)
class Line:
    """Phrases, and what they do."""

    say: tuple[str, ...]
    does: str
    between: str = " / "
    """What stands between two of them."""
    read_back: bool = False

    @property
    def words(self) -> str:
        """All that is said, as one text."""
        return self.between.join(self.say)

    @property
    def rest(self) -> str:
        """What follows the words in a list: whether they are read back, and what they do."""
        return f"{READ_BACK if self.read_back else ''}{f': {self.does}' if self.does else ''}"


@dataclass(frozen=True, slots=True)
class Part:
    """Lines under a heading."""

    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Card:
    """The whole page."""

    title: str
    subtitle: str
    caution: str
    emergencies: tuple[Line, ...]
    taken_back: Line
    held: Line
    parts: tuple[Part, ...]
    foot: str
    paper: Literal["letter", "a4"]


def card_of(book: Book, department: str = "", role: Role = Role.BOTH) -> Card:
    """The card of a procedure.

    Args:
        book: procedure and house rules.
        department: its name; empty: not known.
        role: whose: the card of one side holds only what that side may say, in larger letters.
    """
    procedure = book.procedure
    named = " ".join(f"{text}." for text in (department, WHOSE[role]) if text)
    return Card(
        title=procedure.heading.title,
        subtitle=f"{named} {HOW} {READ_BACK_NOTE}".strip(),
        caution=CAUTION,
        emergencies=tuple(Line(row.say, row.first) for row in procedure.interruptions),
        taken_back=Line((DISREGARD_PHRASE,), "it was wrong: takes the emergency back"),
        held=Line((HOLD_PHRASE, RESUME_PHRASE), "everyone stands still, then goes on"),
        parts=(_questions(), _orders(book.house), _readings(book.house), *_stages(book, role)),
        foot=f"{procedure.heading.id} version {procedure.heading.version}, digest {book.digest[:12]}",
        paper="letter" if book.house.units == "us" else "a4",
    )


def _questions() -> Part:
    return Part("Ask at any time", tuple(Line((text,), ANSWERED[query]) for text, query in QUERY_PHRASES))


def _orders(house: House) -> Part:
    crew = house.rescuers + SPARE_RESCUERS
    ways = (("goes in", True), ("comes out", False))
    return Part("Say at any time", (
        Line((AFFIRM_PHRASES[0], NEGATIVE_PHRASE), "yes, no, to what is read back"),
        Line((CORRECTION_PHRASE,), "the last entry is taken back"),
        Line((BACK_PHRASE,), "to the step before"),
        Line((ROLL_CALL_PHRASE,), "answers the roll call"),
        Line((PERSON_PHRASE,), "the person was spoken to"),
        *(Line((rescuer_phrase(1, way), rescuer_phrase(crew, way)), words, UP_TO) for words, way in ways),
    ))  # fmt: skip


def _readings(house: House) -> Part:
    length = "inches" if house.units == "us" else "centimeters"
    return Part("Readings and counts", (
        Line(tuple(gas.spoken for gas in Gas), DIGITS),
        Line((CANISTER_PHRASE,), "counts one"),
        Line(tuple(level_phrase(mark) for mark in MARKS), "grain on the person, going down"),
        Line(("corner one", f"corner {_count(house.panels)}"), f"number, {length}: rim down to the grain", UP_TO),
        Line(("outside panel one", f"outside panel {_count(house.panels)}"), f"number, {length} higher outside", UP_TO),
    ))  # fmt: skip


def _count(number: int) -> str:
    return rescuer_phrase(number, inside=True).split()[1]


def _stages(book: Book, role: Role) -> Iterator[Part]:
    """Each stage once; phrases that a stage before it has with the same steps are not repeated."""
    shown: set[tuple[str, ...]] = set()
    for stage in book.procedure.stages:
        steps = [step for step in book.procedure.steps if step.stage == stage.id and role.covers(step.confirmed_by)]
        lines = [line for step in steps if (line := _line(step, book.house.panels)).say and line.say not in shown]
        shown.update(line.say for line in lines)
        if lines:
            yield Part(_title(stage), tuple(lines))


def _title(stage: Stage) -> str:
    return f"{stage.title}: what follows" if stage.emergency else stage.title


def _line(step: Step, panels: int) -> Line:
    phrases = step_phrases(step, panels)
    if step.repeat and len(phrases) > 1:
        return Line((phrases[0], phrases[-1]), step.title, UP_TO, step.critical)
    says_itself = len(phrases) == 1 and _words(step.title) <= _words(phrases[0])
    return Line(phrases, "" if says_itself else step.title, read_back=step.critical)


def _words(text: str) -> set[str]:
    return set(text.lower().split())
