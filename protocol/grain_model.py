"""Simulated grain for a drill without any: what is inside the ring, outside it, in the drum and carried away.

A plain balance of volumes: nothing appears or is lost. The surface inside is level; the vacuum takes grain at the
operator's rate until the drum is full, and stands still until somebody calls and empties it; a leak lets grain in at
its own rate as long as the grain outside stands higher. Rates are the scenario's, not measurements.
"""

from dataclasses import dataclass, replace

from protocol.errors import TableError
from protocol.estimates.body import MARK_FRACTIONS, Mark, body_volume_below_m3
from protocol.marks import MARKS

STEP_S = 0.25
"""Longest stretch that is worked out at once."""
EXACT = 1e-9


@dataclass(frozen=True, slots=True)
class Setting:
    """What does not change."""

    area_m2: float
    """Floor inside the ring."""
    outside_area_m2: float
    """Floor outside the ring from which grain can run in."""
    stature_m: float
    body_kg: float
    drum_m3: float
    """Grain in a drum that is called full."""
    take_m3_s: float
    """The operator's rate."""
    leak_m3_s: float = 0.0
    """What runs in while the ring leaks."""


@dataclass(frozen=True, slots=True)
class Grain:
    """Volumes in m3 at one moment."""

    setting: Setting
    inside_m3: float
    """Inside the ring, above the soles."""
    outside_m3: float
    in_drum_m3: float = 0.0
    carried_m3: float = 0.0
    drums: int = 0
    """Emptied so far."""

    @property
    def total_m3(self) -> float:
        """All of it; never changes."""
        return self.inside_m3 + self.outside_m3 + self.in_drum_m3 + self.carried_m3

    @property
    def drum_is_full(self) -> bool:
        """Whether the vacuum stands still until the drum is emptied."""
        return self.in_drum_m3 >= self.setting.drum_m3 - EXACT

    @property
    def height_m(self) -> float:
        """Surface inside the ring above the soles."""
        return height_of(self.setting, self.inside_m3)

    @property
    def outside_height_m(self) -> float:
        """Surface outside the ring above the soles."""
        return self.outside_m3 / self.setting.outside_area_m2

    @property
    def mark(self) -> str:
        """The lowest mark that the surface has come down to; "head" above the chin."""
        fraction = self.height_m / self.setting.stature_m
        reached = [mark for mark in MARKS if fraction <= MARK_FRACTIONS[Mark(mark)] + EXACT]
        return reached[0] if reached else Mark.HEAD.value


def grain_at(setting: Setting, mark: str, outside_higher_m: float) -> Grain:
    """The start: the surface inside at a mark, and so much higher outside.

    Raises:
        TableError: if the body leaves no room in the ring.
    """
    height_m = MARK_FRACTIONS[Mark(mark)] * setting.stature_m
    inside = volume_below(setting, height_m)
    if inside <= 0 or volume_below(setting, height_m) < volume_below(setting, height_m / 2):
        raise TableError("That ring has no room for that person: more panels, or a smaller person.")
    return Grain(setting, inside, (height_m + outside_higher_m) * setting.outside_area_m2)


def volume_below(setting: Setting, height_m: float) -> float:
    """Grain inside the ring below a surface at `height_m`, the body taken out (m3)."""
    body = body_volume_below_m3(height_m / setting.stature_m, setting.body_kg, 0.0)
    return setting.area_m2 * height_m - body


def height_of(setting: Setting, inside_m3: float) -> float:
    """The surface that so much grain makes (m): the inverse of `volume_below`."""
    low, high = 0.0, 3 * setting.stature_m
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if volume_below(setting, middle) < inside_m3 else (low, middle)
    return (low + high) / 2


def passed(grain: Grain, seconds: float, *, vacuum: bool, leaking: bool) -> Grain:
    """The grain `seconds` later.

    Args:
        grain: now.
        seconds: how long.
        vacuum: whether the operator works.
        leaking: whether the ring leaks.
    """
    while seconds > 0:
        step_s = min(STEP_S, seconds)
        grain = _stretch(grain, step_s, vacuum=vacuum, leaking=leaking)
        seconds -= step_s
    return grain


def _stretch(grain: Grain, step_s: float, *, vacuum: bool, leaking: bool) -> Grain:
    setting = grain.setting
    taken = min(setting.take_m3_s * step_s, setting.drum_m3 - grain.in_drum_m3, grain.inside_m3) if vacuum else 0.0
    higher = leaking and grain.outside_height_m > grain.height_m
    ran_in = min(setting.leak_m3_s * step_s, grain.outside_m3) if higher else 0.0
    return replace(
        grain,
        inside_m3=grain.inside_m3 - taken + ran_in,
        outside_m3=grain.outside_m3 - ran_in,
        in_drum_m3=grain.in_drum_m3 + taken,
    )


def emptied(grain: Grain) -> Grain:
    """The drum is carried out and back."""
    return replace(
        grain, in_drum_m3=0.0, carried_m3=grain.carried_m3 + grain.in_drum_m3, drums=grain.drums + 1
    )
