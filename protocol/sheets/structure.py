"""Sheets about the bin, its air, its noise and the lines."""

import math
from collections.abc import Iterator

from protocol.errors import EstimateError
from protocol.estimates.air_arithmetic import co2_behind_oxygen
from protocol.estimates.auger import AUGER_RATES_M3_S, stated_rate, time_to_be_covered
from protocol.estimates.body import Mark
from protocol.estimates.grain import Grain, grain_named
from protocol.estimates.lifeline import slack_allowed
from protocol.estimates.noise import Criterion, Exposure, noise_dose, noise_left
from protocol.estimates.openings import WIDTHS_M, cut_plan, time_to_lower
from protocol.estimates.orifice import Hole, wall_flow
from protocol.estimates.pressure import bin_wall_pressure
from protocol.estimates.purge import purge_time
from protocol.estimates.result import Span
from protocol.estimates.storage import cylinder_m3, grain_in_bin
from protocol.sheets.sheet import Named, Plan, feet, need
from protocol.site import Bin
from protocol.units import BUSHEL_HOUR_M3_S, CFM_M3_S, FOOT_M

OPENING_COUNTS = (2, 4, 6, 8)
LOWER_FT = 3.0
PURGES = (
    ("phosphine", 3.6, 0.3),
    ("carbon dioxide", 30_000.0, 5_000.0),
    ("carbon monoxide", 200.0, 35.0),
)
"""Gas, concentration now and wanted (ppm): from a limit at which nobody stays down to the one for a working day."""
OXYGEN_PCT = (19.5, 20.0, 20.5)
NOISE_DBA = (85.0, 90.0, 95.0, 97.0, 100.0)
"""97 dB at 30 ft from a fan was reported (grainfeedequipment.com case study)."""
TAPED = 0.05
"""Depths and air flows of a card are taken as right within so much: assumption, no source."""
ASIDE_FT = (0.0, 5.0)


def auger(plan: Plan) -> Iterator[Named]:
    """Seconds until the grain is at the knees, the waist and over the head."""
    for size, rate in AUGER_RATES_M3_S.items():
        for mark in (Mark.KNEES, Mark.WAIST, Mark.HEAD):
            yield f"auger of {size}, to the {mark.value}", time_to_be_covered(plan.person, rate, mark)


def own_auger(plan: Plan, row: Bin) -> Iterator[Named]:
    """The same for the rate on the card."""
    rate = stated_rate(need(row.auger_bu_h, row, "auger_bu_h") * BUSHEL_HOUR_M3_S)
    yield f"{row.name}, to the head", time_to_be_covered(plan.person, rate)


def storage(_plan: Plan, row: Bin) -> Iterator[Named]:
    """Grain in each bin as filled, level and peaked; to the eave when the depth is not on the card."""
    depth = feet(row.grain_depth_ft or row.eave_ft, TAPED)
    for peaked in (False, True):
        about = f"{row.name}, {'peaked' if peaked else 'level'}{'' if row.grain_depth_ft else ', full to the eave'}"
        yield about, grain_in_bin(_grain(row), feet(row.diameter_ft), depth, peaked=peaked)


def wall(_plan: Plan, row: Bin) -> Iterator[Named]:
    """Pressure on the wall at the foot and half way down."""
    depth_ft = row.grain_depth_ft or row.eave_ft
    for share, where in ((0.5, "half way down"), (1.0, "at the foot")):
        yield (
            f"{row.name}, {where}",
            bin_wall_pressure(_grain(row), row.diameter_ft * FOOT_M, feet(share * depth_ft, TAPED)),
        )


def openings(_plan: Plan, row: Bin) -> Iterator[Named]:
    """Spacing for each even count that leaves more wall than it takes, and the flow through one."""
    for count in OPENING_COUNTS:
        if _fits(row, count):
            cut = cut_plan(row.diameter_ft * FOOT_M, count)
            yield f"{row.name}, {count} openings", cut.spacing
            yield f"{row.name}, {count} openings", cut.left_between
    for width in WIDTHS_M:
        yield f"{row.name}, half circle {width / FOOT_M * 12:.0f} in across", wall_flow(_hole(width), _grain(row))


def lowering(_plan: Plan, row: Bin) -> Iterator[Named]:
    """Time for two and for four openings."""
    for count in (2, 4):
        if _fits(row, count):
            yield (
                f"{row.name}, {count} openings",
                time_to_lower(row.diameter_ft * FOOT_M, feet(LOWER_FT, TAPED), _hole(WIDTHS_M[0]), count, _grain(row)),
            )


def purge(_plan: Plan, row: Bin) -> Iterator[Named]:
    """Time to bring a gas down in the head space."""
    air = need(row.airflow_cfm, row, "airflow_cfm") * CFM_M3_S
    head_ft = row.eave_ft - need(row.grain_depth_ft, row, "grain_depth_ft")
    if head_ft <= 0:
        raise EstimateError(f"{row.name}: the grain is as deep as the eave is high; the head space is not known.")
    space = cylinder_m3(row.diameter_ft * FOOT_M, head_ft * FOOT_M)
    for gas, now, wanted in PURGES:
        yield (
            f"{row.name}, {gas} from {now:g} to {wanted:g} ppm",
            purge_time(Span.about(space, 2 * TAPED * space), Span.about(air, 2 * TAPED * air), now, wanted),
        )


def hidden(_plan: Plan) -> Iterator[Named]:
    """What a good oxygen reading says nothing about."""
    for oxygen in OXYGEN_PCT:
        yield f"oxygen {oxygen:g} %", co2_behind_oxygen(oxygen)


def noise(plan: Plan) -> Iterator[Named]:
    """Time allowed by both criteria, at the measured levels and at a few others."""
    for about, level in _levels(plan):
        left = noise_left((), level)
        yield about, left.niosh
        yield about, left.osha


def dose(plan: Plan) -> Iterator[Named]:
    """Share of a day's noise that one work period takes."""
    seconds = plan.house.work_period_min * 60
    for about, level in _levels(plan):
        for criterion in (Criterion.NIOSH, Criterion.OSHA):
            yield f"{about}, {plan.house.work_period_min:g} min", noise_dose((Exposure(level, seconds),), criterion)


def slack(plan: Plan, row: Bin) -> Iterator[Named]:
    """Slack under the bin's anchor and beside it."""
    above = feet(need(row.anchor_above_grain_ft, row, "anchor_above_grain_ft"), TAPED)
    for aside in ASIDE_FT:
        found = slack_allowed(plan.person, above, feet(aside, TAPED)).allowed
        rated = "" if row.anchor_rated else ", anchor not rated"
        yield f"{row.name}, {aside:g} ft aside of the anchor{rated}", found


def _levels(plan: Plan) -> list[tuple[str, float]]:
    rows = [(row.name, row.noise_dba) for row in plan.site.bin if row.noise_dba]
    measured = [(f"{name}, measured {level:g} dBA", level) for name, level in rows]
    return [*measured, *((f"{level:g} dBA", level) for level in NOISE_DBA)]


def _grain(row: Bin) -> Grain:
    return grain_named(row.grain)


def _hole(width_m: float) -> Hole:
    return Hole.semicircle(width_m)


def _fits(row: Bin, count: int) -> bool:
    """Whether so many openings leave at least as much wall as they take."""
    return math.pi * row.diameter_ft * FOOT_M / count >= 2 * WIDTHS_M[0]
