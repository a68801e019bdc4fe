"""Time for a running auger to draw a person in: how long there was, or how fast it must be stopped.

The auger draws a column of grain straight down from the top centre (funnel flow), and the person sinks with it. No
width of that column was ever measured; 2 to 3 ft brackets the seconds that are published (knee 4, waist 10 to 15,
covered 20 to 30: Penn State Extension, NASD 4117, training press).
Auger rates: 10 in 85 ft3/min (Penn State), 8 in 52 ft3/min (Missouri sheet, NASD 1092, which also says 50); the ranges
are capacities by diameter (Oklahoma State BAE-1105, from memory).
"""

import math
from collections.abc import Mapping
from types import MappingProxyType

from protocol.errors import EstimateError
from protocol.estimates.body import Level, Mark, Person, level_fraction, level_name
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.units import BUSHEL_HOUR_M3_S, CFM_M3_S, FOOT_M, Unit

COLUMN_DIAMETER_M = Span(2.5 * FOOT_M, 2.0 * FOOT_M, 3.0 * FOOT_M)
RATE_DOUBT = 0.1
"""A stated capacity is taken as right within a tenth: assumption, no source."""

AUGER_RATES_M3_S: Mapping[str, Span] = MappingProxyType({
    "8 in": Span(52 * CFM_M3_S, 2000 * BUSHEL_HOUR_M3_S, 3000 * BUSHEL_HOUR_M3_S),
    "10 in": Span(85 * CFM_M3_S, 3500 * BUSHEL_HOUR_M3_S, 4500 * BUSHEL_HOUR_M3_S),
})  # fmt: skip
"""Capacity by auger diameter, horizontal, corn."""


def stated_rate(rate_m3_s: float) -> Span:
    """A rate from a plate or an operator, with its doubt."""
    return Span.about(rate_m3_s, RATE_DOUBT * rate_m3_s)


def time_to_be_covered(person: Person, rate_m3_s: Span, level: Level = Mark.HEAD) -> Estimate:
    """Seconds from the start of the flow until grain stands at `level` on a person who cannot move away.

    Args:
        person: standing on the grain over the outlet.
        rate_m3_s: unloading rate.
        level: head for covered.

    Raises:
        EstimateError: when nothing flows.
    """
    if rate_m3_s.low <= 0:
        raise EstimateError("Nothing is drawn down while nothing flows: give the unloading rate.")

    def seconds(height: float, rate: float, diameter: float) -> float:
        return level_fraction(level, height) * height * math.pi * diameter**2 / 4 / rate

    span = spread(seconds, height=person.height_m, rate=rate_m3_s, diameter=COLUMN_DIAMETER_M)
    return Estimate(
        span.value,
        max(0.0, span.low),
        span.high,
        Unit.SECOND,
        "column of grain 2 to 3 ft across sinking at the unloading rate, the person with it",
        "width of the column chosen to bracket published times (Penn State Extension, NASD 4117); not measured",
        f"{{amount}} until the grain is at {level_name(level)}",
        inputs=(
            *person.given,
            Given.span("unloading rate", rate_m3_s, "m3/s"),
            Given.span("column diameter", COLUMN_DIAMETER_M, "m"),
        ),
        cautions=("Helpless after 2 to 5 seconds. Stop the flow first.",),
    )
