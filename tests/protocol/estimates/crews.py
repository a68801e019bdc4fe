"""Simulated crews: people who vacuum, miscount, misjudge and tire. Used to test the estimators against the truth.

A crew is drawn from the assumptions stated in `protocol.estimates.crewlog` and `.rate`, but works through true sizes
the estimator is never told: true stature, mass, floor area, fill of each canister, pace, marks.
"""

import math
from bisect import bisect_left
from dataclasses import dataclass
from random import Random

from protocol.estimates.body import MARK_FRACTIONS, Arms, Mark, Person
from protocol.estimates.crewlog import CORNER_SD_M, SURFACE_SD_M, CrewLog, Job, LevelReading, Sight
from protocol.estimates.result import Span
from protocol.estimates.ring import Ring
from protocol.estimates.volume import net_volume_m3
from protocol.units import FOOT_M, GALLON_M3

SQUARE = Ring.of(4, 2 * FOOT_M)


@dataclass(frozen=True, slots=True)
class Habits:
    """How careful a crew is."""

    canister_gal: float = 16.0
    fill_mean: float = 0.9
    fill_crew_sd: float = 0.085
    fill_each_sd: float = 0.08
    cycle_s: float = 180.0
    cycle_crew_sd: float = 0.67
    cycle_each_sd: float = 0.25
    drift_sd: float = 0.08
    mark_sd_m: float = 0.03
    missed: float = 0.02
    doubled: float = 0.005
    pause_share: float = 1 / 3
    scale_sd: float = 0.03
    """Floor area and body together."""
    leak_share: float = 0.0
    """Of the crew's removal rate."""
    leak_after: int = 0
    """Canisters before it opens."""


@dataclass(frozen=True, slots=True)
class Cycle:
    """One canister as it truly was."""

    stop_s: float
    restart_s: float
    out_m3: float
    """Total taken out when it is full."""
    calls: int
    """0 missed, 1, or 2 doubled."""


@dataclass(frozen=True, slots=True)
class Crew:
    """A simulated job from first level to well past the target."""

    job: Job
    start_m: float
    cycles: tuple[Cycle, ...]
    leak_m3_s: float
    leak_from_s: float
    heights: tuple[float, ...]
    volumes: tuple[float, ...]
    """True grain between start and each height, falling heights."""
    called_start: Mark
    stature_m: float

    def net_out_m3(self, at_s: float) -> float:
        """Grain out less grain leaked in, at a moment."""
        before, start = 0.0, 0.0
        for cycle in self.cycles:
            if at_s < cycle.stop_s:
                before += (cycle.out_m3 - before) * (at_s - start) / (cycle.stop_s - start)
                break
            before, start = cycle.out_m3, cycle.restart_s
            if at_s < cycle.restart_s:
                break
        return before - self.leak_m3_s * max(0.0, at_s - self.leak_from_s)

    def height_m(self, at_s: float) -> float:
        """True level at a moment."""
        out = self.net_out_m3(at_s)
        place = min(len(self.volumes) - 1, max(1, bisect_left(self.volumes, out)))
        low, high = self.volumes[place - 1], self.volumes[place]
        share = (out - low) / (high - low)
        return self.heights[place - 1] + share * (self.heights[place] - self.heights[place - 1])

    def when_at(self, height_m: float) -> float:
        """Moment at which the true level reaches a height."""
        low, high = 0.0, self.cycles[-1].stop_s
        for _ in range(40):
            middle = (low + high) / 2
            low, high = (middle, high) if self.height_m(middle) > height_m else (low, middle)
        return high


def crew(random: Random, habits: Habits, start: Mark = Mark.CHEST, *, known_person: bool = True) -> Crew:
    """Draw one crew and let it work to the soles."""
    height, mass = random.uniform(1.6, 1.9), random.uniform(60, 110)
    area = (2 * FOOT_M) ** 2
    true = Person(Span.exact(height), Span.exact(mass), Arms.UP)
    told = true if known_person else Person(Span.between(1.6, 1.9), Span.between(60, 110), Arms.UP)
    job = Job(told, SQUARE, Mark.KNEES, habits.canister_gal)
    start_m = MARK_FRACTIONS[start] * height + random.gauss(0, habits.mark_sd_m)
    scale = random.gauss(1, habits.scale_sd)
    heights = [start_m * (1 - step / 60) for step in range(61)]
    volumes = [scale * net_volume_m3(true, area, start_m, level) for level in heights]
    cycles = _work(random, habits, volumes[-1])
    each, cycle = cycles[-1].out_m3 / len(cycles), cycles[-1].restart_s / len(cycles)
    opens = cycles[habits.leak_after - 1].restart_s if habits.leak_after else 0.0
    return Crew(
        job, start_m, cycles, habits.leak_share * each / cycle, opens, tuple(heights), tuple(volumes), start, height
    )  # fmt: skip


