"""What comes in when a panel is taken out, and the best order to take them out.

Grain slumps through the opening until it stands at its angle of repose on both sides: outside a funnel falling to
the opening, inside a ramp falling away from it. What leaves the funnel is what fills the ramp (conservation of volume),
which gives the level at the opening by bisection. With w the panel width, S the tangent of the angle, d the depth of
the funnel at the opening and n panels:

  funnel = w d^2/(2S) + (pi/2 + 2 pi/n) d^3/(3 S^2)
           and (2 pi/n) (d - w S)^3/(3 S^2) more once it reaches behind the ring
  ramp   = w (y x - S x^2/2), x the smaller of y/S and the depth of the ring, y the level at the opening

Everything scales with one number, level difference / (w S). Against a numerical slump (slope-limited flow on a grid,
tests) it agrees within 10 % where that number is 0.3 to 6 for a square ring: two-foot panels, 4 in to 5 ft difference,
angles of 20 to 36 degrees. Momentum of falling grain is left out.

Order: at every step the panel that lets least in. That keeps the first inrush the smallest and the largest one within
2 % of the smallest any order has (all orders tried, tests); the last level is a few centimetres higher than with the
highest first, where one inrush brings most of it at once.
"""

import math
from dataclasses import dataclass

from protocol.errors import EstimateError
from protocol.estimates.body import (
    BODY_MODEL_FACTOR,
    Level,
    Mark,
    Person,
    body_volume_below_m3,
    level_fraction,
    nearest_mark,
)
from protocol.estimates.grain import SOURCE as GRAIN_SOURCE
from protocol.estimates.grain import Grain
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.estimates.ring import Ring, ring_area
from protocol.estimates.wording import number_words
from protocol.units import System, Unit

MODEL_FACTOR = Span(1.0, 0.9, 1.1)
"""Closed form against numerical slump."""
CHECKED = (0.3, 6.0)
"""Level difference / (panel width x tangent of repose) over which the closed form was checked."""


@dataclass(frozen=True, slots=True)
class Opening:
    """One panel missing from a ring."""

    width_m: float
    area_m2: float
    """Floor area of the ring."""
    free: float
    """Share of the floor area that is not body."""
    panels: int

    def funnel_m3(self, depth_m: float, slope: float) -> float:
        """Grain that leaves the outside when its funnel is this deep at the opening."""
        turn = math.pi / 2 + 2 * math.pi / self.panels
        behind = max(0.0, depth_m - self.width_m * slope)
        corners = turn * depth_m**3 + (2 * math.pi / self.panels) * behind**3
        return self.width_m * depth_m**2 / (2 * slope) + corners / (3 * slope**2)

    def ramp_m3(self, level_m: float, slope: float) -> float:
        """Grain inside when it stands this high above the old level at the opening."""
        reach = min(level_m / slope, self.area_m2 / self.width_m)
        return self.free * self.width_m * (level_m * reach - slope * reach**2 / 2)

    def slump_m3(self, difference_m: float, slope: float) -> float:
        """Grain that comes in when the outside stands this much higher."""
        if difference_m <= 0:
            return 0.0
        low, high = 0.0, difference_m
        for _ in range(60):
            middle = (low + high) / 2
            if self.ramp_m3(middle, slope) < self.funnel_m3(difference_m - middle, slope):
                low = middle
            else:
                high = middle
        return self.ramp_m3(low, slope)


@dataclass(frozen=True, slots=True)
class Refill:
    """What taking one panel out does."""

    panel: int
    """Counted from one."""
    volume: Estimate
    """m3 coming in."""
    rise: Estimate
    """m, mean over the free floor."""
    reaches: Mark
    """Mark the new level comes nearest to."""
    reaches_at_worst: Mark

    def spoken(self, units: System = "us") -> str:
        """What to expect, before anyone touches the panel."""
        name = f"Panel {number_words(self.panel)}"
        if self.volume.high <= 0:
            return f"{name} lets nothing in: the grain outside is no higher."
        if self.reaches is self.reaches_at_worst:
            where = f"The grain comes to about the {self.reaches.value}."
        else:
            where = f"The grain comes to about the {self.reaches.value}, perhaps the {self.reaches_at_worst.value}."
        text = self.volume.spoken(units)
        return f"{name} lets in {text[0].lower()}{text[1:]} {where}"


