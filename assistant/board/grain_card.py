"""Grain inside the ring: what was called, what is left with its range, when it may be done, whether it leaks."""

import math
from dataclasses import dataclass

from assistant.board.past import Past
from protocol.balance import FEWEST_SETS, complete_sets, leak
from protocol.errors import EstimateError
from protocol.estimates.body import MARK_FRACTIONS, Mark
from protocol.estimates.crewlog import CrewLog, Job, LevelReading, working_s
from protocol.estimates.rate import remaining_time
from protocol.estimates.result import Estimate
from protocol.estimates.wording import rounded
from protocol.remaining import left_to_take_out, person_of, ring_of
from protocol.scene import Scene
from protocol.units import System


@dataclass(frozen=True, slots=True)
class Amount:
    """A number with its range, as shown and in SI."""

    shown: str
    range: str
    """The range alone, with its unit: "3 to 5 bu"."""
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class LevelPoint:
    """One level as called."""

    mark: str
    height_m: float
    at_ms: int


@dataclass(frozen=True, slots=True)
class GrainCard:
    """Everything about the grain inside the ring."""

    counting: bool
    """Canisters are counted and levels are called in this stage."""
    level: str
    """Mark last called; empty: none."""
    level_ms: int | None
    canisters_ms: tuple[int, ...]
    levels: tuple[LevelPoint, ...]
    marks: tuple[tuple[str, float], ...]
    """Mark and its height over the soles (m) on the person assumed."""
    target: str
    target_m: float
    volume: Amount | None
    canisters: Amount | None
    finish: Amount | None
    """Seconds of work from this moment."""
    leak: str
    """leak, none seen or cannot tell; empty before there is anything to weigh."""
    leak_words: str
    why: str
    """Why there is no number."""
    cautions: tuple[str, ...]


def grain_card(scene: Scene, past: Past) -> GrainCard:
    """The card at a moment."""
    state, target = scene.state, target_of(scene)
    height_m = person_of(scene.house).height_m.value
    volume, canisters, why, cautions = _left(scene)
    leak, leak_words = _leak(scene)
    return GrainCard(
        counting=scene.book.procedure.stage_of(scene.step).counts,
        level=state.level or "",
        level_ms=state.levels[-1].at_ms if state.levels else None,
        canisters_ms=state.canisters_ms,
        levels=tuple(LevelPoint(row.mark, mark_m(row.mark, height_m), row.at_ms) for row in state.levels),
        marks=tuple((mark.value, mark_m(mark.value, height_m)) for mark in Mark if mark is not Mark.HEAD),
        target=target.value,
        target_m=mark_m(target.value, height_m),
        volume=volume,
        canisters=canisters,
        finish=_finish(scene, past),
        leak=leak,
        leak_words=leak_words,
        why=why,
        cautions=cautions,
    )


def mark_m(mark: str, height_m: float) -> float:
    """Height of a mark over the soles."""
    return round(MARK_FRACTIONS[Mark(mark)] * height_m, 3)


def target_of(scene: Scene) -> Mark:
    """The mark that the work aims at: the knees, then the feet."""
    return Mark.FEET if scene.state.level in {Mark.KNEES.value, Mark.FEET.value} else Mark.KNEES


def useful(estimate: Estimate, units: System) -> tuple[str, str]:
    """An estimate in figures rounded as it would be spoken, and its range: "about 4 bu (3 to 5)", "3 to 5 bu"."""
    found = rounded(estimate.triple, estimate.unit, units, estimate.noun)
    value, low, high = (f"{number:.3f}".rstrip("0").rstrip(".") for number in (found.value, found.low, found.high))
    unit = found.display.symbol
    if found.value == 0:
        words = "nothing" if found.high == 0 else f"under {high} {unit}"
        return words, words
    return f"about {value} {unit} ({low} to {high})", f"{low} to {high} {unit}"


def _left(scene: Scene) -> tuple[Amount | None, Amount | None, str, tuple[str, ...]]:
    try:
        left = left_to_take_out(scene)
    except EstimateError as error:
        return None, None, str(error), ()
    units = scene.house.units
    shown = _amount(left.volume, *useful(left.volume, units))
    low, high = (max(1, math.ceil(end)) for end in (left.canisters.low, left.canisters.high))
    cans = f"{low} {left.canisters.noun[high > 1]}" if low == high else f"{low} to {high} {left.canisters.noun[1]}"
    if left.volume.value <= 0:
        return shown, None, "", left.volume.cautions
    return shown, _amount(left.canisters, cans, cans), "", left.volume.cautions


def _finish(scene: Scene, past: Past) -> Amount | None:
    log = _log(scene, past.holds_until(scene.at_ms))
    if log is None or not log.levels or not log.canisters_s or scene.state.fact("person") == "free":
        return None
    try:
        time = remaining_time(_job(scene), log, working_s(scene.at_ms, past.holds_until(scene.at_ms)))
    except EstimateError:
        return None
    return _amount(time, *useful(time, scene.house.units))


def _leak(scene: Scene) -> tuple[str, str]:
    state = scene.state
    enough = len(state.levels) > 1 or len(complete_sets(scene)) >= FEWEST_SETS
    try:
        watch = leak(scene)
    except EstimateError:
        return "", ""
    if state.fact("leak") == "warned" and watch.verdict != "leak":
        return "leak", "A leak was warned of and is not yet closed."
    if not enough or not state.canisters_ms:
        return "", ""
    return watch.verdict, watch.spoken(scene.house.units)


def _job(scene: Scene) -> Job:
    house = scene.house
    return Job(person_of(house), ring_of(house), target_of(scene), house.canister_gal)


def _log(scene: Scene, holds_ms: tuple[tuple[int, int], ...]) -> CrewLog | None:
    """The calls so far on one clock, or None before the vacuum can have run."""
    state = scene.state
    calls = (*state.canisters_ms, *(level.at_ms for level in state.levels))
    if not calls:
        return None
    closed_ms = dict(state.fact_times_ms).get("gap", 0)
    first_ms = min(calls)
    started_ms = closed_ms if 0 < closed_ms < first_ms else first_ms - 1000
    person = person_of(scene.house)
    return CrewLog(
        working_s(started_ms, holds_ms),
        tuple(working_s(at_ms, holds_ms) for at_ms in state.canisters_ms),
        tuple(LevelReading.of_mark(Mark(row.mark), working_s(row.at_ms, holds_ms), person) for row in state.levels),
    )


def _amount(estimate: Estimate, shown: str, span: str) -> Amount:
    return Amount(shown, span, estimate.value, estimate.low, estimate.high)
