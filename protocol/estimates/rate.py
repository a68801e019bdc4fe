"""Removal rate and remaining time, learned from called canisters and level marks.

Estimator: two Kalman filters and a quadrature.

* Amount (see `amount`): grain left V, log volume per called canister g, and the error of the mark that placed the rim.
  A call takes exp(g) out of V with noise; a mark observes V; a taped level observes V and the rim's error. The prior
  of g is the canister's size at the usual fill, doubtful by fill, floor area and body. Errors of floor area and body
  cancel from the time, since the level readings measure the same doubtful volume; the height of the person cancels
  only as long as nothing is taped.
* Pace: log of the time per canister, a random walk seen through lognormal noise; an interval far from what was
  expected (a call missed or doubled, a stop nobody called) counts for less.
* Remaining time = cycles left x time per cycle - time already spent on this one, over a grid of quantiles of both,
  kept only where the work is not yet over. Value: median; range: 5th to 95th percentile.

No published rate for this task was found: the prior is three minutes per 16-gallon canister, within a factor of three
nine times in ten, and the noise figures below are assumptions.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from protocol.errors import EstimateError
from protocol.estimates.amount import FILL_EACH_SD, FROM_RIM, LEFT, Amount
from protocol.estimates.body import level_name
from protocol.estimates.crewlog import MARK_SD_M, NINETY, CrewLog, Job, LevelReading, Profile, Sight
from protocol.estimates.result import Estimate, Given
from protocol.estimates.ring import ring_area
from protocol.estimates.volume import FILL, grain_volume
from protocol.units import Unit

CYCLE_S_PER_M3 = 180.0 / 0.0606
"""Prior time: three minutes for 16 gallons."""
CYCLE_PRIOR_SD = math.log(3) / NINETY
CYCLE_EACH_SD = 0.25
"""Log time of one cycle about the crew's pace."""
PACE_DRIFT_SD = 0.08
"""Log pace from one cycle to the next: crews tire and change over."""
PAUSE_SHARE = 1 / 3
"""Of a cycle: carrying out and emptying, the vacuum stopped. The first cycle called has none before it."""
PAUSE_SD = 0.15
"""Doubt of the log of the rest of the cycle."""
_SURPRISE = 2.5


def _normal_points(count: int) -> tuple[float, ...]:
    """Equally likely points of a standard normal, stretched so that their spread is exactly one."""
    points = [NormalDist().inv_cdf((index + 0.5) / count) for index in range(count)]
    spread = math.sqrt(sum(point**2 for point in points) / count)
    return tuple(point / spread for point in points)


_LEFT_POINTS, _EACH_POINTS, _PACE_POINTS = _normal_points(15), _normal_points(9), _normal_points(11)
SOURCE = "Kalman filters on the crew's own calls; noise figures are assumptions"


@dataclass(frozen=True, slots=True)
class Pace:
    """Log seconds per canister."""

    mean: float
    var: float

    def after(self, cycle_s: float, *, first: bool = False) -> "Pace":
        """After one more cycle; the first has only its vacuuming part."""
        var = self.var + PACE_DRIFT_SD**2
        surprise = math.log(cycle_s) - self.mean - (math.log(1 - PAUSE_SHARE) if first else 0.0)
        noise = CYCLE_EACH_SD**2 + (PAUSE_SD**2 if first else 0.0)
        excess = abs(surprise) / math.sqrt(var + noise) / _SURPRISE
        if excess > 1:
            noise = (var + noise) * excess**2 - var
        gain = var / (var + noise)
        return Pace(self.mean + gain * surprise, var * (1 - gain))


