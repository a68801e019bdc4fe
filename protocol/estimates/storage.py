"""How much grain a bin holds per layer, and in the cone on top: for judging a covered entrapment."""

import math

from protocol.errors import EstimateError
from protocol.estimates.grain import SOURCE, Grain
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.units import Unit


def cylinder_m3(diameter_m: float, depth_m: float) -> float:
    """Volume of a layer over the whole floor (m3)."""
    return math.pi * diameter_m**2 / 4 * depth_m


def cone_m3(diameter_m: float, height_m: float) -> float:
    """Volume of a cone (m3); the short form D^2 x 0.262 x h is this."""
    return cylinder_m3(diameter_m, height_m) / 3


def cone_height_m(diameter_m: float, angle_deg: float) -> float:
    """Height of a cone over the whole floor at an angle of repose (m)."""
    return diameter_m / 2 * math.tan(math.radians(angle_deg))


def grain_in_bin(grain: Grain, diameter_m: Span, depth_m: Span, *, peaked: bool) -> Estimate:
    """Grain in a bin (m3): depth at the wall, and a cone on top when it was filled to a peak.

    Raises:
        EstimateError: for a bin that cannot be.
    """
    if diameter_m.low < 1 or diameter_m.high > 60 or depth_m.low < 0 or depth_m.high > 80:
        raise EstimateError("Give a bin 1 to 60 m across and a depth of 0 to 80 m.")

    def volume(diameter: float, depth: float, angle: float) -> float:
        peak = cone_m3(diameter, cone_height_m(diameter, angle)) if peaked else 0.0
        return cylinder_m3(diameter, depth) + peak

    span = spread(volume, diameter=diameter_m, depth=depth_m, angle=grain.repose_piling_deg)
    return Estimate(
        span.value,
        max(0.0, span.low),
        span.high,
        Unit.CUBIC_METRE,
        "cylinder" + (" and cone at the piling angle" if peaked else ""),
        f"plane geometry; {SOURCE}",
        "{amount} in the bin",
        inputs=(
            Given.span("bin diameter", diameter_m, "m"),
            Given.span("depth at the wall", depth_m, "m"),
            Given("peaked", str(peaked)),
        ),
    )
