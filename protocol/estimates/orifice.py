"""Flow of grain through holes: Beverloo for a hole in a floor, and the measured share of it for a hole in a wall.

W = C rho sqrt(g) (D - k d)^2.5, C 0.55 to 0.65 (0.58 usual, from memory), k 1 to 3 (1.4 usual), d the kernel.
A vertical opening passes 37 to 50 % of the same opening laid flat: Chang, Converse & Steele 1991, Trans. ASAE
34(4):1789-1796, tested on openings of 100 to 400 cm2. Anything larger is an extrapolation and is flagged.
Openings that are not round are scaled by area from a round one of the same hydraulic diameter.
"""

import math
from dataclasses import dataclass

from protocol.errors import EstimateError
from protocol.estimates.grain import Grain
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.units import GRAVITY_M_S2, Unit

BEVERLOO_C = Span(0.58, 0.55, 0.65)
BEVERLOO_K = Span(1.4, 1.0, 3.0)
SIDE_SHARE = Span(0.435, 0.37, 0.50)
TESTED_M2 = (0.01, 0.04)
BEYOND_TESTED = 0.3
"""Beyond the tested size the low end is cut to this share: valve flaps and pile-up outside; assumption, no source."""


@dataclass(frozen=True, slots=True)
class Hole:
    """Shape of an opening."""

    area_m2: float
    hydraulic_m: float
    """Four areas over the girth."""
    name: str

    @classmethod
    def circle(cls, diameter_m: float) -> "Hole":
        """A round hole."""
        _check(diameter_m)
        return cls(math.pi * diameter_m**2 / 4, diameter_m, f"circle {diameter_m:.3f} m across")

    @classmethod
    def semicircle(cls, width_m: float) -> "Hole":
        """A half circle cut in a wall, flat side `width_m` long."""
        _check(width_m)
        area = math.pi * width_m**2 / 8
        return cls(area, 4 * area / (math.pi * width_m / 2 + width_m), f"semicircle {width_m:.3f} m across")

    @classmethod
    def v_cut(cls, width_m: float, height_m: float) -> "Hole":
        """A triangle cut in a wall."""
        _check(width_m)
        _check(height_m)
        area = width_m * height_m / 2
        girth = width_m + 2 * math.hypot(width_m / 2, height_m)
        return cls(area, 4 * area / girth, f"V {width_m:.3f} m wide, {height_m:.3f} m high")

    @property
    def tested(self) -> bool:
        """Whether its size lies within what was tested for walls."""
        return TESTED_M2[0] <= self.area_m2 <= TESTED_M2[1]


def beverloo_kg_s(
    diameter_m: float, density_kg_m3: float, kernel_m: float, constant: float = 0.58, edge: float = 1.4
) -> float:
    """Mass flow through a round hole in a floor (kg/s); nothing when the hole is hardly wider than the kernels."""
    free = diameter_m - edge * kernel_m
    return constant * density_kg_m3 * math.sqrt(GRAVITY_M_S2) * free**2.5 if free > 0 else 0.0


def floor_flow_kg_s(hole: Hole, density_kg_m3: float, kernel_m: float, constant: float, edge: float) -> float:
    """Mass flow through a hole of any shape in a floor (kg/s)."""
    round_area = math.pi * hole.hydraulic_m**2 / 4
    return beverloo_kg_s(hole.hydraulic_m, density_kg_m3, kernel_m, constant, edge) * hole.area_m2 / round_area


def wall_flow(hole: Hole, grain: Grain) -> Estimate:
    """Flow through one opening in a bin wall (m3/s), running freely."""

    def flow(constant: float, edge: float, kernel: float, side: float) -> float:
        return side * floor_flow_kg_s(hole, 1.0, kernel * 1e-3, constant, edge)

    span = spread(flow, constant=BEVERLOO_C, edge=BEVERLOO_K, kernel=grain.kernel_mm, side=SIDE_SHARE)
    low = span.low if hole.tested else span.low * BEYOND_TESTED
    flags = () if hole.tested else ("Larger or smaller than any opening tested (100 to 400 cm2): order of size only.",)
    return Estimate(
        span.value,
        max(0.0, low),
        span.high,
        Unit.CUBIC_METRE_PER_SECOND,
        "Beverloo by hydraulic diameter, times 37 to 50 % for a side opening",
        "Beverloo (constants from memory); Chang, Converse & Steele 1991, Trans. ASAE 34(4):1789-1796",
        "{amount} through each opening",
        inputs=(
            Given("opening", hole.name),
            Given("opening area", hole.area_m2, "m2"),
            Given("hydraulic diameter", hole.hydraulic_m, "m"),
            Given.span("kernel", grain.kernel_mm, "mm"),
        ),
        cautions=(*flags, "Valve flaps and grain piling up outside cut the flow."),
    )


def _check(size_m: float) -> None:
    if not 0.02 <= size_m <= 3.0:
        raise EstimateError(f"An opening {size_m:g} m across cannot be: give 0.02 to 3 m.")


def total_flow(one: Estimate, count: int) -> Span:
    """Flow through several equal openings; their errors are one and the same."""
    return one.span.times(count)
