"""Who is inside, since when, and when relief is due."""

from dataclasses import dataclass

from protocol.numbers import count_words
from protocol.scene import Scene, minutes_ms
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


@dataclass(frozen=True, slots=True)
class CrewOut:
    """One who came out."""

    name: str
    entered_ms: int
    left_ms: int


@dataclass(frozen=True, slots=True)
class CrewCard:
    """The tally of people."""

    inside: tuple[CrewRow, ...]
    out: tuple[CrewOut, ...]
    work_ms: int
    """Length of a work period."""


def crew_card(scene: Scene) -> CrewCard:
    """The tally at a moment."""
    work_ms = minutes_ms(scene.house.work_period_min)
    inside = []
    for one in scene.state.inside:
        timer = running(scene.state, "work_period", str(one.slot))
        relief_ms = (timer.started_ms if timer else one.entered_ms) + work_ms
        inside.append(CrewRow(one.slot, name_of(one.slot), one.entered_ms, relief_ms, relief_ms <= scene.at_ms))
    out = [
        CrewOut(name_of(one.slot), one.entered_ms, one.left_ms) for one in scene.state.crew if one.left_ms is not None
    ]
    return CrewCard(tuple(inside), tuple(out), work_ms)


def name_of(slot: int) -> str:
    """How a rescuer is called: "Rescuer one"."""
    return f"Rescuer {count_words(slot)}"
