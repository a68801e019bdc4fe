"""What the estimates predicted while the work went on, so that the debrief can lay it beside what came true."""

from assistant.debrief.tale import LevelGuess, TimeGuess
from protocol.balance import FEWEST_CANISTERS, job_of, log_of
from protocol.errors import EstimateError
from protocol.estimates.body import MARK_FRACTIONS, Mark
from protocol.estimates.crewlog import Job, working_s
from protocol.estimates.rate import remaining_time
from protocol.estimates.volume import FILL
from protocol.remaining import person_of
from protocol.scene import Scene

STEPS = 30
"""Halvings of the height; the last is far below a millimetre."""


def mark_m(mark: str, height_m: float) -> float:
    """Height of a mark over the soles of a person of that height."""
    return MARK_FRACTIONS[Mark(mark)] * height_m


def time_guess(scene: Scene) -> TimeGuess | None:
    """Seconds of work to the target as the crew would have been told; None while too little had been called."""
    if len(scene.state.canisters_ms) < FEWEST_CANISTERS:
        return None
    job = job_of(scene)
    try:
        log = log_of(scene, holds_out=True)
        found = remaining_time(job, log, working_s(scene.at_ms, scene.state.holds_ms))
    except EstimateError:
        return None
    return TimeGuess(scene.at_ms, str(job.target), found.low, found.value, found.high)


def level_guess(scene: Scene) -> LevelGuess | None:
    """The level that the canisters so far predict, from the level called before the first of them.

    The range is how full a canister may be; a leak or a missed call shows as a gap to what was called. None once
    they would have emptied the ring.
    """
    state = scene.state
    if not state.canisters_ms:
        return None
    before = [level for level in state.levels if level.at_ms <= state.canisters_ms[0]]
    if not before:
        return None
    job = job_of(scene)
    start_m = mark_m(before[-1].mark, person_of(scene.house).height_m.value)
    heights = [
        _level_after(job, start_m, len(state.canisters_ms) * fill * job.canister_m3)
        for fill in (FILL.low, FILL.value, FILL.high)
    ]
    return LevelGuess(scene.at_ms, heights[2], heights[1], heights[0]) if heights[0] > 0 else None


def _level_after(job: Job, start_m: float, out_m3: float) -> float:
    """The height at which so much grain below `start_m` is gone; the floor when there was not so much."""
    profile = job.profile()
    low, high = 0.0, start_m
    if profile.between_m3(start_m, 0.0) <= out_m3:
        return 0.0
    for _ in range(STEPS):
        middle = (low + high) / 2
        if profile.between_m3(start_m, middle) > out_m3:
            low = middle
        else:
            high = middle
    return high
