"""The simulated grain of a drill on its clock: when the vacuum works, when a drum is full, which mark is reached."""

from dataclasses import dataclass, replace

from protocol.commands import GiveInject, Origin, Role
from protocol.estimates.ring import polygon_area_m2
from protocol.estimates.volume import FILL
from protocol.grain_model import Grain, Setting, emptied, grain_at, passed
from protocol.marks import MARKS
from protocol.phrases import MARK_WORDS
from protocol.remaining import ring_of
from protocol.scenario import Scenario
from protocol.scene import Book
from protocol.state import State
from protocol.units import GALLON_M3

OUTSIDE_AREA_M2 = 6.0
"""Floor from which grain can run to the ring: an assumption, no source."""
LITRE_M3 = 1e-3
ORIGIN = Origin("scenario", Role.BOTH, "program")


def setting_of(scenario: Scenario, book: Book) -> Setting:
    """Ring, person, drum and rates of a scenario with simulated grain."""
    row = scenario.grain
    assert row is not None
    drum_m3 = book.house.canister_gal * GALLON_M3 * FILL.value
    return Setting(
        area_m2=polygon_area_m2(ring_of(book.house).widths_m),
        outside_area_m2=OUTSIDE_AREA_M2,
        stature_m=scenario.person.height_m,
        body_kg=scenario.person.mass_kg,
        drum_m3=drum_m3,
        take_m3_s=drum_m3 / row.drum_s,
        leak_m3_s=row.leak_l_min * LITRE_M3 / 60,
    )


@dataclass(frozen=True, slots=True)
class Simulation:
    """The grain at a moment of the drill; frozen, so that a drill can be put back to it."""

    grain: Grain
    at_ms: int
    pace: float
    told_mark: str = ""
    told_drums: int = 0
    leaking: bool = False

    def until(self, now_ms: int, state: State, *, counts: bool) -> "tuple[Simulation, tuple[GiveInject, ...]]":
        """The grain now, and what there is to tell.

        Args:
            now_ms: the drill's clock.
            state: the incident, which says whether the vacuum runs.
            counts: whether the current stage works with the vacuum.
        """
        after = self.moved(now_ms, state, counts=counts)
        return _told(after, now_ms) if state.fact("vacuum") == "on" else (after, ())

    def moved(self, now_ms: int, state: State, *, counts: bool) -> "Simulation":
        """The grain now, telling nobody; arguments as in `until`."""
        on = state.fact("vacuum") == "on"
        vacuum = on and counts and not state.held and not state.emergencies
        seconds = max(0, now_ms - self.at_ms) / 1000 * self.pace
        grain = passed(self.grain, seconds, vacuum=vacuum, leaking=on and self.leaking)
        return replace(self, grain=grain, at_ms=now_ms)

    def was_told(self, inject: str) -> "Simulation":
        """What is on record as told before a stop is not told again."""
        sort, _, which = inject.partition(".")
        if sort == "grain" and which in MARKS:
            return replace(self, told_mark=which)
        if sort == "drum" and which.isdecimal():
            return replace(self, told_drums=int(which))
        return self

    def counted(self) -> "Simulation":
        """Somebody called a canister: a full drum is emptied; a call without one changes nothing here."""
        return replace(self, grain=emptied(self.grain)) if self.grain.drum_is_full else self

    def leak(self, leaking: bool) -> "Simulation":
        """The ring leaks, or it is closed."""
        return replace(self, leaking=leaking)

    def shifted(self, by_ms: int) -> "Simulation":
        """The same, later."""
        return replace(self, at_ms=self.at_ms + by_ms)


def simulation_of(scenario: Scenario, book: Book, pace: float, at_ms: int) -> Simulation | None:
    """The grain at the start of a drill, or None when the scenario has none."""
    if scenario.grain is None:
        return None
    grain = grain_at(setting_of(scenario, book), scenario.grain.mark, scenario.grain.outside_higher_m)
    return Simulation(grain, at_ms, pace)


def _told(after: Simulation, now_ms: int) -> tuple[Simulation, tuple[GiveInject, ...]]:
    found: list[GiveInject] = []
    grain, mark = after.grain, after.grain.mark
    if mark in MARKS and (not after.told_mark or MARKS.index(mark) < MARKS.index(after.told_mark)):
        text = f"Grain now: {MARK_WORDS[mark]}."
        found.append(GiveInject(now_ms, ORIGIN, f"grain.{mark}", "inside", text, expects=(f"level {mark}",)))
        after = replace(after, told_mark=mark)
    if grain.drum_is_full and after.told_drums <= grain.drums:
        number = grain.drums + 1
        text = "Drum full. Empty it and call it."
        found.append(GiveInject(now_ms, ORIGIN, f"drum.{number}", "inside", text, expects=("canister",)))
        after = replace(after, told_drums=number)
    return after, tuple(found)