def refill_when_out(
    person: Person, ring: Ring, grain: Grain, panel: int, inside: Level, outside_above_m: Span
) -> Refill:
    """Predict the grain that comes in when one panel is taken out.

    Args:
        person: still inside the ring.
        ring: the panels.
        grain: for its angle of repose.
        panel: which one, counted from one in the order of `ring.widths_m`.
        inside: level in the ring now.
        outside_above_m: how far the grain outside that panel stands above the grain inside; negative when lower.

    Raises:
        EstimateError: for a panel the ring has not, or a difference over three metres.
    """
    _check(ring, panel, outside_above_m)
    width = ring.widths_m[panel - 1]
    start = level_fraction(inside, person.height_m.value) * person.height_m.value

    def rise(difference: float, angle: float, area: float, body: float, model: float) -> float:
        free = _free_share(person, start, difference, area, body)
        slope = math.tan(math.radians(angle))
        return model * Opening(width, area, free, len(ring.widths_m)).slump_m3(difference, slope) / (free * area)

    def volume(difference: float, angle: float, area: float, body: float, model: float) -> float:
        return rise(difference, angle, area, body, model) * area * _free_share(person, start, difference, area, body)

    spans = {
        "difference": outside_above_m,
        "angle": grain.repose_deg,
        "area": ring_area(ring).span,
        "body": BODY_MODEL_FACTOR,
        "model": MODEL_FACTOR,
    }
    given = (*person.given, *_given(inside, outside_above_m, grain, width))
    up = _cap(spread(rise, **spans), outside_above_m.high)
    cautions = _cautions(outside_above_m, width, grain)
    height = person.height_m.value
    return Refill(
        panel,
        _estimate(spread(volume, **spans), Unit.CUBIC_METRE, "{amount}", given, cautions),
        _estimate(up, Unit.METRE, "the grain rises {amount}", given, ()),
        nearest_mark(start + up.value, height),
        nearest_mark(start + up.high, height),
    )


def removal_order(
    person: Person, ring: Ring, grain: Grain, inside: Level, outside_above_m: tuple[Span, ...]
) -> tuple[Refill, ...]:
    """Order in which to take the panels out: at every step the one that lets least in, with what it lets in.

    Args:
        person: as for `refill_when_out`.
        ring: likewise.
        grain: likewise.
        inside: level in the ring before the first panel goes.
        outside_above_m: for each panel, how far the grain outside it stands above the grain inside.

    Raises:
        EstimateError: unless there is one difference for each panel.
    """
    if len(outside_above_m) != len(ring.widths_m):
        raise EstimateError(f"Give one outside level for each of the {len(ring.widths_m)} panels.")
    left = dict(enumerate(outside_above_m, start=1))
    level = level_fraction(inside, person.height_m.value) * person.height_m.value
    order: list[Refill] = []
    while left:
        options = [refill_when_out(person, ring, grain, panel, level, span) for panel, span in left.items()]
        best = min(options, key=_let_in)
        order.append(best)
        level += best.rise.value
        del left[best.panel]
        left = {panel: _lower(span, best.rise.value) for panel, span in left.items()}
    return tuple(order)


def _check(ring: Ring, panel: int, outside_above_m: Span) -> None:
    if not 1 <= panel <= len(ring.widths_m):
        raise EstimateError(f"There is no panel {panel}: this ring has {len(ring.widths_m)}.")
    if outside_above_m.high > 3.0:
        raise EstimateError(
            "Grain more than three metres higher outside is beyond this estimate: do not take a panel out."
        )


def _given(inside: Level, outside_above_m: Span, grain: Grain, width: float) -> tuple[Given, ...]:
    return (
        Given("level inside", str(inside)),
        Given.span("outside above inside", outside_above_m, "m"),
        Given.span("angle of repose", grain.repose_deg, "deg"),
        Given("panel width", width, "m"),
    )


def _let_in(refill: Refill) -> tuple[float, float, int]:
    return refill.volume.value, refill.volume.high, refill.panel


def _lower(span: Span, by: float) -> Span:
    return Span(span.value - by, span.low - by, span.high - by)


def _free_share(person: Person, start: float, difference: float, area: float, body: float) -> float:
    """Share of the floor that is not body, over the height that may be filled."""
    height = person.height_m.value
    top = start + max(0.05, difference)
    ends = [
        body_volume_below_m3(end / height, person.mass_kg.value, person.arms_in.value) for end in (start, top)
    ]  # fmt: skip
    free = 1 - body * (ends[1] - ends[0]) / (area * (top - start))
    if free <= 0.1:
        raise EstimateError("The ring has no room for this person: check the panel widths and the person's size.")
    return free


def _cap(span: Span, most: float) -> Span:
    top = max(0.0, most)
    return Span(min(span.value, top), min(max(0.0, span.low), top), min(span.high, top))


def _cautions(outside: Span, width: float, grain: Grain) -> tuple[str, ...]:
    ratio = outside.value / (width * math.tan(math.radians(grain.repose_deg.value)))
    beyond = outside.value > 0 and not CHECKED[0] <= ratio <= CHECKED[1]
    first = ("One panel at a time, lowest outside grain first.",)
    return (*first, "Outside the range over which the model was checked.") if beyond else first


def _estimate(span: Span, unit: Unit, says: str, given: tuple[Given, ...], cautions: tuple[str, ...]) -> Estimate:
    return Estimate(
        span.value,
        max(0.0, span.low),
        span.high,
        unit,
        "slump to the angle of repose on both sides of the opening, volume conserved",
        f"plane geometry; {GRAIN_SOURCE}",
        says,
        inputs=given,
        cautions=cautions,
    )
