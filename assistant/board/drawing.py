"""The cross-section in metres: person, ring, grain inside and outside. A viewer only scales it.

Heights are over the soles of the person, who is drawn upright with the middle of the assumed range of height. Nobody
measures how deep the panels stand: their lower edge is drawn from what was reported, and the words say so.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from assistant.board.grain_card import mark_m
from protocol.estimates.body import Mark
from protocol.remaining import person_of
from protocol.scene import Scene
from protocol.units import FOOT_M, INCH_M

PANELS_IN = "panel_set"
PANELS_OUT = "panel_out"
DRIVEN = "driven"
"""Steps of the shipped procedure that move panels; without them no ring is drawn."""
BY_HAND_M = 0.30
"""A panel stood and pushed in by hand is drawn a foot deep: common practice, no source."""
UNSURE = "passed by the officer, not confirmed by the crew"
SHORT_M = 0.10
"""A ring reported too high is drawn ending so far above the knees: not measured."""
BELOW_M = 0.10
"""A ring reported below the knees is drawn at least so far below them: not measured."""
Passed = Mapping[str, tuple[int, ...]]
"""Step that the officer passed, and which of its numbers had been confirmed before."""


@dataclass(frozen=True, slots=True)
class Surface:
    """A grain surface."""

    mark: str
    height_m: float
    words: str


@dataclass(frozen=True, slots=True)
class RingShape:
    """The panels as seen from the side."""

    width_m: float
    top_m: float
    bottom_m: float
    words: str
    """How deep, and how anybody knows."""


@dataclass(frozen=True, slots=True)
class PanelMark:
    """One panel as seen from above."""

    number: int
    stands: bool
    words: str


@dataclass(frozen=True, slots=True)
class BinShape:
    """The bin from the site card."""

    name: str
    diameter_m: float
    eave_m: float
    words: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """Everything to scale, in metres."""

    person: str
    """held, free or unseen."""
    height_m: float
    height_words: str
    inside: Surface | None
    outside: Surface | None
    ring: RingShape | None
    panel_width_m: float
    panels: tuple[PanelMark, ...]
    panels_words: str
    """Which panels are drawn as last confirmed, because the officer passed their step; empty: none."""
    bin: BinShape | None
    words: str
    """The whole picture as a sentence."""


def drawing(scene: Scene, bin_shape: BinShape | None = None, passed: Passed | None = None) -> Drawing:
    """What to draw at a moment; a step that was passed without word from the crew moves nothing in the drawing."""
    passed = passed or {}
    person = person_of(scene.house)
    height_m = person.height_m.value
    outside = _outside(scene, height_m)
    inside = _inside(scene, height_m) or outside
    panels = _panels(scene, passed)
    ring = _ring(scene, outside, panels, passed)
    unsure = _unsure(panels)
    state = _person(scene)
    low, high = (_length(end, scene.house.units) for end in (person.height_m.low, person.height_m.high))
    return Drawing(
        person=state,
        height_m=height_m,
        height_words=f"Person assumed {low} to {high} tall, drawn upright",
        inside=inside,
        outside=outside,
        ring=ring,
        panel_width_m=scene.house.panel_width_m,
        panels=panels,
        panels_words=unsure,
        bin=bin_shape,
        words=" ".join(filter(None, (_words(state, inside, outside, ring, panels), unsure))),
    )


def bin_shape(name: str, diameter_ft: float, eave_ft: float, units: str) -> BinShape:
    """A bin of the site card in metres, named in the department's units."""
    diameter_m, eave_m = diameter_ft * FOOT_M, eave_ft * FOOT_M
    size = f"{diameter_ft:g} ft" if units == "us" else f"{diameter_m:.1f} m"
    return BinShape(name, diameter_m, eave_m, f"{name}: {size} across")


def _person(scene: Scene) -> str:
    if scene.state.fact("person") == "free":
        return "free"
    return "held" if scene.state.fact("visible") == "yes" else "unseen"


def _outside(scene: Scene, height_m: float) -> Surface | None:
    level, called = scene.state.level, dict(scene.state.outside_m)
    if level and called:
        higher_m = sum(called.values()) / len(called)
        words = f"Outside: from {len(called)} of {scene.house.panels} panels as called, over the grain inside"
        return Surface("as called", mark_m(level, height_m) + higher_m, words)
    mark = scene.state.fact("depth")
    if mark not in {row.value for row in Mark}:
        return None
    return Surface(mark, mark_m(mark, height_m), f"Outside: {mark}, as said at size-up, not measured since")


