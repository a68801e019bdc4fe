"""Openings in the wall of a bin with a covered person inside: where to cut, and how fast the surface goes down.

Evenly round the bin, opposite ones together, four to six feet over the ground, semicircular or V, 30 to 40 in across,
bent out so that the flow can be slowed or stopped (UMaine Extension 2352; NASD 1144). No count was found with
authority: the count is the commander's, here it only has to be even, so that no side is weakened alone.
"""

import math
from dataclasses import dataclass

from protocol.errors import EstimateError
from protocol.estimates.grain import Grain
from protocol.estimates.orifice import Hole, total_flow, wall_flow
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.estimates.wording import number_words
from protocol.units import INCH_M, System, Unit

SOURCE = "UMaine Extension 2352; NASD 1144"
WIDTHS_M = (30 * INCH_M, 40 * INCH_M)
HEIGHTS_FT = (4, 6)
NEVER = "Never start an unloading auger, never open a gravity gate."


@dataclass(frozen=True, slots=True)
class CutPlan:
    """Where the openings go round the bin."""

    angles_deg: tuple[float, ...]
    """From the first, going round."""
    pairs: tuple[tuple[int, int], ...]
    """Openings to cut and run together, counted from one; each pair is opposite."""
    spacing: Estimate
    """m along the wall from middle to middle."""
    left_between: Estimate
    """m of whole wall between neighbours."""
    cautions: tuple[str, ...]

    def spoken(self, units: System = "us") -> str:
        """How many, how far apart, which together."""
        count = number_words(len(self.angles_deg))
        pairs = ", then ".join(f"{number_words(one)} with {number_words(other)}" for one, other in self.pairs)
        spacing = self.spacing.spoken(units)
        return f"{count.capitalize()} openings, evenly round the bin. {spacing} Cut {pairs}. Never all on one side."


def cut_plan(bin_diameter_m: float, count: int, hole_width_m: float = WIDTHS_M[0]) -> CutPlan:
    """Space openings evenly and pair the opposite ones.

    Raises:
        EstimateError: for an odd count or one under two, or openings that leave less wall than they take.
    """
    if count < 2 or count % 2:
        raise EstimateError(f"{count} openings cannot be opposite one another: cut two, four, six or eight.")
    if not 2 <= bin_diameter_m <= 60:
        raise EstimateError(f"A bin {bin_diameter_m:g} m across cannot be: give 2 to 60 m.")
    spacing = math.pi * bin_diameter_m / count
    if spacing < 2 * hole_width_m:
        raise EstimateError(f"{count} openings leave less wall than they take: cut fewer or narrower.")
    half = count // 2
    odd_size = not WIDTHS_M[0] * 0.999 <= hole_width_m <= WIDTHS_M[1] * 1.001
    size = (f"Openings are usually 30 to 40 in across ({SOURCE}).",) if odd_size else ()
    return CutPlan(
        tuple(360.0 * index / count for index in range(count)),
        tuple((index + 1, index + 1 + half) for index in range(half)),
        _along(spacing, bin_diameter_m, count, "{amount} from middle to middle"),
        _along(spacing - hole_width_m, bin_diameter_m, count, "{amount} of wall between openings"),
        (*size, "Watch the wall. No side may be weakened alone.", NEVER, "Cutting makes sparks: command decides."),
    )


def time_to_lower(bin_diameter_m: float, depth_m: Span, hole: Hole, count: int, grain: Grain) -> Estimate:
    """Time (s) for `count` openings running freely to lower the surface by `depth_m`.

    Raises:
        EstimateError: for no opening, no depth, or a hole the grain does not flow through.
    """
    if count < 1 or depth_m.low <= 0:
        raise EstimateError("Give at least one opening and the depth to lower.")
    each = wall_flow(hole, grain)
    if each.low <= 0:
        raise EstimateError("This grain would not flow through such a small opening: cut it larger.")
    area = math.pi * bin_diameter_m**2 / 4
    flow = total_flow(each, count)
    span = spread(lambda depth, rate: area * depth / rate, depth=depth_m, rate=flow)
    return Estimate(
        span.value,
        max(0.0, span.low),
        span.high,
        Unit.SECOND,
        "floor area x depth / flow of all openings",
        each.source,
        "{amount} to bring the surface down that far",
        inputs=(
            *each.inputs,
            Given("openings", float(count)),
            Given("bin diameter", bin_diameter_m, "m"),
            Given.span("depth", depth_m, "m"),
        ),
        cautions=(
            *each.cautions,
            "The surface does not fall evenly. Stop the flow as soon as the person shows.",
            NEVER,
        ),
    )


def _along(length_m: float, diameter_m: float, count: int, says: str) -> Estimate:
    doubt = 0.05 * length_m
    return Estimate(
        length_m,
        max(0.0, length_m - doubt),
        length_m + doubt,
        Unit.METRE,
        "girth of the bin shared evenly; paced or taped within 5 %",
        SOURCE,
        says,
        inputs=(Given("bin diameter", diameter_m, "m"), Given("openings", float(count))),
    )
