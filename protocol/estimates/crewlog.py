"""What the crew called out: canisters and grain levels with their times, and how far each call can be trusted.

Two ways of reading the level are known here:

* MARK: "grain at waist". Right within 5 cm nine times in ten (sd 3 cm); called while the vacuum runs.
* TAPE: from the rim of a panel down to the grain, at each corner, with the vacuum stopped. Two errors: the surface is
  uneven (sd 1.5 cm for the mean of four corners), the same error for every reading until the vacuum starts again; and
  the reading itself (sd 0.3 cm for the mean of four, 0.6 cm each corner).

All four figures are assumptions: no measurement of any of them was found.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from protocol.errors import EstimateError
from protocol.estimates.body import MARK_CALL_M, MARK_FRACTIONS, Level, Mark, Person
from protocol.estimates.ring import Ring, ring_area
from protocol.estimates.volume import net_volume_m3
from protocol.units import GALLON_M3

NINETY = 1.6448536269514722
"""Standard deviations from the middle to the end of a ninety per cent range."""
MARK_SD_M = MARK_CALL_M / NINETY
SURFACE_SD_M = 0.015
CORNER_SD_M = 0.006
MISSED_CALL = 0.02
"""Chance that a canister goes out and is not called: assumption, no source."""
DOUBLE_CALL = 0.005
"""Chance that one canister is called twice: assumption, no source."""


class Sight(StrEnum):
    """How a level was read."""

    MARK = "mark"
    TAPE = "tape"


@dataclass(frozen=True, slots=True)
class LevelReading:
    """One level as called."""

    at_s: float
    height_m: float
    """Above the soles of the person."""
    sight: Sight
    corners_m: tuple[float, ...] = ()
    """Height at each corner, in a fixed order, when read by tape."""
    undisturbed: bool = False
    """The vacuum has not run since the reading before: whatever rose in between came in."""

    @classmethod
    def of_mark(cls, mark: Mark, at_s: float, person: Person) -> "LevelReading":
        """A mark called on the person."""
        return cls(at_s, MARK_FRACTIONS[mark] * person.height_m.value, Sight.MARK)

    @classmethod
    def of_corners(cls, corners_m: tuple[float, ...], at_s: float, *, undisturbed: bool = False) -> "LevelReading":
        """Heights above the soles at the corners of the ring, vacuum stopped."""
        if not corners_m:
            raise EstimateError("A tape reading needs the level at one corner at least.")
        return cls(at_s, sum(corners_m) / len(corners_m), Sight.TAPE, corners_m, undisturbed)

    @property
    def reading_sd_m(self) -> float:
        """Error of this reading alone."""
        if self.sight is Sight.MARK:
            return MARK_SD_M
        return CORNER_SD_M / math.sqrt(max(1, len(self.corners_m)))

    @property
    def surface_sd_m(self) -> float:
        """Error shared by readings of one undisturbed surface; the corners of a single reading share less of it."""
        return 0.0 if self.sight is Sight.MARK else SURFACE_SD_M * math.sqrt(4 / max(1, len(self.corners_m)))


@dataclass(frozen=True, slots=True)
class Job:
    """What is being emptied and with what."""

    person: Person
    ring: Ring
    target: Level = Mark.KNEES
    canister_gal: float = 16.0

    def __post_init__(self) -> None:
        if not 0.5 <= self.canister_gal <= 1000:
            raise EstimateError(f"A canister of {self.canister_gal:g} gallons cannot be: give 0.5 to 1000.")

    @property
    def canister_m3(self) -> float:
        """Size of a canister, brim full."""
        return self.canister_gal * GALLON_M3

    @property
    def target_m(self) -> float:
        """Height of the target above the soles."""
        if isinstance(self.target, Mark):
            return MARK_FRACTIONS[self.target] * self.person.height_m.value
        return self.target

    def profile(self) -> "Profile":
        """Grain against height, by the nominal sizes."""
        return Profile(self.person, ring_area(self.ring).value)


@dataclass(frozen=True, slots=True)
class Profile:
    """Grain against height inside the ring, by the nominal sizes of ring and person."""

    person: Person
    area_m2: float

    def between_m3(self, high_m: float, low_m: float) -> float:
        """Grain between two heights above the soles; nothing when the first is the lower."""
        return net_volume_m3(self.person, self.area_m2, high_m, low_m)

    def floor_m2(self, height_m: float) -> float:
        """Free floor area round the body at a height: grain per metre of level."""
        low = max(0.0, height_m - 0.01)
        return self.between_m3(low + 0.02, low) / 0.02


@dataclass(frozen=True, slots=True)
class CrewLog:
    """Calls so far, oldest first, on one clock; for the removal rate, time on hold is taken out (`working_s`)."""

    started_s: float
    """Vacuum first started."""
    canisters_s: tuple[float, ...] = ()
    """When each canister was called out."""
    levels: tuple[LevelReading, ...] = ()

    def __post_init__(self) -> None:
        for times in (self.canisters_s, tuple(level.at_s for level in self.levels)):
            if list(times) != sorted(times):
                raise EstimateError("Calls must be in order of time.")
        if self.canisters_s and self.canisters_s[0] <= self.started_s:
            raise EstimateError("A canister cannot be full before the vacuum started.")

    def count_at(self, at_s: float) -> int:
        """Canisters called up to and including a moment."""
        return sum(called <= at_s for called in self.canisters_s)


def working_s(at_ms: int, holds_ms: Iterable[tuple[int, int]]) -> float:
    """Seconds of work up to `at_ms`, time on hold taken out; `holds_ms` are (from, to) pairs that do not overlap."""
    held = sum(max(0, min(at_ms, end) - start) for start, end in holds_ms)
    return (at_ms - held) / 1000
