"""Exact conversions between SI and US customary units, and rounding to what a person can use.

Everything inside is SI; these are used at the edges. The US bushel (2150.42 in3) and gallon (231 in3) are those of
NIST Handbook 44 Appendix C; inch, pound and standard gravity are exact by definition.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Literal, NewType

from protocol.errors import EstimateError

Metres = NewType("Metres", float)
SquareMetres = NewType("SquareMetres", float)
CubicMetres = NewType("CubicMetres", float)
Kilograms = NewType("Kilograms", float)
Newtons = NewType("Newtons", float)
Pascals = NewType("Pascals", float)
Seconds = NewType("Seconds", float)
CubicMetresPerSecond = NewType("CubicMetresPerSecond", float)

System = Literal["us", "metric"]

GRAVITY_M_S2 = 9.80665
INCH_M = 0.0254
FOOT_M = 0.3048
POUND_KG = 0.45359237
POUND_FORCE_N = POUND_KG * GRAVITY_M_S2
PSI_PA = POUND_FORCE_N / INCH_M**2
PSF_PA = POUND_FORCE_N / FOOT_M**2
CUBIC_FOOT_M3 = FOOT_M**3
GALLON_M3 = 231 * INCH_M**3
BUSHEL_M3 = 2150.42 * INCH_M**3
LITRE_M3 = 1e-3
CFM_M3_S = CUBIC_FOOT_M3 / 60
BUSHEL_HOUR_M3_S = BUSHEL_M3 / 3600
POUND_PER_BUSHEL_KG_M3 = POUND_KG / BUSHEL_M3
POUND_PER_CUBIC_FOOT_KG_M3 = POUND_KG / CUBIC_FOOT_M3


class Unit(StrEnum):
    """What an estimate is measured in, always SI or a plain count."""

    METRE = "m"
    SQUARE_METRE = "m2"
    CUBIC_METRE = "m3"
    KILOGRAM = "kg"
    NEWTON = "N"
    PASCAL = "Pa"
    SECOND = "s"
    CUBIC_METRE_PER_SECOND = "m3/s"
    DEGREE = "deg"
    PERCENT = "%"
    PPM = "ppm"
    COUNT = "count"


@dataclass(frozen=True, slots=True)
class Display:
    """One unit that people use."""

    size: float
    """How much SI one of it is."""
    symbol: str
    one: str
    """Spoken, for exactly one: "bushel"."""
    many: str
    step: float
    """The finest step anyone would speak."""


_BUSHEL = Display(BUSHEL_M3, "bu", "bushel", "bushels", 0.5)
_GALLON = Display(GALLON_M3, "gal", "gallon", "gallons", 1.0)
_LITRE = Display(LITRE_M3, "L", "litre", "litres", 1.0)
_CUBIC_METRE = Display(1.0, "m3", "cubic metre", "cubic metres", 0.1)
_SECOND = Display(1.0, "s", "second", "seconds", 1.0)
_MINUTE = Display(60.0, "min", "minute", "minutes", 1.0)
_HOUR = Display(3600.0, "h", "hour", "hours", 0.5)
_TIMES = ((120.0, _SECOND), (7200.0, _MINUTE), (math.inf, _HOUR))
_COUNT = ((math.inf, Display(1.0, "", "", "", 1.0)),)
_PERCENT = ((math.inf, Display(1.0, "%", "percent", "percent", 1.0)),)
_PPM = ((math.inf, Display(1.0, "ppm", "part per million", "parts per million", 100.0)),)
_DEGREE = ((math.inf, Display(1.0, "deg", "degree", "degrees", 1.0)),)

Ladder = tuple[tuple[float, Display], ...]
"""Rungs of (largest SI amount shown this way, unit), smallest unit first."""

DISPLAYS: Mapping[System, Mapping[Unit, Ladder]] = MappingProxyType({
    "us": MappingProxyType({
        Unit.METRE: (
            (3 * FOOT_M, Display(INCH_M, "in", "inch", "inches", 1.0)),
            (math.inf, Display(FOOT_M, "ft", "foot", "feet", 0.5)),
        ),
        Unit.SQUARE_METRE: ((math.inf, Display(FOOT_M**2, "ft2", "square foot", "square feet", 0.5)),),
        Unit.CUBIC_METRE: ((BUSHEL_M3, _GALLON), (math.inf, _BUSHEL)),
        Unit.KILOGRAM: ((math.inf, Display(POUND_KG, "lb", "pound", "pounds", 1.0)),),
        Unit.NEWTON: ((math.inf, Display(POUND_FORCE_N, "lbf", "pound of force", "pounds of force", 10.0)),),
        Unit.PASCAL: (
            (math.inf, Display(PSF_PA, "lb/ft2", "pound per square foot", "pounds per square foot", 1.0)),
        ),
        Unit.SECOND: _TIMES,
        Unit.CUBIC_METRE_PER_SECOND: (
            (100 * BUSHEL_HOUR_M3_S, Display(GALLON_M3 / 60, "gal/min", "gallon a minute", "gallons a minute", 1.0)),
            (math.inf, Display(BUSHEL_HOUR_M3_S, "bu/h", "bushel an hour", "bushels an hour", 1.0)),
        ),
        Unit.DEGREE: _DEGREE,
        Unit.PERCENT: _PERCENT,
        Unit.PPM: _PPM,
        Unit.COUNT: _COUNT,
    }),
    "metric": MappingProxyType({
        Unit.METRE: (
            (1.0, Display(0.01, "cm", "centimetre", "centimetres", 1.0)),
            (math.inf, Display(1.0, "m", "metre", "metres", 0.1)),
        ),
        Unit.SQUARE_METRE: ((math.inf, Display(1.0, "m2", "square metre", "square metres", 0.1)),),
        Unit.CUBIC_METRE: ((1.0, _LITRE), (math.inf, _CUBIC_METRE)),
        Unit.KILOGRAM: ((math.inf, Display(1.0, "kg", "kilogram", "kilograms", 1.0)),),
        Unit.NEWTON: ((math.inf, Display(1.0, "N", "newton", "newtons", 50.0)),),
        Unit.PASCAL: ((math.inf, Display(1000.0, "kPa", "kilopascal", "kilopascals", 0.1)),),
        Unit.SECOND: _TIMES,
        Unit.CUBIC_METRE_PER_SECOND: (
            (1e-3, Display(LITRE_M3 / 60, "L/min", "litre a minute", "litres a minute", 1.0)),
            (math.inf, Display(LITRE_M3, "L/s", "litre a second", "litres a second", 1.0)),
        ),
        Unit.DEGREE: _DEGREE,
        Unit.PERCENT: _PERCENT,
        Unit.PPM: _PPM,
        Unit.COUNT: _COUNT,
    }),
})  # fmt: skip
"""For each unit, how people of either habit show it."""


def display_for(amount: float, unit: Unit, system: System) -> Display:
    """The unit a person would use for `amount` (SI), in 'us' or 'metric'.

    Raises:
        EstimateError: if `system` is neither.
    """
    if system not in DISPLAYS:
        raise EstimateError(f"'{system}' is not a system of units here: use 'us' or 'metric'.")
    return next(shown for largest, shown in DISPLAYS[system][unit] if abs(amount) < largest)


def convert(amount: float, size: float) -> float:
    """How many units of `size` (in SI) make up `amount` (SI): `convert(volume_m3, BUSHEL_M3)`."""
    return amount / size


def useful_step(width: float, finest: float) -> float:
    """The step to round to when a range is `width` wide: about a quarter of it, a 1, 2 or 5, never under `finest`."""
    if width <= 4 * finest:
        return finest
    quarter = width / 4
    decade = 10.0 ** math.floor(math.log10(quarter) + 1e-12)
    return max(finest, next(step * decade for step in (5, 2, 1) if step * decade <= quarter * (1 + 1e-9)))
