"""Estimates: pure functions in SI; every number carries a range, a method and a source, and can be spoken.

Start at `grain_remaining`, `remaining_time`, `leak_watch`, `refill_when_out` and `may_pull`; each result has
`spoken(units)` for the headset and, where it is a single number, `shown(units)` for the screen.
"""

from protocol.estimates.air_arithmetic import co2_behind_oxygen, mg_m3, percent, ppm
from protocol.estimates.auger import AUGER_RATES_M3_S, stated_rate, time_to_be_covered
from protocol.estimates.body import UNKNOWN_PERSON, Arms, Level, Mark, Person, body_displacement, nearest_mark
from protocol.estimates.crewlog import CrewLog, Job, LevelReading, Sight, working_s
from protocol.estimates.grain import GRAINS, Grain, GrainName, grain_named
from protocol.estimates.leak import LeakWatch, leak_watch
from protocol.estimates.lifeline import Slack, slack_allowed
from protocol.estimates.noise import Criterion, Exposure, NoiseLeft, noise_dose, noise_left
from protocol.estimates.openings import CutPlan, cut_plan, time_to_lower
from protocol.estimates.orifice import Hole, wall_flow
from protocol.estimates.plywood import CuttingPlan, cutting_plan
from protocol.estimates.pressure import bin_wall_pressure, chest_at_rest, chest_pushing, panel_load, panel_peak
from protocol.estimates.pull import PullAnswer, may_pull, pull_force
from protocol.estimates.purge import purge_time
from protocol.estimates.rate import remaining_time, removal_rate
from protocol.estimates.refill import Refill, refill_when_out, removal_order
from protocol.estimates.result import Estimate, Given, Span
from protocol.estimates.ring import Reach, Ring, ring_area, ring_reach
from protocol.estimates.storage import grain_in_bin
from protocol.estimates.volume import GrainRemaining, canisters_for, grain_mass, grain_remaining, grain_volume

__all__ = [
    "AUGER_RATES_M3_S",
    "GRAINS",
    "UNKNOWN_PERSON",
    "Arms",
    "CrewLog",
    "Criterion",
    "CutPlan",
    "CuttingPlan",
    "Estimate",
    "Exposure",
    "Given",
    "Grain",
    "GrainName",
    "GrainRemaining",
    "Hole",
    "Job",
    "LeakWatch",
    "Level",
    "LevelReading",
    "Mark",
    "NoiseLeft",
    "Person",
    "PullAnswer",
    "Reach",
    "Refill",
    "Ring",
    "Sight",
    "Slack",
    "Span",
    "bin_wall_pressure",
    "body_displacement",
    "canisters_for",
    "chest_at_rest",
    "chest_pushing",
    "co2_behind_oxygen",
    "cut_plan",
    "cutting_plan",
    "grain_in_bin",
    "grain_mass",
    "grain_named",
    "grain_remaining",
    "grain_volume",
    "leak_watch",
    "may_pull",
    "mg_m3",
    "nearest_mark",
    "noise_dose",
    "noise_left",
    "panel_load",
    "panel_peak",
    "percent",
    "ppm",
    "pull_force",
    "purge_time",
    "refill_when_out",
    "remaining_time",
    "removal_order",
    "removal_rate",
    "ring_area",
    "ring_reach",
    "slack_allowed",
    "stated_rate",
    "time_to_be_covered",
    "time_to_lower",
    "wall_flow",
    "working_s",
]
