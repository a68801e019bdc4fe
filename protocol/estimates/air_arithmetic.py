"""What an oxygen reading can hide, and units of gas and dust. Limits themselves are in the air table, not here.

Oxygen 19.5 % by dilution from 20.9 % means some 67,000 ppm of another gas; by respiration (one oxygen, one carbon
dioxide) a fall of 1.4 points is some 14,000 ppm of carbon dioxide. A good oxygen reading therefore says nothing about
carbon dioxide.
"""

from protocol.errors import EstimateError
from protocol.estimates.result import Estimate, Given
from protocol.units import Unit

FRESH_O2_PCT = 20.9
METER_DOUBT_PCT = 0.1
"""Last figure of a meter."""
PPM_PER_PERCENT = 1e4
MEC_G_M3 = 50.06
"""Least explosive concentration of grain dust, 0.05 oz/ft3 (rule of thumb, World-Grain Nov 2023; NASD 7189)."""


def ppm(percent: float) -> float:
    """Percent by volume in parts per million."""
    return percent * PPM_PER_PERCENT


def percent(parts_per_million: float) -> float:
    """Parts per million in percent by volume."""
    return parts_per_million / PPM_PER_PERCENT


def mg_m3(grams_per_m3: float) -> float:
    """Grams in milligrams per cubic metre: limits for dust are in mg, explosive concentrations in g."""
    return grams_per_m3 * 1e3


def displaced_ppm(oxygen_pct: float) -> float:
    """Another gas that would dilute fresh air to this oxygen reading (ppm)."""
    return (1 - oxygen_pct / FRESH_O2_PCT) * 1e6


def respired_ppm(oxygen_pct: float) -> float:
    """Carbon dioxide made if the missing oxygen was breathed, one for one (ppm)."""
    return (FRESH_O2_PCT - oxygen_pct) * PPM_PER_PERCENT


def co2_behind_oxygen(oxygen_pct: float) -> Estimate:
    """Carbon dioxide that may lie behind an oxygen reading while it is unread (ppm).

    Raises:
        EstimateError: for a reading outside 0 to 20.9 %.
    """
    if not 0 <= oxygen_pct <= FRESH_O2_PCT:
        raise EstimateError(f"Oxygen {oxygen_pct:g} percent hides nothing that can be worked out: read carbon dioxide.")
    diluted = displaced_ppm(oxygen_pct - METER_DOUBT_PCT)
    return Estimate(
        respired_ppm(oxygen_pct),
        0.0,
        diluted,
        Unit.PPM,
        "breathed one for one; at most diluted by carbon dioxide alone, the reading 0.1 high; at least none",
        "arithmetic from 20.9 % oxygen in fresh air",
        "carbon dioxide behind that oxygen reading may be {amount}",
        inputs=(Given("oxygen", oxygen_pct, "%"),),
        cautions=("An oxygen reading does not guard against carbon dioxide or phosphine.",),
        then_say="Carbon dioxide is unread. Read it.",
        range_only=True,
    )