def remaining_time(job: Job, log: CrewLog, now_s: float) -> Estimate:
    """Working time (s) until the grain stands at the target level.

    Args:
        job: person, ring, target, canister.
        log: calls so far in seconds of work (holds taken out); the first level reading sets where the work began.
        now_s: the moment asked about, on the same clock.

    Raises:
        EstimateError: when no level has been called, or the target is already reached.
    """
    seen = [level.height_m for level in log.levels if level.at_s <= now_s and level.sight is Sight.MARK]
    if seen and seen[-1] <= job.target_m * (1 + 1e-9):
        raise EstimateError("By the last level called the grain is already there.")
    amount, pace, since = _learn(job, log, now_s)
    times = _possible_times(amount, pace, since, MARK_SD_M * job.profile().floor_m2(job.target_m))
    low, value, high = (times[min(len(times) - 1, round(share * (len(times) - 1)))] for share in (0.05, 0.5, 0.95))
    return Estimate(
        value,
        low,
        high,
        Unit.SECOND,
        "grain left / volume per canister x time per canister, each learned from the calls",
        SOURCE,
        "{amount} to " + level_name(job.target),
        inputs=(
            Given("canisters called", float(log.count_at(now_s))),
            Given("levels called", float(sum(level.at_s <= now_s for level in log.levels))),
            Given("grain left", amount.left_m3, "m3"),
            Given("volume per canister", math.exp(amount.log_each), "m3"),
            Given("time per canister", math.exp(pace.mean), "s"),
        ),
        cautions=("If the work goes on as now. Time on hold is not counted.",),
    )


def removal_rate(job: Job, log: CrewLog, now_s: float) -> Estimate:
    """Rate at which grain leaves the ring (m3/s) as learned so far.

    Raises:
        EstimateError: when no level has been called.
    """
    amount, pace, _ = _learn(job, log, now_s)
    middle = amount.log_each - pace.mean
    half = NINETY * math.sqrt(amount.var_each + pace.var)
    return Estimate(
        math.exp(middle),
        math.exp(middle - half),
        math.exp(middle + half),
        Unit.CUBIC_METRE_PER_SECOND,
        "volume per canister / time per canister, each learned from the calls",
        SOURCE,
        "{amount} coming out",
        inputs=(
            Given("canisters called", float(log.count_at(now_s))),
            Given("volume per canister", math.exp(amount.log_each), "m3"),
            Given("time per canister", math.exp(pace.mean), "s"),
        ),
    )


def _learn(job: Job, log: CrewLog, now_s: float) -> tuple[Amount, Pace, float]:
    """Amount and pace as of the last canister, and the seconds spent since."""
    levels = [level for level in log.levels if level.at_s <= now_s and not level.undisturbed]
    if not levels:
        raise EstimateError("No grain level has been called. Say, grain at, and the mark.")
    gauge = _Gauge.of(job, levels)
    amount = gauge.first(levels[0])
    pace = Pace(math.log(CYCLE_S_PER_M3 * job.canister_m3), CYCLE_PRIOR_SD**2)
    last = log.started_s
    calls: list[tuple[float, LevelReading | None]] = [(called, None) for called in log.canisters_s if called <= now_s]
    calls.extend((level.at_s, level) for level in levels[1:])
    for at_s, level in sorted(calls, key=_when):
        if level is None:
            amount, pace, last = amount.canister(), pace.after(at_s - last, first=last == log.started_s), at_s
        else:
            amount = gauge.see(amount, level, (at_s - last) / math.exp(pace.mean))
    return amount, pace, now_s - last


def _when(call: tuple[float, LevelReading | None]) -> float:
    return call[0]


