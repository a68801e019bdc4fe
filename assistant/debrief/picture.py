"""A drawing as a list of plain shapes, in points, y downwards; it is drawn once and written as SVG and as PDF alike.

No meaning hangs on a colour: everything is black, white or grey, told apart by line style, mark and hatching.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

Dash = Literal["solid", "dashed", "dotted"]
Hatch = Literal["none", "white", "grey", "dark", "rising", "falling", "crossed", "upright"]
Mark = Literal["circle", "ring", "square", "triangle", "diamond", "cross", "bar"]
Anchor = Literal["start", "middle", "end"]
WIDTH = 720.0
"""Of every picture."""
GREYS = {"white": 1.0, "grey": 0.85, "dark": 0.25}
HATCH_GAP = 6.0
LETTER = 0.56
"""Mean width of a letter over the size of the font: enough to keep words apart, not to set type."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points."""

    points: tuple[tuple[float, float], ...]
    width: float = 1.0
    dash: Dash = "solid"
    grey: float = 0.0
    """0 black, 1 white."""


@dataclass(frozen=True, slots=True)
class Area:
    """A filled shape without outline."""

    points: tuple[tuple[float, float], ...]
    grey: float


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text; y is its base line."""

    x: float
    y: float
    text: str
    size: float = 10.0
    anchor: Anchor = "start"
    bold: bool = False
    grey: float = 0.0


Shape = Stroke | Area | Words


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing with what it shows in words."""

    height: float
    shapes: tuple[Shape, ...]
    words: str
    """For those who do not see it."""
    width: float = WIDTH


def box(x: float, y: float, width: float, height: float, hatch: Hatch = "none") -> Iterator[Shape]:
    """A rectangle with an outline, filled with a grey or a hatching."""
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    yield Area(corners, GREYS.get(hatch, 1.0)) if hatch != "none" else Area(corners, 1.0)
    if hatch not in GREYS:
        yield from hatching(x, y, width, height, hatch)
    yield Stroke((*corners, corners[0]), 0.8)


def hatching(x: float, y: float, width: float, height: float, hatch: Hatch) -> Iterator[Shape]:
    """Lines across a rectangle: rising, falling, both, or upright."""
    if hatch == "upright":
        for place in _steps(width):
            yield Stroke(((x + place, y), (x + place, y + height)), 0.5, grey=0.3)
    if hatch in {"rising", "crossed"}:
        for place in _steps(width + height):
            x1, x2 = max(0.0, place - height), min(width, place)
            if x2 > x1:
                yield Stroke(((x + x1, y + place - x1), (x + x2, y + place - x2)), 0.5, grey=0.3)
    if hatch in {"falling", "crossed"}:
        for place in _steps(width + height):
            x1, x2 = max(0.0, place - height), min(width, place)
            if x2 > x1:
                y1, y2 = height - (place - x1), height - (place - x2)
                yield Stroke(((x + x1, y + y1), (x + x2, y + y2)), 0.5, grey=0.3)


def mark(kind: Mark, x: float, y: float, radius: float = 3.5) -> Iterator[Shape]:
    """A mark at a point; ring is hollow, the others are filled."""
    r = radius
    if kind == "cross":
        yield Stroke(((x - r, y - r), (x + r, y + r)), 1.4)
        yield Stroke(((x - r, y + r), (x + r, y - r)), 1.4)
    elif kind == "bar":
        yield Stroke(((x, y - r - 1), (x, y + r + 1)), 1.4)
    elif kind in {"circle", "ring"}:
        outline = _round(x, y, r)
        yield Area(outline, 1.0 if kind == "ring" else 0.0)
        yield Stroke((*outline, outline[0]), 1.2)
    else:
        corners = {
            "square": ((x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)),
            "triangle": ((x, y - r - 1), (x + r + 1, y + r), (x - r - 1, y + r)),
            "diamond": ((x, y - r - 1.5), (x + r + 1.5, y), (x, y + r + 1.5), (x - r - 1.5, y)),
        }[kind]
        yield Area(corners, 0.0)


def wide(text: str, size: float) -> float:
    """About how wide a text is."""
    return len(text) * size * LETTER


def fitting(text: str, size: float, room: float) -> str:
    """The text, cut with an ellipsis to fit; empty when not even three letters do."""
    if wide(text, size) <= room:
        return text
    letters = int(room / (size * LETTER)) - 1
    return f"{text[:letters].rstrip()}…" if letters >= 3 else ""


def _steps(length: float) -> Iterator[float]:
    place = HATCH_GAP
    while place < length:
        yield place
        place += HATCH_GAP


def _round(x: float, y: float, r: float) -> tuple[tuple[float, float], ...]:
    """Twelve corners: a circle at the size of a mark."""
    sines = (0.0, 0.5, 0.866, 1.0, 0.866, 0.5, 0.0, -0.5, -0.866, -1.0, -0.866, -0.5)
    return tuple((x + r * sines[(index + 3) % 12], y + r * sines[index]) for index in range(12))
