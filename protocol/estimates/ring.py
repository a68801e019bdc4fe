"""The ring of panels round the person: floor area, reach below the knees, gap at the feet.

The area is that of the polygon whose corners lie on a circle: the largest the panels can enclose, and the exact one for
the usual square. Out of square by 15 degrees it loses 3 % (common practice, no source); panels that overlap at the
corners lose twice their thickness one way.
"""

import math
from dataclasses import dataclass

from protocol.errors import EstimateError
from protocol.estimates.body import MARK_FRACTIONS, SOURCE, Mark, Person
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.units import FOOT_M, INCH_M, System, Unit

SKEW_DEG = 15.0
DRIVE_ERROR_M = 0.05
"""The top edge is judged within 5 cm: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Ring:
    """Panels stood round a person."""

    widths_m: tuple[float, ...]
    length_m: float = 5 * FOOT_M
    """Height of a panel when stood up: five feet is common practice, no source."""
    thickness_m: float = 0.75 * INCH_M
    """Three-quarter inch plywood (Mississippi State Extension P2598)."""

    def __post_init__(self) -> None:
        if not 3 <= len(self.widths_m) <= 24:
            raise EstimateError(f"{len(self.widths_m)} panels do not make a ring: give 3 to 24.")
        if not all(0.05 <= width <= 3.0 for width in self.widths_m):
            raise EstimateError("A panel must be 0.05 to 3 m wide.")
        if not 0.3 <= self.length_m <= 4.0:
            raise EstimateError(f"A panel {self.length_m:g} m long cannot be: give 0.3 to 4 m.")
        if not 0.0 <= self.thickness_m < min(self.widths_m) / 3:
            raise EstimateError("The panels are too thick for their width.")
        if 2 * max(self.widths_m) >= sum(self.widths_m):
            raise EstimateError("One panel is wider than all the others together: these panels cannot close a ring.")

    @classmethod
    def of(cls, count: int, width_m: float, length_m: float = 5 * FOOT_M) -> "Ring":
        """A ring of equal panels."""
        return cls((width_m,) * count, length_m)


def polygon_area_m2(widths_m: tuple[float, ...]) -> float:
    """Area of the polygon with these sides and its corners on one circle (m2)."""
    radius, centre_inside = _circumradius(widths_m)
    half_angles = [math.asin(min(1.0, width / (2 * radius))) for width in widths_m]
    pieces = [0.5 * radius**2 * math.sin(2 * angle) for angle in half_angles]
    return sum(pieces) if centre_inside else sum(pieces) - 2 * pieces[widths_m.index(max(widths_m))]


def ring_area(ring: Ring) -> Estimate:
    """Floor area inside the ring (m2)."""
    full = polygon_area_m2(ring.widths_m)
    overlap = 1 - 2 * ring.thickness_m / math.sqrt(full)
    low = full * math.cos(math.radians(SKEW_DEG)) * overlap
    return Estimate(
        full,
        low,
        full,
        Unit.SQUARE_METRE,
        "polygon with its corners on a circle; low end out of square by 15 degrees and overlapping at the corners",
        "plane geometry",
        "{amount} inside the ring",
        inputs=(
            Given("panel widths", ", ".join(f"{width:.3f}" for width in ring.widths_m), "m"),
            Given("panel thickness", ring.thickness_m, "m"),
        ),
    )


@dataclass(frozen=True, slots=True)
class Reach:
    """How far down the panels go on the person."""

    below_knees: Estimate
    """Length of panel below the knees (m); negative when the panel ends above them."""
    gap_at_feet: Estimate
    """From the soles up to the lower edge (m); negative when the edge is below the soles."""

    @property
    def verdict(self) -> str:
        """'enough', 'short', or 'unsure' when the range includes both."""
        if self.below_knees.low > 0:
            return "enough"
        return "short" if self.below_knees.high <= 0 else "unsure"

    def spoken(self, units: System = "us") -> str:
        """One or two sentences for the headset."""
        if self.verdict == "short":
            return "The panels end above the knees. Drive them deeper."
        if self.verdict == "unsure":
            return "The panels may not reach below the knees. Drive them deeper and check."
        gap = self.gap_at_feet.spoken(units) if self.gap_at_feet.low > 0 else "Little or no gap at the feet."
        return f"{self.below_knees.spoken(units)} {gap}"


def ring_reach(person: Person, ring: Ring, top_above_soles_m: Span | None = None) -> Reach:
    """How far below the knees the panels reach, with their top edge this high above the person's soles.

    Args:
        person: who is inside.
        ring: the panels.
        top_above_soles_m: height of the top edge; left out, the top is level with the head.
    """
    top = top_above_soles_m

    def below_knees(height: float, error: float, edge: float) -> float:
        upper = height if top is None else edge
        return MARK_FRACTIONS[Mark.KNEES] * height - (upper + error - ring.length_m)

    def gap(height: float, error: float, edge: float) -> float:
        return (height if top is None else edge) + error - ring.length_m

    spans = {
        "height": person.height_m,
        "error": Span.about(0.0, DRIVE_ERROR_M),
        "edge": Span.exact(0.0) if top is None else top,
    }
    given = (*person.given, Given("panel length", ring.length_m, "m"))
    if top is not None:
        given = (*given, Given.span("top edge above soles", top, "m"))
    return Reach(
        _length(spread(below_knees, **spans), "the panels reach {amount} below the knees", given),
        _length(spread(gap, **spans), "a gap of {amount} at the feet", given),
    )


def _length(span: Span, says: str, given: tuple[Given, ...]) -> Estimate:
    return Estimate(
        span.value,
        span.low,
        span.high,
        Unit.METRE,
        "top edge less panel length, against knee height .285 of stature; person taken as upright",
        SOURCE,
        says,
        inputs=given,
        cautions=("A person seldom sinks straight: probe before driving.",),
    )


def _circumradius(widths_m: tuple[float, ...]) -> tuple[float, bool]:
    """Radius of the circle through the corners, and whether its centre lies inside the polygon."""
    widest = max(widths_m)
    others = list(widths_m)
    others.remove(widest)

    def turn(radius: float) -> tuple[float, float]:
        return math.asin(min(1.0, widest / (2 * radius))), sum(math.asin(width / (2 * radius)) for width in others)

    smallest = widest / 2
    first, rest = turn(smallest)
    inside = first + rest >= math.pi
    low, high = smallest, 1e6 * widest
    for _ in range(64):
        middle = math.sqrt(low * high)
        first, rest = turn(middle)
        excess = first + rest - math.pi if inside else first - rest
        low, high = (middle, high) if excess > 0 else (low, middle)
    return math.sqrt(low * high), inside
