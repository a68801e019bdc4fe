"""The crew's calls put into the estimates: how long the work will take, and whether the ring leaks."""

from protocol.errors import EstimateError
from protocol.estimates.body import Mark
from protocol.estimates.crewlog import CrewLog, Job, LevelReading, working_s
from protocol.estimates.leak import LeakWatch, leak_watch
from protocol.estimates.rate import remaining_time
from protocol.remaining import person_of, ring_of
from protocol.scene import Scene

FEWEST_CANISTERS = 2
"""Before so many canisters nothing is said about the time: common practice, no source."""


def job_of(scene: Scene) -> Job:
    """Person, ring, canister and the level that is wanted."""
    goal = Mark.FEET if scene.state.level == Mark.KNEES.value else Mark.KNEES
    return Job(person_of(scene.house), ring_of(scene.house), goal, scene.house.canister_gal)


def log_of(scene: Scene, *, holds_out: bool) -> CrewLog:
    """Calls since the vacuum was started, in seconds.

    Args:
        scene: the moment.
        holds_out: time on hold is taken out (for the rate of work), or left in (a leak goes on through a hold).

    Raises:
        EstimateError: when the vacuum has not been started.
    """
    state = scene.state
    if state.fact("vacuum") != "on":
        raise EstimateError("The vacuum has not been started.")
    started_ms = dict(state.fact_times_ms)["vacuum"]

    def seconds(at_ms: int) -> float:
        return working_s(at_ms, state.holds_ms) if holds_out else at_ms / 1000

    person = person_of(scene.house)
    return CrewLog(
        seconds(started_ms),
        tuple(seconds(at_ms) for at_ms in state.canisters_ms if at_ms > started_ms),
        tuple(LevelReading.of_mark(Mark(level.mark), seconds(level.at_ms), person) for level in state.levels),
    )


def leak(scene: Scene) -> LeakWatch:
    """What the mass balance says now.

    Raises:
        EstimateError: when the vacuum has not been started.
    """
    return leak_watch(job_of(scene), log_of(scene, holds_out=False), scene.at_ms / 1000)


def leak_warning(scene: Scene) -> str:
    """A warning when more grain came out than the level fell for; otherwise empty."""
    try:
        watch = leak(scene)
    except EstimateError:
        return ""
    return watch.spoken(scene.house.units) if watch.verdict == "leak" else ""


def time_left_sentence(scene: Scene) -> str:
    """Time to the wanted level as a range; empty while too little has been called to say."""
    if len(scene.state.canisters_ms) < FEWEST_CANISTERS:
        return ""
    try:
        log = log_of(scene, holds_out=True)
        now_s = working_s(scene.at_ms, scene.state.holds_ms)
        return remaining_time(job_of(scene), log, now_s).spoken(scene.house.units)
    except EstimateError:
        return ""
