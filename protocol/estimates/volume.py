"""Grain left inside the ring between two levels: volume, mass and vacuum canisters, with the body taken out.

Volume = floor area x height - the part of the body between the two levels. Errors of stature, mass, segment model,
arms, floor area and each called level are taken as independent and combined by `spread`.
"""

import math
from dataclasses import dataclass

from protocol.errors import EstimateError
from protocol.estimates.body import (
    BODY_MODEL_FACTOR,
    MARK_CALL_M,
    SOURCE,
    Level,
    Mark,
    Person,
    body_volume_below_m3,
    level_fraction,
    level_name,
)
from protocol.estimates.grain import Grain
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.estimates.ring import Ring, ring_area
from protocol.estimates.wording import count_range
from protocol.units import GALLON_M3, System, Unit

NO_HEIGHT = 1e-9
"""Two levels closer than this part of the stature are one level."""
FILL = Span(0.9, 0.75, 1.0)
"""How full a canister is when it is emptied: common practice, no source."""


@dataclass(frozen=True, slots=True)
class GrainRemaining:
    """What is still to come out before the grain stands at the lower level."""

    volume: Estimate
    """m3."""
    mass: Estimate
    """kg."""
    canisters: Estimate
    """Canisters to carry out, the last one perhaps not full."""

    def spoken(self, units: System = "us") -> str:
        """Volume, then canisters, in one breath."""
        if self.volume.value <= 0:
            return self.volume.spoken(units)
        return f"{self.volume.spoken(units)} {self.canisters_spoken()}."

    def canisters_spoken(self) -> str:
        """Whole canisters, as a range."""
        if self.volume.value <= 0:
            return "No canister"
        low, high = (max(1, math.ceil(end)) for end in (self.canisters.low, self.canisters.high))
        return count_range(low, high, self.canisters.noun).capitalize()


def net_volume_m3(person: Person, area_m2: float, level_from: Level, level_to: Level) -> float:
    """Grain between two levels (m3) for the middle values of the person; nothing when already at or below."""
    middle = (person.height_m.value, person.mass_kg.value, person.arms_in.value)
    return _net(*middle, area_m2, 0.0, 0.0, 1.0, (level_from, level_to))


def grain_volume(person: Person, ring: Ring, level_from: Level, level_to: Level = Mark.KNEES) -> Estimate:
    """Grain inside the ring between two levels (m3).

    Raises:
        EstimateError: if the ring has no room for the person.
    """
    area = ring_area(ring)

    def volume(
        height: float, mass: float, arms: float, floor: float, above: float, below: float, model: float
    ) -> float:
        return _net(height, mass, arms, floor, above, below, model, (level_from, level_to))

    error = Span.about(0.0, MARK_CALL_M)
    span = spread(
        volume,
        height=person.height_m,
        mass=person.mass_kg,
        arms=person.arms_in,
        floor=area.span,
        above=error,
        below=error if isinstance(level_to, Mark) and level_to is not Mark.FEET else Span.exact(0.0),
        model=BODY_MODEL_FACTOR,
    )
    return Estimate(
        span.value,
        max(0.0, span.low),
        max(0.0, span.high),
        Unit.CUBIC_METRE,
        "ring floor area x height between the levels, less the body between them",
        f"plane geometry; {SOURCE}",
        "{amount} left to " + level_name(level_to),
        inputs=(
            *person.given,
            Given.span("floor area", area.span, "m2"),
            Given("level now", str(level_from)),
            Given("level wanted", str(level_to)),
        ),
        cautions=("Clothes and boots are not counted.", "Holds only while no grain comes in."),
    )


def grain_remaining(
    person: Person,
    ring: Ring,
    grain: Grain,
    level_from: Level,
    level_to: Level = Mark.KNEES,
    canister: float = 16.0,
) -> GrainRemaining:
    """Grain to take out of the ring until its level has gone from one mark to another.

    Args:
        person: who is inside the ring.
        ring: the panels.
        grain: row of the grain table; sets the mass only.
        level_from: mark called now, or height above the soles in metres.
        level_to: mark wanted.
        canister: size of the vacuum canister, US gallons.

    Raises:
        EstimateError: if the ring has no room for the person or the canister no size.
    """
    if not 0.5 <= canister <= 1000:
        raise EstimateError(f"A canister of {canister:g} gallons cannot be: give 0.5 to 1000.")
    volume = grain_volume(person, ring, level_from, level_to)
    return GrainRemaining(volume, grain_mass(volume, grain), canisters_for(volume, canister))


def grain_mass(volume: Estimate, grain: Grain) -> Estimate:
    """Mass of a volume of grain (kg)."""
    span = spread(lambda room, density: room * density, room=volume.span, density=grain.density_kg_m3)
    return Estimate(
        span.value,
        max(0.0, span.low),
        span.high,
        Unit.KILOGRAM,
        "volume x bulk density",
        "bulk density from USDA test weight",
        f"{{amount}} of {grain.spoken_name}",
        inputs=(*volume.inputs, Given.span("bulk density", grain.density_kg_m3, "kg/m3")),
    )


def canisters_for(volume: Estimate, canister_gal: float) -> Estimate:
    """How many canisters hold a volume, filled as crews fill them."""
    full = canister_gal * GALLON_M3
    span = spread(lambda room, fill: room / (fill * full), room=volume.span, fill=FILL)
    return Estimate(
        span.value,
        max(0.0, span.low),
        span.high,
        Unit.COUNT,
        "volume / (canister size x fill)",
        "US gallon 231 in3; fill 75 to 100 %: common practice, no source",
        "{amount}",
        inputs=(*volume.inputs, Given("canister", canister_gal, "gal"), Given.span("fill", FILL, "")),
        noun=("canister", "canisters"),
    )


def _net(
    height: float, mass: float, arms: float, floor: float, above: float, below: float, model: float,
    levels: tuple[Level, Level],
) -> float:  # fmt: skip
    upper = level_fraction(levels[0], height) + above / height
    lower = level_fraction(levels[1], height) + below / height
    if upper - lower <= NO_HEIGHT:
        return 0.0
    body = body_volume_below_m3(upper, mass, arms) - body_volume_below_m3(lower, mass, arms)
    room = floor * (upper - lower) * height - model * body
    if room <= 0:
        raise EstimateError("The ring has no room for this person: check the panel widths and the person's size.")
    return room