def marks_log(random: Random, crew: Crew, habits: Habits, target_s: float) -> CrewLog:
    """What a crew that calls canisters and body marks says up to the moment it is done."""
    person = crew.job.person
    levels = [LevelReading.of_mark(crew.called_start, 0.0, person)]
    for mark in (Mark.RIBS, Mark.WAIST, Mark.HIPS):
        seen_at = MARK_FRACTIONS[mark] * crew.stature_m + random.gauss(0, habits.mark_sd_m)
        at_s = crew.when_at(seen_at)
        if levels[-1].at_s < at_s < target_s and seen_at < crew.start_m:
            levels.append(LevelReading.of_mark(mark, at_s, person))
    return CrewLog(0.0, _called(crew), tuple(levels))


def tape_log(random: Random, crew: Crew, until_m: float, *, twice: bool = True, corners: int = 4) -> CrewLog:
    """What a crew that tapes the level at the corners, when the vacuum stops and before it starts, says."""
    levels = [_tape(random, crew.start_m, 0.0, random.gauss(0, SURFACE_SD_M), corners)]
    for cycle in crew.cycles:
        surface = random.gauss(0, SURFACE_SD_M)
        pause = cycle.restart_s - cycle.stop_s
        moments = (cycle.stop_s + 0.1 * pause, cycle.restart_s - 0.1 * pause)[: 1 + twice]
        for at_s in moments:
            again = at_s > moments[0]
            levels.append(_tape(random, crew.height_m(at_s), at_s, surface, corners, again=again))
        if crew.height_m(cycle.restart_s) < until_m:
            break
    return CrewLog(0.0, _called(crew), tuple(levels))


def rim_log(random: Random, crew: Crew, habits: Habits, target_s: float) -> CrewLog:
    """What a crew says that calls the chest once, tapes one set in every pause, and calls the hips.

    The rim lies where the called mark lies on a person of the height that the estimator assumes.
    """
    person = crew.job.person
    taped = tape_log(random, crew, 0.0, twice=False)
    zero_m = MARK_FRACTIONS[crew.called_start] * person.height_m.value - taped.levels[0].height_m
    levels = [LevelReading.of_mark(crew.called_start, 0.0, person)]
    levels += [LevelReading.of_corners(tuple(one + zero_m for one in level.corners_m), level.at_s) for level in taped.levels]
    hips = MARK_FRACTIONS[Mark.HIPS] * crew.stature_m + random.gauss(0, habits.mark_sd_m)
    if 0.0 < crew.when_at(hips) < target_s:
        levels.append(LevelReading.of_mark(Mark.HIPS, crew.when_at(hips), person))
    kept = (level for level in levels if level.at_s < target_s)
    return CrewLog(0.0, _called(crew), tuple(sorted(kept, key=lambda level: level.at_s)))


def _tape(
    random: Random, height: float, at_s: float, surface: float, corners: int, *, again: bool = False
) -> LevelReading:
    read = tuple(height + surface + random.gauss(0, CORNER_SD_M) for _ in range(corners))
    return LevelReading(at_s, sum(read) / corners, Sight.TAPE, read, again)


def _called(crew: Crew) -> tuple[float, ...]:
    return tuple(
        cycle.stop_s + 0.02 * again * (cycle.restart_s - cycle.stop_s) for cycle in crew.cycles for again in range(cycle.calls)
    )  # fmt: skip


def _work(random: Random, habits: Habits, total_m3: float) -> tuple[Cycle, ...]:
    fill = habits.fill_mean * random.gauss(1, habits.fill_crew_sd)
    pace = math.log(habits.cycle_s) + random.gauss(0, habits.cycle_crew_sd)
    cycles: list[Cycle] = []
    at_s = out = 0.0
    while out < 1.6 * total_m3:
        pace += random.gauss(0, habits.drift_sd)
        length = math.exp(pace + random.gauss(0, habits.cycle_each_sd))
        out += habits.canister_gal * GALLON_M3 * fill * max(0.3, random.gauss(1, habits.fill_each_sd))
        chance = random.random()
        calls = 0 if chance < habits.missed else 2 if chance < habits.missed + habits.doubled else 1
        cycles.append(Cycle(at_s + (1 - habits.pause_share) * length, at_s + length, out, calls))
        at_s += length
    return tuple(cycles)
