"""Who is inside, since when, on which line with which tenders, and when relief is due."""

from dataclasses import dataclass

from assistant.board.line_forms import LineForm, known_tenders, line_forms
from protocol.lines import Lack, lacks
from protocol.numbers import count_words
from protocol.scene import Scene, minutes_ms
from protocol.state import Rescuer
from protocol.timers import running


@dataclass(frozen=True, slots=True)
class CrewRow:
    """One rescuer in the bin."""

    slot: int
    name: str
    entered_ms: int
    relief_ms: int
    """When the work period is over."""
    overdue: bool
    line: str
    """As on its tag; empty: none recorded."""
    tenders: tuple[str, ...]
    lacks: tuple[str, ...]
    """Cautions about this one's line."""


@dataclass(frozen=True, slots=True)
class CrewOut:
    """One who came out."""

    name: str
    entered_ms: int
    left_ms: int
    line: str


@dataclass(frozen=True, slots=True)
class CrewCard:
    """The tally of people."""

    inside: tuple[CrewRow, ...]
    out: tuple[CrewOut, ...]
    work_ms: int
    """Length of a work period."""
    lacks: tuple[str, ...]
    """Cautions about the lines of several."""
    forms: tuple[LineForm, ...]
    """What the form for each rescuer's line begins with."""
    tenders: tuple[str, ...]
    """Names that the form offers."""


def crew_card(scene: Scene) -> CrewCard:
    """The tally at a moment."""
    found = lacks(scene.state.inside)
    out = [
        CrewOut(name_of(one.slot), one.entered_ms, one.left_ms, one.line)
        for one in scene.state.crew if one.left_ms is not None
    ]  # fmt: skip
    return CrewCard(
        inside=tuple(_row(scene, one, found) for one in scene.state.inside),
        out=tuple(out),
        work_ms=minutes_ms(scene.house.work_period_min),
        lacks=tuple(lack.words for lack in found if len(lack.slots) > 1),
        forms=line_forms(scene),
        tenders=known_tenders(scene),
    )


def name_of(slot: int) -> str:
    """How a rescuer is called: "Rescuer one"."""
    return f"Rescuer {count_words(slot)}"


def _row(scene: Scene, one: Rescuer, found: tuple[Lack, ...]) -> CrewRow:
    timer = running(scene.state, "work_period", str(one.slot))
    relief_ms = (timer.started_ms if timer else one.entered_ms) + minutes_ms(scene.house.work_period_min)
    mine = tuple(lack.words for lack in found if lack.slots == (one.slot,))
    return CrewRow(
        one.slot, name_of(one.slot), one.entered_ms, relief_ms, relief_ms <= scene.at_ms, one.line, one.tenders, mine
    )
