"""The arithmetic under the leak test: the balance of each reading, the covariance of its errors, the likelihood ratio.

Vectors are whitened by the Cholesky factor of the covariance, after which every sum of squares is a likelihood.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import mul

from protocol.estimates.body import Mark
from protocol.estimates.crewlog import DOUBLE_CALL, MISSED_CALL, NINETY, CrewLog, Job, LevelReading, Sight
from protocol.estimates.result import Span
from protocol.estimates.ring import ring_area
from protocol.estimates.volume import FILL, net_volume_m3

FILL_CREW_SD = 0.05
FILL_EACH_SD = 0.06
SCALE_SD = 0.03
"""Floor area and body together, of a person whose size is known."""
MID_SD = 0.29
"""Part of a canister already in the drum when a mark is called mid-way: even chances from empty to full."""
_OFFSET_SD_M3 = 1.0
"""The error of the first reading is left free."""

Vector = list[float]


@dataclass(frozen=True, slots=True)
class Balance:
    """Readings as a balance: what should have gone less what the level shows gone (m3), whitened."""

    times_s: tuple[float, ...]
    counts: tuple[float, ...]
    each_m3: float
    """Expected volume of a called canister."""
    factor: tuple[Vector, ...]
    """Lower Cholesky factor of the covariance of the errors."""
    missing: Vector
    """Whitened balance; positive where grain is missing from the fall of the level."""

    @classmethod
    def of(cls, job: Job, log: CrewLog, levels: Sequence[LevelReading]) -> "Balance":
        """Write the balance of every reading down; nothing leaks before the vacuum starts."""
        each = FILL.value * job.canister_m3
        counts = tuple(_count(log, level) for level in levels)
        profile = job.profile()
        held = [profile.between_m3(level.height_m, 0.0) for level in levels]
        raw = [each * count - (held[0] - now) for count, now in zip(counts, held, strict=True)]
        floors = [profile.floor_m2(level.height_m) for level in levels]
        factor = _cholesky(_covariance(levels, counts, floors, each, _scale_sd(job)))
        times = tuple(max(level.at_s, log.started_s) for level in levels)
        return cls(times, counts, each, factor, _solve(factor, raw))


@dataclass(frozen=True, slots=True)
class Score:
    """How well a steady leak from one moment on explains the readings."""

    since_s: float
    score: float
    """Root of twice the log likelihood ratio against no leak; nothing when the readings speak against it."""
    rate_m3_s: float
    weight: float
    """Information on the rate: one over its variance."""


@dataclass(frozen=True, slots=True)
class _Slip:
    """A counting error that may have happened: one canister more or less in the books from a reading on."""

    index: int
    sign: float
    """Plus one: called twice. Minus one: not called. Nothing: no error."""
    log_chance: float


def leak_scores(balance: Balance) -> list[Score]:
    """Score a leak opening at each reading before the last; the readings must not all be of one moment."""
    slips = _slips(balance)
    steps = _steps(balance)
    gains = [_dot(step, balance.missing) for step in steps]
    sizes = [_dot(step, step) for step in steps]
    tight = [slip.log_chance + slip.sign * gains[slip.index] - 0.5 * slip.sign**2 * sizes[slip.index] for slip in slips]
    base = _log_sum(tight)
    return [
        _score(balance, since, steps, slips, tight, base) for since in balance.times_s if since < balance.times_s[-1]
    ]


def _score(
    balance: Balance,
    since_s: float,
    steps: Sequence[Vector],
    slips: Sequence[_Slip],
    tight: Sequence[float],
    base: float,
) -> Score:
    ramp = _solve(balance.factor, [max(0.0, at_s - since_s) for at_s in balance.times_s])
    weight = _dot(ramp, ramp)
    root = math.sqrt(weight)
    fit = _dot(ramp, balance.missing) / root
    turns = [_dot(ramp, step) / root for step in steps]
    fits = [fit - slip.sign * turns[slip.index] for slip in slips]
    leaky = [level + 0.5 * max(0.0, one) ** 2 for level, one in zip(tight, fits, strict=True)]
    likeliest = max(range(len(leaky)), key=leaky.__getitem__)
    ratio = max(0.0, 2 * (_log_sum(leaky) - base))
    return Score(since_s, math.sqrt(ratio), fits[likeliest] / root, weight)


def _steps(balance: Balance) -> list[Vector]:
    """One canister too many in the books from each reading on, whitened."""
    size = len(balance.counts)
    return [
        _solve(balance.factor, [0.0] * index + [balance.each_m3] * (size - index)) for index in range(size)
    ]  # fmt: skip


def _slips(balance: Balance) -> list[_Slip]:
    calls = balance.counts[-1]
    slips = [_Slip(0, 0.0, math.log(max(0.1, 1 - calls * (MISSED_CALL + DOUBLE_CALL))))]
    for index in range(1, len(balance.counts)):
        called = balance.counts[index] - balance.counts[index - 1]
        slips.append(_Slip(index, -1.0, math.log(MISSED_CALL * max(1.0, calls) / len(balance.counts))))
        if called > 0:
            slips.append(_Slip(index, 1.0, math.log(DOUBLE_CALL * called)))
    return slips


def _count(log: CrewLog, level: LevelReading) -> float:
    called = log.count_at(level.at_s)
    middle = level.sight is Sight.MARK and level.at_s > log.started_s
    return called + 0.5 * middle


def _covariance(
    levels: Sequence[LevelReading], counts: Sequence[float], floors: Sequence[float], each: float, scale_sd: float
) -> list[Vector]:
    crew_var = FILL_CREW_SD**2 + scale_sd**2
    matrix = []
    surfaces = _surfaces(levels)
    for row, (level, count, floor) in enumerate(zip(levels, counts, floors, strict=True)):
        line = []
        for column in range(row + 1):
            both = FILL_EACH_SD**2 * min(count, counts[column]) + crew_var * count * counts[column]
            value = _OFFSET_SD_M3**2 + each**2 * both
            if surfaces[row] == surfaces[column]:
                value += level.surface_sd_m * floor * levels[column].surface_sd_m * floors[column]
            line.append(value)
        line[row] += (level.reading_sd_m * floor) ** 2
        line[row] += (MID_SD * each) ** 2 if count % 1 else 0.0
        matrix.append(line)
    return matrix


def _scale_sd(job: Job) -> float:
    """Floor and body together, and what an unmeasured person's mass adds to it."""
    area_m2 = ring_area(job.ring).value
    ends = (job.person.mass_kg.low, job.person.mass_kg.high)
    light, heavy = (
        net_volume_m3(replace(job.person, mass_kg=Span.exact(mass)), area_m2, Mark.CHEST, Mark.KNEES) for mass in ends
    )
    return math.hypot(SCALE_SD, (light - heavy) / (light + heavy) / NINETY)


def _surfaces(levels: Sequence[LevelReading]) -> list[int]:
    """A number for each surface: a new one whenever the vacuum has run."""
    numbers: list[int] = []
    for level in levels:
        numbers.append(numbers[-1] if numbers and level.undisturbed else len(numbers))
    return numbers


def _cholesky(lower: list[Vector]) -> tuple[Vector, ...]:
    factor: list[Vector] = []
    for row, line in enumerate(lower):
        made: Vector = []
        for column in range(row):
            left = line[column] - _dot(made, factor[column][:column])
            made.append(left / factor[column][column])
        made.append(math.sqrt(max(1e-18, line[row] - _dot(made, made))))
        factor.append(made)
    return tuple(factor)


def _solve(factor: Sequence[Vector], vector: Sequence[float]) -> Vector:
    made: Vector = []
    for line, value in zip(factor, vector, strict=True):
        made.append((value - _dot(line[:-1], made)) / line[-1])
    return made


def _dot(one: Sequence[float], other: Sequence[float]) -> float:
    return math.fsum(map(mul, one, other))


def _log_sum(logs: Sequence[float]) -> float:
    top = max(logs)
    return top + math.log(sum(math.exp(one - top) for one in logs))