@dataclass(frozen=True, slots=True)
class _Gauge:
    """What a level says about the grain left."""

    job: Job
    profile: Profile
    rim: LevelReading | None
    """The mark from which the rim of the ring was placed; None while nothing is taped from a mark."""
    first_tape: LevelReading | None

    @classmethod
    def of(cls, job: Job, levels: Sequence[LevelReading]) -> "_Gauge":
        """Find the last mark before the first taped set."""
        tape = next((level for level in levels if level.sight is Sight.TAPE), None)
        before = [level for level in levels if tape is not None and level.at_s <= tape.at_s]
        marks = [level for level in before if level.sight is Sight.MARK]
        return cls(job, job.profile(), marks[-1] if marks else None, tape if marks else None)

    def first(self, level: LevelReading) -> Amount:
        """From the first level called and the usual fill of the canister."""
        job, target_m = self.job, self.job.target_m
        doubt = grain_volume(job.person, job.ring, max(level.height_m, target_m + 0.2), target_m)
        scale = (doubt.high - doubt.low) / (2 * NINETY * doubt.value)
        floor = ring_area(job.ring)
        fill_sd = (FILL.high - FILL.low) / (2 * NINETY * FILL.value)
        log_each = math.log(FILL.value * job.canister_m3) + math.log(floor.value / (0.5 * (floor.low + floor.high)))
        left, sd = self.profile.between_m3(level.height_m, target_m), self._sd_m3(level)
        amount = Amount.first(left, sd**2, log_each, fill_sd**2 + scale**2)
        return amount.rim_from_first(sd) if level is self.rim else amount

    def see(self, amount: Amount, level: LevelReading, cycles_since: float) -> Amount:
        """A level read part way through a canister: what is already in that canister is out of the grain."""
        left = self.profile.between_m3(level.height_m, self.job.target_m)
        if level.sight is Sight.TAPE:
            amount = amount.rim_doubted(self._sd_m3(level)) if level is self.first_tape else amount
            return amount.seen(FROM_RIM if self.rim else LEFT, left, self._sd_m3(level))
        part = min(1.0, max(0.0, (cycles_since - PAUSE_SHARE) / (1 - PAUSE_SHARE)))
        each = math.exp(amount.log_each)
        sd = math.hypot(self._sd_m3(level), 0.2 * each * (part > 0))
        if level is self.rim:
            return amount.rim_from(left + part * each, sd)
        return amount.seen(LEFT, left + part * each, sd)

    def _sd_m3(self, level: LevelReading) -> float:
        """Error of a level as grain; once taped, also that a mark lies elsewhere on a person of another height."""
        sd_m = math.hypot(level.reading_sd_m, level.surface_sd_m)
        if self.rim and level.sight is Sight.MARK:
            height = self.job.person.height_m
            share = (level.height_m - self.job.target_m) / height.value
            sd_m = math.hypot(sd_m, share * (height.high - height.low) / (2 * NINETY))
        return self.profile.floor_m2(level.height_m) * sd_m


def _possible_times(amount: Amount, pace: Pace, since: float, target_sd_m3: float) -> list[float]:
    sd_left = math.sqrt(amount.var_left + target_sd_m3**2)
    slope = amount.cov / (amount.var_left + target_sd_m3**2)
    sd_each = math.sqrt(max(1e-9, amount.var_each - slope * amount.cov))
    times = []
    for z_left in _LEFT_POINTS:
        left = amount.left_m3 + z_left * sd_left
        if left <= 0:
            continue
        for z_each in _EACH_POINTS:
            cycles = left / math.exp(amount.log_each + slope * (left - amount.left_m3) + z_each * sd_each)
            times.extend(_times_for(cycles, pace, since))
    if len(times) < 40:
        raise EstimateError("By the canisters called the grain is already there. Call the level again.")
    return sorted(times)


def _times_for(cycles: float, pace: Pace, since: float) -> list[float]:
    """Times left for so many cycles: the last one, cut short, still has its whole pause."""
    each = CYCLE_EACH_SD**2 + FILL_EACH_SD**2
    sd = math.sqrt(pace.var + each / max(1.0, cycles) + PACE_DRIFT_SD**2 * cycles / 3)
    whole = math.floor(cycles)
    cycles = whole + PAUSE_SHARE + (cycles - whole) * (1 - PAUSE_SHARE)
    times = []
    for z in _PACE_POINTS:
        cycle = math.exp(pace.mean + z * sd)
        spent = min(since, 0.75 * cycle) if cycles >= 1 else since
        left = cycles * cycle - spent
        if left > 0:
            times.append(left)
    return times