def _inside(scene: Scene, height_m: float) -> Surface | None:
    mark = scene.state.level
    return Surface(mark, mark_m(mark, height_m), f"Inside: {mark}, as called") if mark else None


def _home(scene: Scene) -> tuple[str, tuple[int, ...]]:
    """The step that stands, or the one an emergency interrupted, and which of its repeats are confirmed."""
    state = scene.state
    if state.emergencies:
        return state.emergencies[0].return_to, state.emergencies[0].repeats
    return state.step, state.repeats


def _panels(scene: Scene, passed: Passed) -> tuple[PanelMark, ...]:
    stood, taken = _moved(scene, PANELS_IN, passed), _moved(scene, PANELS_OUT, passed)
    marks = []
    for number in range(1, scene.house.panels + 1):
        words = "taken out" if number in taken else "stands" if number in stood else "not yet"
        gone = PANELS_OUT in passed and number in stood - taken
        if gone or (PANELS_IN in passed and number not in stood | taken):
            words = UNSURE
        marks.append(PanelMark(number, number in stood - taken, words))
    return tuple(marks)


def _moved(scene: Scene, which: str, passed: Passed) -> set[int]:
    """The panels that the crew confirmed in a step."""
    step, repeats = _home(scene)
    if step == which:
        return set(repeats)
    if which not in scene.state.trail:
        return set()
    return set(passed[which]) if which in passed else set(range(1, scene.house.panels + 1))


def _unsure(panels: tuple[PanelMark, ...]) -> str:
    numbers = [str(panel.number) for panel in panels if panel.words == UNSURE]
    if not numbers:
        return ""
    named = f"Panel {numbers[0]}" if len(numbers) == 1 else f"Panels {', '.join(numbers)}"
    return f"{named}: {UNSURE}, drawn as before."


def _ring(
    scene: Scene, outside: Surface | None, panels: tuple[PanelMark, ...], passed: Passed
) -> RingShape | None:
    if outside is None or not any(panel.stands for panel in panels):
        return None
    house = scene.house
    bottom_m, words = _bottom(scene, outside, passed)
    return RingShape(_across_m(scene), bottom_m + house.panel_length_m, bottom_m, words)


def _bottom(scene: Scene, outside: Surface, passed: Passed) -> tuple[float, str]:
    height_m = person_of(scene.house).height_m.value
    knees_m = mark_m(Mark.KNEES, height_m)
    reported = scene.state.fact("reach")
    if reported == "below":
        level_with_head = height_m - scene.house.panel_length_m
        return max(0.0, min(level_with_head, knees_m - BELOW_M)), "Ring reported below the knees; depth not measured"
    if reported == "above":
        return knees_m + SHORT_M, "Ring reported ending above the knees: drive it deeper"
    if DRIVEN in passed:
        return outside.height_m - BY_HAND_M, f"Driving the ring: {UNSURE}, drawn as pushed in by hand"
    if DRIVEN in scene.state.trail:
        return knees_m, "Ring driven; nobody has said yet whether it reaches below the knees"
    return outside.height_m - BY_HAND_M, "Panels stand, pushed in by hand"


def _across_m(scene: Scene) -> float:
    """Distance between opposite panels of a regular ring: one panel width for the usual square."""
    return scene.house.panel_width_m / math.tan(math.pi / scene.house.panels)


def _length(length_m: float, units: str) -> str:
    """A person's height as people say it: feet and inches, or metres."""
    if units != "us":
        return f"{length_m:.2f} m"
    feet, inches = divmod(round(length_m / INCH_M), 12)
    return f"{feet} ft {inches} in"


def _words(
    person: str,
    inside: Surface | None,
    outside: Surface | None,
    ring: RingShape | None,
    panels: tuple[PanelMark, ...],
) -> str:
    stand = sum(panel.stands for panel in panels)
    who = {
        "held": "The person is held in the grain",
        "free": "The person is free of the grain",
        "unseen": "The person has not been reported visible",
    }[person]
    parts = [who]
    if outside:
        parts.append(outside.words)
    if inside and inside is not outside:
        parts.append(inside.words)
    parts.append(f"{stand} of {len(panels)} panels stand")
    if ring:
        parts.append(ring.words)
    return ". ".join(parts) + "."
