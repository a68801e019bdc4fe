"""Noise dose of rescuers by both published criteria.

OSHA 29 CFR 1910.95: T = 8 / 2^((L - 90)/5) hours, counted from 80 dBA (hearing conservation), nothing over 115 dBA.
NIOSH 98-126: T = 480 / 2^((L - 85)/3) minutes. Levels without ear protection; a site meter is right within 2 dB
(type 2 instrument, from memory). Noise inside steel bins: nothing published was found, so measure.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from protocol.errors import EstimateError
from protocol.estimates.result import Estimate, Given, Span
from protocol.units import System, Unit

METER_DOUBT_DB = 2.0
OSHA_CEILING_DBA = 115.0
OSHA_FROM_DBA = 80.0
NIOSH_FROM_DBA = 80.0


class Criterion(StrEnum):
    """Which rule."""

    OSHA = "OSHA"
    NIOSH = "NIOSH"


@dataclass(frozen=True, slots=True)
class Exposure:
    """Time spent at one level."""

    level_dba: float
    seconds: float

    def __post_init__(self) -> None:
        if not 0 <= self.level_dba <= 160 or self.seconds < 0:
            raise EstimateError("Give a level of 0 to 160 dBA and a time that is not negative.")


@dataclass(frozen=True, slots=True)
class NoiseLeft:
    """How long a rescuer may still stay at a level, by both rules."""

    osha: Estimate
    niosh: Estimate

    def spoken(self, units: System = "us") -> str:
        """The shorter first."""
        first, second = sorted((self.niosh, self.osha), key=lambda one: one.value)
        return f"{first.spoken(units)} {second.spoken(units)}"


def allowed_s(level_dba: float, criterion: Criterion) -> float:
    """Time allowed at a steady level (s)."""
    if criterion is Criterion.OSHA:
        return 0.0 if level_dba > OSHA_CEILING_DBA else 8 * 3600 / 2 ** ((level_dba - 90) / 5)
    return 480 * 60 / 2 ** ((level_dba - 85) / 3)


def dose_pct(exposures: Iterable[Exposure], criterion: Criterion, shift_db: float = 0.0) -> float:
    """Dose so far in percent; 100 is the day's whole allowance. Over 115 dBA the OSHA dose is full at once."""
    start = OSHA_FROM_DBA if criterion is Criterion.OSHA else NIOSH_FROM_DBA
    total = 0.0
    for one in exposures:
        level = one.level_dba + shift_db
        if one.seconds > 0 and level >= start:
            allowed = allowed_s(level, criterion)
            total += 100 * one.seconds / allowed if allowed > 0 else 100.0
    return total


def noise_dose(exposures: tuple[Exposure, ...], criterion: Criterion) -> Estimate:
    """Dose so far (percent of a day's allowance)."""
    return Estimate(
        dose_pct(exposures, criterion),
        dose_pct(exposures, criterion, -METER_DOUBT_DB),
        dose_pct(exposures, criterion, METER_DOUBT_DB),
        Unit.PERCENT,
        "sum of time / time allowed at each level",
        _source(criterion),
        f"{{amount}} of the day's noise by {criterion.value}",
        inputs=tuple(Given(f"{one.level_dba:g} dBA", one.seconds, "s") for one in exposures),
        cautions=("Levels without ear protection.",),
    )


def noise_left(exposures: tuple[Exposure, ...], level_dba: float) -> NoiseLeft:
    """Time left at a level after what was already taken, by both rules."""
    Exposure(level_dba, 0.0)
    return NoiseLeft(*(_left(exposures, level_dba, criterion) for criterion in (Criterion.OSHA, Criterion.NIOSH)))


def _left(exposures: tuple[Exposure, ...], level_dba: float, criterion: Criterion) -> Estimate:
    def seconds(shift_db: float) -> float:
        share = max(0.0, 1 - dose_pct(exposures, criterion, shift_db) / 100)
        return share * allowed_s(level_dba + shift_db, criterion)

    span = Span(seconds(0.0), seconds(METER_DOUBT_DB), seconds(-METER_DOUBT_DB))
    return Estimate(
        span.value,
        span.low,
        span.high,
        Unit.SECOND,
        "time allowed at the level x share of the dose left",
        _source(criterion),
        f"by {criterion.value}, {{amount}} left in this noise",
        inputs=(
            Given("level", level_dba, "dBA"),
            *(Given(f"{one.level_dba:g} dBA", one.seconds, "s") for one in exposures),
        ),
        cautions=("Levels without ear protection.",),
    )


def _source(criterion: Criterion) -> str:
    return "29 CFR 1910.95 Table G-16 (from memory)" if criterion is Criterion.OSHA else "NIOSH 98-126"
