"""Pressure of grain: on a chest, on a panel, at the foot of a bin wall.

Chest: measured only. At rest 1.6 to 4.0 kPa, shoulders to 0.61 m over the head, four grains (Moore & Jones 2017, J.
Agric. Saf. Health 23(2):99-107); pushing outward, as in breathing in, 9.4 to 11.0 kPa at 20 to 30 cm (Issa, Wassgren &
Schwab 2018, JASH 24(3):113-126). Nobody is told that breathing is not affected.
Panel: static, no wall friction, k x density x depth (triangle). Bin: Janssen 1895. k 0.5, mu 0.37 on corrugated steel
(ANSI/ASAE EP433, from memory); extremes 0.9 and 1.15 times the mean (ENV 1991-4).
"""

import math

from protocol.errors import EstimateError
from protocol.estimates.grain import Grain
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.units import GRAVITY_M_S2, Unit

AT_REST_PA = (1600.0, 4000.0)
PUSHING_PA = (9400.0, 11000.0)
LATERAL_RATIO = Span(0.5, 0.45, 0.575)
WALL_FRICTION = Span(0.37, 0.333, 0.4255)
PANEL_RATIO = Span(0.5, 0.37, 0.61)
"""From active pressure at a friction angle of 27 degrees to pressure at rest at 23 (1 - sin)."""


def chest_at_rest() -> Estimate:
    """Pressure of grain on the chest of a person holding still (Pa): measured range, whatever the depth."""
    return _chest(AT_REST_PA, "Moore & Jones 2017, JASH 23(2):99-107", "{amount} on the chest at rest")


def chest_pushing() -> Estimate:
    """Pressure a chest meets as it widens against the grain (Pa), at 20 to 30 cm depth: measured range."""
    source = "Issa, Wassgren & Schwab 2018, JASH 24(3):113-126"
    return _chest(PUSHING_PA, source, "{amount} against the chest when it widens to breathe in")


def rankine_ratios(friction_deg: float) -> tuple[float, float, float]:
    """Active, passive and at-rest lateral ratios of grain with this friction angle (Rankine; at rest 1 - sin)."""
    if not 5 <= friction_deg <= 50:
        raise EstimateError(f"A friction angle of {friction_deg:g} degrees cannot be: give 5 to 50.")
    active = math.tan(math.radians(45 - friction_deg / 2)) ** 2
    return active, 1 / active, 1 - math.sin(math.radians(friction_deg))


def lateral_pa(depth_m: float, density_kg_m3: float, ratio: float) -> float:
    """Lateral pressure at a depth without wall friction (Pa)."""
    return ratio * density_kg_m3 * GRAVITY_M_S2 * depth_m


def panel_peak(grain: Grain, difference_m: Span) -> Estimate:
    """Pressure at the foot of a panel with grain this much higher on one side (Pa).

    Raises:
        EstimateError: for a negative difference.
    """
    span = spread(lateral_pa, depth_m=_depth(difference_m), density_kg_m3=grain.density_kg_m3, ratio=PANEL_RATIO)
    return _panel(span, Unit.PASCAL, "{amount} at the foot of the panel", difference_m, grain)


def panel_load(grain: Grain, width_m: float, difference_m: Span) -> Estimate:
    """Sideways force on one panel with grain this much higher on one side (N).

    Raises:
        EstimateError: for a negative difference or a panel without width.
    """
    if not 0 < width_m <= 3:
        raise EstimateError(f"A panel {width_m:g} m wide cannot be: give up to 3 m.")

    def load(depth_m: float, density_kg_m3: float, ratio: float) -> float:
        return lateral_pa(depth_m, density_kg_m3, ratio) * depth_m / 2 * width_m

    span = spread(load, depth_m=_depth(difference_m), density_kg_m3=grain.density_kg_m3, ratio=PANEL_RATIO)
    return _panel(span, Unit.NEWTON, "{amount} sideways on the panel", difference_m, grain)


def janssen_pa(
    depth_m: float, diameter_m: float, density_kg_m3: float, friction: float, ratio: float
) -> tuple[float, float]:
    """Vertical and horizontal pressure in a bin (Pa), Janssen 1895 with R = D/4."""
    radius = diameter_m / 4
    top = density_kg_m3 * GRAVITY_M_S2 * radius / (friction * ratio)
    vertical = top * -math.expm1(-friction * ratio * depth_m / radius)
    return vertical, ratio * vertical


def bin_wall_pressure(grain: Grain, diameter_m: float, depth_m: Span) -> Estimate:
    """Horizontal pressure on a bin wall at a depth below the grain surface (Pa), at rest.

    Raises:
        EstimateError: for a bin or depth that cannot be.
    """
    if not 1 <= diameter_m <= 60 or depth_m.low < 0 or depth_m.high > 80:
        raise EstimateError("Give a bin 1 to 60 m across and a depth of 0 to 80 m.")

    def horizontal(depth_m: float, density_kg_m3: float, friction: float, ratio: float) -> float:
        return janssen_pa(depth_m, diameter_m, density_kg_m3, friction, ratio)[1]

    span = spread(
        horizontal, depth_m=depth_m, density_kg_m3=grain.density_kg_m3, friction=WALL_FRICTION, ratio=LATERAL_RATIO
    )
    return Estimate(
        span.value,
        max(0.0, span.low),
        span.high,
        Unit.PASCAL,
        "Janssen with R = D/4; k and mu by EP433 (from memory), 0.9 and 1.15 times for extremes",
        "Janssen 1895; ANSI/ASAE EP433 (from memory); ENV 1991-4",
        "{amount} on the wall at that depth",
        inputs=(Given("bin diameter", diameter_m, "m"), Given.span("depth", depth_m, "m")),
        cautions=("At rest: moving grain presses up to 1.4 times as hard (EP433, from memory).",),
    )


def _chest(ends: tuple[float, float], source: str, says: str) -> Estimate:
    return Estimate(
        sum(ends) / 2,
        *ends,
        Unit.PASCAL,
        "range of the measurements",
        source,
        says,
        cautions=(
            "At rest and widening differ by a factor of three to four: never say that breathing is not affected.",
        ),
        then_say="Clear the chest first.",
        range_only=True,
    )


def _depth(difference_m: Span) -> Span:
    if difference_m.low < 0:
        raise EstimateError(
            "The grain outside must stand higher than inside for a load: give the difference as positive."
        )
    return difference_m


def _panel(span: Span, unit: Unit, says: str, difference: Span, grain: Grain) -> Estimate:
    return Estimate(
        span.value,
        max(0.0, span.low),
        span.high,
        unit,
        "lateral ratio x density x depth, triangle over the panel; static, no wall friction",
        "Rankine; lateral ratio 0.37 to 0.61",
        says,
        inputs=(
            Given.span("level difference", difference, "m"),
            Given.span("bulk density", grain.density_kg_m3, "kg/m3"),
            Given.span("lateral ratio", PANEL_RATIO, ""),
        ),
        cautions=("Keep the grain outside from rising. Watch the joints.",),
    )
