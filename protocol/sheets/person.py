"""Sheets about the person and the ring."""

from collections.abc import Iterator

from protocol.estimates.body import Arms, Mark, Person, body_displacement
from protocol.estimates.crewlog import CrewLog, Job, LevelReading
from protocol.estimates.plywood import KERF_M, SHEET_M, cutting_plan
from protocol.estimates.pressure import chest_at_rest, chest_pushing, panel_load, panel_peak
from protocol.estimates.pull import pull_force
from protocol.estimates.rate import remaining_time, removal_rate
from protocol.estimates.refill import refill_when_out, removal_order
from protocol.estimates.result import Estimate, Given
from protocol.estimates.ring import ring_area, ring_reach
from protocol.estimates.volume import GrainRemaining, grain_remaining
from protocol.sheets.sheet import Named, Plan, feet
from protocol.units import FOOT_M, Unit

ABOVE_KNEES = (Mark.CHIN, Mark.SHOULDERS, Mark.CHEST, Mark.RIBS, Mark.WAIST, Mark.HIPS)
DIFFERENCES_FT = (1.0, 2.0, 3.0, 5.0)
"""Grain outside above grain inside."""
JUDGED = 0.15
"""A level outside is judged within so much of the difference: assumption, no source."""


def ring(plan: Plan) -> Iterator[Named]:
    """Floor area, reach below the knees, gap at the feet."""
    yield "inside the ring", ring_area(plan.ring)
    reach = ring_reach(plan.person, plan.ring)
    yield "top edge level with the head", reach.below_knees
    yield "top edge level with the head", reach.gap_at_feet


def plywood(plan: Plan) -> Iterator[Named]:
    """Sheets for the card's panels, what is left over."""
    panels = plan.ring.widths_m
    cut = cutting_plan(panels, plan.ring.length_m)
    sheets = float(len(cut.sheets))
    offcuts = "; ".join(f"{piece.length_m:.2f} x {piece.width_m:.2f}" for piece in cut.offcuts) or "none"
    yield f"{len(panels)} panels", Estimate(
        sheets, sheets, sheets, Unit.COUNT, "sheets ripped into strips, the strips cut to length", cut.source,
        "{amount} of plywood",
        inputs=(
            Given("panels", float(len(panels))),
            Given("panel length", plan.ring.length_m, "m"),
            Given("sheet", f"{SHEET_M[0]:.3f} x {SHEET_M[1]:.3f}", "m"),
            Given("saw cut", KERF_M, "m"),
            Given("narrowest strip", cut.narrowest_m, "m"),
            Given("left over, for gaps", offcuts, "m"),
        ),
        noun=("sheet", "sheets"),
    )  # fmt: skip


def volume(plan: Plan) -> Iterator[Named]:
    """Volume for each level mark."""
    for about, left in _left(plan):
        yield about, left.volume


def canisters(plan: Plan) -> Iterator[Named]:
    """Canisters for each level mark."""
    for about, left in _left(plan):
        yield about, left.canisters


def mass(plan: Plan) -> Iterator[Named]:
    """Mass for each level mark and each grain of the card."""
    for grain in range(len(plan.grains)):
        for about, left in _left(plan, grain):
            yield about, left.mass


def body(plan: Plan) -> Iterator[Named]:
    """Room that the body takes below each mark, arms up and down."""
    for arms in (Arms.UP, Arms.DOWN):
        who = Person(plan.person.height_m, plan.person.mass_kg, arms)
        for mark in (Mark.KNEES, *reversed(ABOVE_KNEES), Mark.HEAD):
            yield f"below the {mark.value}, arms {arms.value}", body_displacement(who, mark)


def time_left(plan: Plan) -> Iterator[Named]:
    """Working time from each mark to the knees by the prior alone."""
    for mark in ABOVE_KNEES:
        yield f"grain at the {mark.value}", remaining_time(_job(plan), _log(plan, mark), 0.0)


def rate(plan: Plan) -> Iterator[Named]:
    """Rate of removal by the prior alone."""
    yield "no canister called", removal_rate(_job(plan), _log(plan, Mark.CHEST), 0.0)


def pull(plan: Plan) -> Iterator[Named]:
    """Measured pulls by depth, with the panel wall and without."""
    for mark in (Mark.KNEES, *reversed(ABOVE_KNEES), Mark.HEAD):
        yield f"held to the {mark.value}, no panel wall", pull_force(mark, plan.person)
    for mark in (Mark.WAIST, Mark.RIBS, Mark.CHEST):
        yield f"held to the {mark.value}, panel wall in place", pull_force(mark, plan.person, wall=True)


def chest(_plan: Plan) -> Iterator[Named]:
    """Measured pressures on the chest."""
    yield "holding still", chest_at_rest()
    yield "breathing in", chest_pushing()


def load(plan: Plan) -> Iterator[Named]:
    """Sideways load on one panel, and pressure at its foot, by the difference in level."""
    for grain in plan.grains:
        for high_ft in DIFFERENCES_FT:
            if high_ft * FOOT_M <= plan.ring.length_m + 1e-9:
                about = f"{grain.spoken_name}, {high_ft:g} ft higher outside"
                yield about, panel_load(grain, plan.ring.widths_m[0], feet(high_ft, JUDGED))
                yield about, panel_peak(grain, feet(high_ft, JUDGED))


def refill(plan: Plan) -> Iterator[Named]:
    """What the first panel out lets in, with the grain inside at the knees."""
    for grain in plan.grains:
        for high_ft in DIFFERENCES_FT:
            about = f"{grain.spoken_name}, inside at the knees, {high_ft:g} ft higher outside"
            found = refill_when_out(plan.person, plan.ring, grain, 1, Mark.KNEES, feet(high_ft, JUDGED))
            yield about, found.volume
            yield about, found.rise


def order(plan: Plan) -> Iterator[Named]:
    """Every panel in turn, the grain outside two feet higher all round."""
    same = (feet(2.0, JUDGED),) * len(plan.ring.widths_m)
    for grain in plan.grains:
        for turn, found in enumerate(removal_order(plan.person, plan.ring, grain, Mark.KNEES, same), start=1):
            yield f"{grain.spoken_name}, 2 ft higher all round, panel number {turn} to come out", found.volume


def _left(plan: Plan, grain: int = 0) -> Iterator[tuple[str, GrainRemaining]]:
    house, kind = plan.house, plan.grains[grain]
    pairs = [(mark, Mark.KNEES) for mark in ABOVE_KNEES] + [(Mark.KNEES, Mark.FEET)]
    for mark, goal in pairs:
        left = grain_remaining(plan.person, plan.ring, kind, mark, goal, house.canister_gal)
        yield f"{kind.spoken_name} from the {mark.value} to the {goal.value}", left


def _job(plan: Plan) -> Job:
    return Job(plan.person, plan.ring, Mark.KNEES, plan.house.canister_gal)


def _log(plan: Plan, mark: Mark) -> CrewLog:
    return CrewLog(0.0, (), (LevelReading.of_mark(mark, 0.0, plan.person),))
