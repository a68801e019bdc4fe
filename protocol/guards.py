"""Preconditions by name. Each guard gives the spoken reason why not, or None when it holds."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from protocol.air import Gas, Reading, Verdict, judge, latest, required_gases, standing_bad, verdict_at
from protocol.marks import is_at_or_below
from protocol.scene import Scene, minutes_ms

Guard = Callable[[Scene], str | None]

REPEATS_DONE = "repeats_done"
NOT_HELD = "not_held"
AIR_CURRENT = "air_current"
NOBODY_INSIDE = "nobody_inside"
BAD_GAS_CLEARED = "bad_gas_has_cleared"
FLAMMABLE_LOW = "flammable_is_low"


def _fact(name: str, value: str, reason: str) -> Guard:
    def check(scene: Scene) -> str | None:
        return None if scene.state.fact(name) == value else reason

    return check


@dataclass(frozen=True, slots=True)
class AirFault:
    """Why one gas does not allow people in."""

    verdict: Verdict
    """Unread, stale or bad."""
    reason: str


def air_reason(scene: Scene, place: str | None) -> str | None:
    """Why the required gases do not allow people in: the first that is unread, bad or stale, oxygen first.

    Args:
        scene: the moment.
        place: hatch or person, or None for the newest reading wherever it was taken; then a bad reading at one
            place stands until the gas is read again there.
    """
    return next((fault.reason for fault in air_faults(scene, place)), None)


def air_faults(scene: Scene, place: str | None) -> Iterator[AirFault]:
    """Everything that is wrong with the air, as for `air_reason`."""
    where = f" at the {place}" if place else ""
    for gas in required_gases(scene.state.fact("fumigated")):
        verdict, words = _worth(scene, latest(scene.state.readings, gas, place))
        if words:
            yield AirFault(verdict, f"{gas.spoken} is {words}{where}")
    bad = None if place else standing_bad(scene.state.readings)
    if bad:
        yield AirFault(Verdict.BAD, f"{bad.gas.spoken} is {_AIR_WORDS[Verdict.BAD]} at the {bad.place}")


def ordered_out_ms(scene: Scene) -> int | None:
    """When everyone was last ordered out; a reading from before that does not let anybody back in."""
    return dict(scene.state.fact_times_ms)["bin"] if scene.state.fact("bin") == "ordered_out" else None


def _worth(scene: Scene, reading: Reading | None) -> tuple[Verdict, str]:
    """What a reading is worth for people who want to go in, and the words for what is wrong with it."""
    verdict = verdict_at(reading, scene.at_ms, minutes_ms(scene.house.air_max_age_min))
    out_ms = ordered_out_ms(scene)
    if reading and verdict is not Verdict.BAD and out_ms is not None and reading.at_ms < out_ms:
        return Verdict.STALE, "from before everyone was ordered out, test again"
    return verdict, _AIR_WORDS.get(verdict, "")


_AIR_WORDS = {Verdict.UNREAD: "unread", Verdict.STALE: "too old, test again", Verdict.BAD: "bad"}


def _bad_gas_cleared(scene: Scene) -> str | None:
    """Every gas that was bad since everyone was ordered out is read again, good and fresh, where it was bad."""
    out_ms = ordered_out_ms(scene) or 0
    readings = scene.state.readings
    places = dict.fromkeys(
        (row.gas, row.place) for row in readings if row.at_ms >= out_ms and judge(row.gas, row.value) is Verdict.BAD
    )
    for gas, place in places:
        _verdict, words = _worth(scene, latest(readings, gas, place))
        if words:
            return f"{gas.spoken} was bad at the {place} and is {words} there"
    return None


def _flammable_low(scene: Scene) -> str | None:
    _verdict, words = _worth(scene, latest(scene.state.readings, Gas.FLAMMABLE))
    return f"no cutting, {Gas.FLAMMABLE.spoken} is {words}" if words else None


def _air_at(place: str) -> Guard:
    return lambda scene: air_reason(scene, place)


def _air_current(scene: Scene) -> str | None:
    return air_reason(scene, None)


def _not_held(scene: Scene) -> str | None:
    return "all work is held. Say, resume all work" if scene.state.held else None


def _nobody_inside(scene: Scene) -> str | None:
    left = len(scene.state.inside)
    return None if left == 0 else f"{left} still inside"


def _crew_inside(scene: Scene) -> str | None:
    missing = scene.house.rescuers - len(scene.state.inside)
    return None if missing <= 0 else f"{missing} of {scene.house.rescuers} rescuers not yet in"


def _level_at(mark: str) -> Guard:
    def check(scene: Scene) -> str | None:
        level = scene.state.level
        if level is None:
            return "no grain level has been called"
        return None if is_at_or_below(level, mark) else f"the grain was last called at the {level}"

    return check


def _repeats_done(scene: Scene) -> str | None:
    total = repeats_total(scene)
    done = len(scene.state.repeats)
    return None if done >= total else f"{done} of {total} done"


def repeats_total(scene: Scene) -> int:
    """How often the current step is confirmed; 1 for a plain step."""
    return scene.house.panels if scene.step.repeat == "panels" else 1


GUARDS: Mapping[str, Guard] = MappingProxyType({
    NOT_HELD: _not_held,
    AIR_CURRENT: _air_current,
    REPEATS_DONE: _repeats_done,
    "air_good_at_hatch": _air_at("hatch"),
    "air_good_at_person": _air_at("person"),
    "flow_is_off": _fact("flow", "off", "the flow has not been stopped"),
    "locks_are_on": _fact("locks", "on", "locks and tags are not on"),
    "lockout_was_tried": _fact("lockout", "tried", "lockout has not been tried"),
    "line_is_on": _fact("line", "on", "there is no line on the person"),
    "harness_is_on": _fact("harness", "on", "harness and lifelines are not checked"),
    "tenders_are_set": _fact("tenders", "set", "each lifeline needs two tenders"),
    "radio_was_checked": _fact("radio", "checked", "the radio check is not done"),
    "entry_is_approved": _fact("entry", "approved", "command has not approved entry"),
    "boards_are_down": _fact("boards", "down", "boards are not down"),
    "legs_were_probed": _fact("probe", "done", "the legs have not been probed for"),
    "ring_reaches": _fact("reach", "below", "the ring does not reach below the knees"),
    "gap_is_closed": _fact("gap", "closed", "the gap in the ring is open"),
    "chest_is_clear": _fact("chest", "clear", "the chest is not clear"),
    "level_at_hips": _level_at("hips"),
    "level_at_knees": _level_at("knees"),
    "level_at_feet": _level_at("feet"),
    "crew_is_inside": _crew_inside,
    NOBODY_INSIDE: _nobody_inside,
    BAD_GAS_CLEARED: _bad_gas_cleared,
    FLAMMABLE_LOW: _flammable_low,
    "person_is_free": _fact("person", "free", "the person is not free of the grain"),
    "handover_was_given": _fact("handover", "given", "the medics have no hand-over"),
})
"""Every precondition that a procedure may name."""

_READ_AT: Mapping[str, str | None] = MappingProxyType({
    AIR_CURRENT: None, "air_good_at_hatch": "hatch", "air_good_at_person": "person",
})  # fmt: skip


def never_passed(scene: Scene, name: str) -> str | None:
    """Why not even an override goes past a guard: people still inside, or air that was read and is bad or too old.

    A gas that nobody can read (no meter for it) may be passed by the officer before entry; the stage's own look at the
    air has nobody to protect while nobody is inside, and entry keeps its own.
    """
    if name in {NOBODY_INSIDE, BAD_GAS_CLEARED, FLAMMABLE_LOW}:
        return GUARDS[name](scene)
    if name not in _READ_AT or (name == AIR_CURRENT and not scene.state.inside):
        return None
    faults = air_faults(scene, _READ_AT[name])
    return next((fault.reason for fault in faults if fault.verdict is not Verdict.UNREAD), None)
