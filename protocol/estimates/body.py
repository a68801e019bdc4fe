"""The person in the grain: heights of marks, and how much room the body takes below any height.

Heights as fractions of stature: Drillis & Contini 1966, as in Winter, Biomechanics and Motor Control, 4th ed. Fig. 4.1
(from memory; shoulder and eye agree within .004 with US male medians in Huston 2009). Waist: Huston 2009, male .626,
female .609. Ribs: half way between waist and chest; common practice, no source.
Mass fractions: Dempster as given by Winter; densities: Winter 2005. Upper arm .028, forearm .016, hand .006 (sum .050)
split the arm (from memory). Foot and shank share the combined density 1.09 kg/L.
Clothes and boots are not counted.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from protocol.errors import EstimateError
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.units import Unit


class Mark(StrEnum):
    """Where on a standing person the grain comes to, lowest first."""

    FEET = "feet"
    KNEES = "knees"
    HIPS = "hips"
    WAIST = "waist"
    RIBS = "ribs"
    CHEST = "chest"
    SHOULDERS = "shoulders"
    CHIN = "chin"
    HEAD = "head"


class Arms(StrEnum):
    """Whether the arms are in the grain with the body or held up out of it."""

    UP = "up"
    DOWN = "down"
    UNKNOWN = "unknown"


Level = Mark | float
"""A mark on the person, or a height above the soles in metres."""

MARK_FRACTIONS: Mapping[Mark, float] = MappingProxyType({
    Mark.FEET: 0.0, Mark.KNEES: 0.285, Mark.HIPS: 0.530, Mark.WAIST: 0.626, Mark.RIBS: 0.673,
    Mark.CHEST: 0.720, Mark.SHOULDERS: 0.818, Mark.CHIN: 0.870, Mark.HEAD: 1.0,
})  # fmt: skip

OTHER_FRACTIONS: Mapping[str, float] = MappingProxyType({
    "ankle": 0.039, "fingertip": 0.377, "wrist": 0.485, "elbow": 0.630, "eye": 0.936,
})  # fmt: skip

MARK_CALL_M = 0.05
"""A called mark is taken to be right within 5 cm, nine times in ten: common practice, no source."""

BODY_MODEL_FACTOR = Span(1.0, 0.9, 1.1)
"""Published segment tables (de Leva 1996, Plagenhoef 1983) put the body below a mark up to a tenth either way."""

SOURCE = "Drillis & Contini 1966 heights; Dempster/Winter segment masses and densities"


@dataclass(frozen=True, slots=True)
class Segment:
    """A part of the body, spread evenly between two heights."""

    name: str
    mass_fraction: float
    """Both sides together."""
    density_kg_l: float
    bottom: float
    """Fraction of stature."""
    top: float


CORE_SEGMENTS = (
    Segment("feet", 2 * 0.0145, 1.09, 0.0, 0.039),
    Segment("shanks", 2 * 0.0465, 1.09, 0.039, 0.285),
    Segment("thighs", 2 * 0.100, 1.05, 0.285, 0.530),
    Segment("trunk", 0.497, 1.03, 0.530, 0.818),
    Segment("head and neck", 0.081, 1.11, 0.818, 1.0),
)
ARM_SEGMENTS = (
    Segment("upper arms", 2 * 0.028, 1.11, 0.630, 0.818),
    Segment("forearms", 2 * 0.016, 1.11, 0.485, 0.630),
    Segment("hands", 2 * 0.006, 1.11, 0.377, 0.485),
)
_ARM_SPANS: Mapping[Arms, Span] = MappingProxyType({
    Arms.UP: Span.exact(0.0), Arms.DOWN: Span.exact(1.0), Arms.UNKNOWN: Span(0.0, 0.0, 1.0),
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Person:
    """The person held, as far as is known."""

    height_m: Span
    mass_kg: Span
    arms: Arms = Arms.UNKNOWN

    def __post_init__(self) -> None:
        if not (self.height_m.low >= 0.5 and self.height_m.high <= 2.5):
            raise EstimateError(f"A person of {self.height_m.value:g} m cannot be: give a height from 0.5 to 2.5 m.")
        if not (self.mass_kg.low >= 8.0 and self.mass_kg.high <= 300.0):
            raise EstimateError(f"A person of {self.mass_kg.value:g} kg cannot be: give a mass from 8 to 300 kg.")

    @property
    def arms_in(self) -> Span:
        """Share of the arms that is in the grain: unknown counts as up, which leaves more grain."""
        return _ARM_SPANS[self.arms]

    @property
    def given(self) -> tuple[Given, ...]:
        """The person as inputs of an estimate."""
        return (
            Given.span("stature", self.height_m, "m"),
            Given.span("body mass", self.mass_kg, "kg"),
            Given("arms", self.arms.value),
        )


UNKNOWN_PERSON = Person(Span.between(1.60, 1.90), Span.between(60.0, 110.0))
"""An adult nobody has described yet; the ranges are house assumptions."""


def level_fraction(level: Level, stature_m: float) -> float:
    """A level as a fraction of stature.

    Raises:
        EstimateError: for a height below the soles or more than a metre over the head.
    """
    if isinstance(level, Mark):
        return MARK_FRACTIONS[level]
    if not 0.0 <= level <= stature_m + 1.0:
        raise EstimateError(f"A grain level {level:g} m above the soles cannot be: give 0 to a metre over the head.")
    return level / stature_m


def level_name(level: Level) -> str:
    """How a level is spoken: "the knees"; a measured height has no name of its own."""
    if level is Mark.HEAD:
        return "the top of the head"
    return f"the {level.value}" if isinstance(level, Mark) else "the level measured"


def body_volume_below_m3(fraction: float, mass_kg: float, arms_in: float) -> float:
    """Body volume (m3) below a height given as a fraction of stature; `arms_in` 0 (held up) to 1 (at the sides)."""
    core = sum(_part_below(segment, fraction) for segment in CORE_SEGMENTS)
    arms = sum(_part_below(segment, fraction) for segment in ARM_SEGMENTS)
    return mass_kg * (core + arms_in * arms) * 1e-3


def body_displacement(person: Person, level: Level) -> Estimate:
    """How much room the body takes below a level (m3), standing upright."""
    volume = spread(
        lambda height, mass, arms, model: model * body_volume_below_m3(level_fraction(level, height), mass, arms),
        height=person.height_m,
        mass=person.mass_kg,
        arms=person.arms_in,
        model=BODY_MODEL_FACTOR,
    )
    return Estimate(
        volume.value,
        volume.low,
        volume.high,
        Unit.CUBIC_METRE,
        "segments of the body, each spread evenly along its length, added up below the level",
        SOURCE,
        "{amount} of body below " + level_name(level),
        inputs=(*person.given, Given("level", str(level))),
        cautions=("Clothes and boots are not counted.",),
    )


def whole_body_density_kg_l(stature_m: float, mass_kg: float) -> float:
    """Density of the whole body: 0.69 + 0.9 c with c = h / w^(1/3) (m, kg). Drillis & Contini 1966 in Winter, p. 84."""
    return 0.69 + 0.9 * stature_m / math.cbrt(mass_kg)


def nearest_mark(height_m: float, stature_m: float) -> Mark:
    """The mark a height above the soles comes nearest to."""
    return min(MARK_FRACTIONS, key=lambda mark: abs(MARK_FRACTIONS[mark] - height_m / stature_m))


def _part_below(segment: Segment, fraction: float) -> float:
    share = (fraction - segment.bottom) / (segment.top - segment.bottom)
    return segment.mass_fraction / segment.density_kg_l * min(1.0, max(0.0, share))
