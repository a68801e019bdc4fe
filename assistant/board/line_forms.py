"""What the forms for lines begin with: what is on record, else what was there last time, else what the card plans.

A form is only a proposal: nothing stands on record before the officer sends it.
"""

from dataclasses import dataclass

from protocol.lines import on_line
from protocol.phrases import SPARE_RESCUERS
from protocol.scene import Scene


@dataclass(frozen=True, slots=True)
class LineForm:
    """One rescuer's."""

    slot: int
    line: str
    tenders: tuple[str, ...]


def line_forms(scene: Scene) -> tuple[LineForm, ...]:
    """For everybody inside and everybody who may go in."""
    may = set(range(1, scene.house.rescuers + SPARE_RESCUERS + 1))
    return tuple(_form(scene, slot) for slot in sorted(may | {one.slot for one in scene.state.inside}))


def known_tenders(scene: Scene) -> tuple[str, ...]:
    """Names from the site card and from this incident, each once."""
    planned = [name for plan in scene.house.planned_lines for name in plan.tenders]
    recorded = [name for one in scene.state.crew for name in one.tenders]
    names: dict[str, str] = {}
    for name in (*scene.house.tender_names, *planned, *recorded):
        names.setdefault(name.casefold(), name)
    return tuple(names.values())


def _form(scene: Scene, slot: int) -> LineForm:
    line, tenders = _known(scene, slot)
    return LineForm(slot, "" if on_line(scene.state.inside, line, slot) else line, tenders)


def _known(scene: Scene, slot: int) -> tuple[str, tuple[str, ...]]:
    """Line and tenders that this rescuer has, had or is planned with; a line that another has by now is left out."""
    for one in reversed(scene.state.crew):
        if one.slot == slot and (one.line or one.tenders):
            return one.line, one.tenders
    return next(((plan.line, plan.tenders) for plan in scene.house.planned_lines if plan.slot == slot), ("", ()))
