"""The crew's calls put into the estimates: how long the work will take, and whether the ring leaks."""

import math
from dataclasses import replace

from protocol.errors import EstimateError
from protocol.estimates.body import MARK_FRACTIONS, Mark
from protocol.estimates.crewlog import CORNER_SD_M, CrewLog, Job, LevelReading, working_s
from protocol.estimates.leak import LeakWatch, leak_watch
from protocol.estimates.rate import remaining_time
from protocol.remaining import person_of, ring_of
from protocol.scene import Scene
from protocol.state import Tape
from protocol.told import LEAK, Told

FEWEST_CANISTERS = 2
"""Before so many canisters nothing is said about the time: common practice, no source."""
FEWEST_SETS = 2
"""From so many taped sets on the tape alone is weighed: it is ten times as sharp as a mark."""
FALL_M = 3 * math.sqrt(2 / 4) * CORNER_SD_M
"""A fall of the mean of four corners beyond three times its error."""


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
    """What the mass balance says now: from taped corners once there are two sets, from called marks before.

    Only what came after the last leak was closed is weighed.

    Raises:
        EstimateError: when the vacuum has not been started.
    """
    log = log_of(scene, holds_out=False)
    started_s = max(log.started_s, closed_ms(scene) / 1000)
    taped = tuple(level for level in taped_levels(scene) if level.at_s > closed_ms(scene) / 1000)
    marks = tuple(level for level in log.levels if level.at_s > closed_ms(scene) / 1000 or not closed_ms(scene))
    levels = taped if len(taped) >= FEWEST_SETS else marks
    counted = tuple(at_s for at_s in log.canisters_s if at_s > started_s)
    return leak_watch(job_of(scene), CrewLog(started_s, counted, levels), scene.at_ms / 1000)


def closed_ms(scene: Scene) -> int:
    """When the last leak was closed; 0 when none was."""
    return dict(scene.state.fact_times_ms)["leak"] if scene.state.fact("leak") == "closed" else 0


def complete_sets(scene: Scene) -> tuple[Tape, ...]:
    """Sets in which every corner of the ring was taped."""
    return tuple(tape for tape in scene.state.tapes if len(tape.down_m) == scene.house.panels)


def taped_levels(scene: Scene) -> tuple[LevelReading, ...]:
    """Taped sets as levels above the soles.

    The rim is placed by the mark that was called last before the first set. Sets between two canisters belong to one
    pause of the vacuum: after the first they are readings of one undisturbed surface. A set that lies lower than the
    one before it, with no canister in between, shows that the vacuum ran or that a canister was not called: it and the
    rest of that pause are not weighed.
    """
    sets = complete_sets(scene)
    called = [level for level in scene.state.levels if sets and level.at_ms <= sets[0].at_ms]
    if not called:
        return ()
    mark_m = MARK_FRACTIONS[Mark(called[-1].mark)] * person_of(scene.house).height_m.value
    rim_m = mark_m + _mean_m(sets[0])
    found: list[LevelReading] = []
    lowest: dict[int, float] = {}
    spoiled: set[int] = set()
    for tape in sets:
        pause = sum(at_ms <= tape.at_ms for at_ms in scene.state.canisters_ms)
        again = pause in lowest
        spoiled |= {pause} if again and _mean_m(tape) - lowest[pause] > FALL_M else set()
        if pause not in spoiled:
            corners = tuple(max(0.0, rim_m - down_m) for _corner, down_m in sorted(tape.down_m))
            found.append(LevelReading.of_corners(corners, tape.at_ms / 1000, undisturbed=again))
        lowest[pause] = _mean_m(tape)
    return tuple(found)


def with_tapes(scene: Scene, log: CrewLog) -> CrewLog:
    """The log with the first taped set of every pause, on the clock of the work."""
    taped = [
        replace(level, at_s=working_s(round(level.at_s * 1000), scene.state.holds_ms))
        for level in taped_levels(scene)
        if not level.undisturbed
    ]
    levels = sorted((*log.levels, *taped), key=lambda level: level.at_s)
    return replace(log, levels=tuple(levels))


def taped_again(scene: Scene) -> bool:
    """Whether the last whole set was the second or a later one of its pause."""
    sets = complete_sets(scene)
    return len(sets) > 1 and not any(sets[-2].at_ms < at_ms <= sets[-1].at_ms for at_ms in scene.state.canisters_ms)


def balance_answer(scene: Scene) -> Told:
    """What the count of canisters against the level says, and how it gets sharper."""
    try:
        watch = leak(scene)
    except EstimateError as error:
        return Told.why_not(error)
    said, weighed = watch.spoken(scene.house.units), () if watch.verdict == "cannot tell" else (LEAK,)
    unit = "inches" if scene.house.units == "us" else "centimeters"
    how = f"At each full canister tape every corner twice, the vacuum stopped: corner one, and the {unit} from the rim."
    return Told(said if taped_again(scene) else f"{said} {how}", weighed)


def _mean_m(tape: Tape) -> float:
    return sum(down_m for _corner, down_m in tape.down_m) / len(tape.down_m)


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
        log = with_tapes(scene, log_of(scene, holds_out=True))
        now_s = working_s(scene.at_ms, scene.state.holds_ms)
        return remaining_time(job_of(scene), log, now_s).spoken(scene.house.units)
    except EstimateError:
        return ""
