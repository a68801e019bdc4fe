"""Time to blow a bad atmosphere out of a space; always followed by "test again", never by "safe".

Dilution: C = C0 exp(-Q t / (K V)), K the mixing factor: 1 for perfect mixing, up to 10 (Univ. of Toledo formula sheet).
A mixing efficiency E is 1 / K. With a source q the concentration tends to K q / Q instead of nothing.
How air mixes in the head of a bin was never measured; spoiled grain keeps making gas.
"""

import math

from protocol.errors import EstimateError
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.units import Unit

MIXING = Span(3.0, 1.0, 10.0)
"""Unknown mixing."""
TEST_AGAIN = "Then test again. Only a new reading tells."
CAUTIONS = (
    "Mixing in a bin was never measured.",
    "Spoiled grain keeps making gas.",
    "A fan is for command to decide.",
)
SOURCE = "dilution equation; mixing factor 1 to 10: Univ. of Toledo formula sheet"


def changes_needed(start: float, wanted: float, mixing: float = 1.0) -> float:
    """Air changes to bring a concentration from `start` to `wanted` (same unit), incoming air clean, no source."""
    return mixing * math.log(start / wanted)


def source_concentration(source_per_s: float, volume: float, changes_per_s: float, after_s: float) -> float:
    """Concentration after a time with a steady source in clean air: q/(nV) (1 - exp(-n t)), units as given."""
    return source_per_s / (changes_per_s * volume) * -math.expm1(-changes_per_s * after_s)


def purge_time(
    volume_m3: Span,
    airflow_m3_s: Span,
    start: float,
    wanted: float,
    mixing: Span = MIXING,
    source_m3_s: float = 0.0,
    unit: str = "ppm",
) -> Estimate:
    """Time (s) to bring a gas down.

    Args:
        volume_m3: air space.
        airflow_m3_s: clean air in.
        start: concentration now.
        wanted: concentration to reach.
        mixing: factor K.
        source_m3_s: gas still being given off.
        unit: of both concentrations, "ppm" or "%".

    Raises:
        EstimateError: for inputs that cannot be, or when the source keeps it above `wanted` for ever.
    """
    _check(volume_m3, airflow_m3_s, mixing, source_m3_s, start, wanted)
    scale = _scale(unit)
    _check_source(scale * source_m3_s * mixing.high / airflow_m3_s.low, wanted)

    def seconds(volume: float, airflow: float, factor: float) -> float:
        floor = scale * source_m3_s * factor / airflow
        return factor * volume / airflow * math.log((start - floor) / (wanted - floor))

    span = spread(seconds, volume=volume_m3, airflow=airflow_m3_s, factor=mixing)
    return Estimate(
        span.value,
        max(0.0, span.low),
        span.high,
        Unit.SECOND,
        "K (V/Q) ln(C0/C), clean air in, less what a source adds",
        SOURCE,
        "blow for {amount}",
        inputs=(
            *_given_air(volume_m3, airflow_m3_s, mixing),
            Given("concentration now", start, unit),
            Given("concentration wanted", wanted, unit),
            Given("gas given off", source_m3_s, "m3/s"),
        ),
        cautions=CAUTIONS,
        then_say=TEST_AGAIN,
    )


def _given_air(volume: Span, airflow: Span, mixing: Span) -> tuple[Given, ...]:
    return (
        Given.span("air space", volume, "m3"),
        Given.span("air flow", airflow, "m3/s"),
        Given.span("mixing factor", mixing, ""),
    )


def _scale(unit: str) -> float:
    scales = {"ppm": 1e6, "%": 100.0}
    if unit not in scales:
        raise EstimateError(f"'{unit}' is not a concentration here: use ppm or %.")
    return scales[unit]


def _check_source(stays_at: float, wanted: float) -> None:
    if stays_at >= wanted:
        raise EstimateError("With grain giving off that much gas this fan may never bring it down. Keep everyone out.")


def _check(volume: Span, airflow: Span, mixing: Span, source: float, start: float, wanted: float) -> None:
    if volume.low <= 0 or airflow.low <= 0 or mixing.low < 1 or source < 0:
        raise EstimateError(
            "Give an air space and an air flow above nothing, a mixing factor from one, a source from nothing."
        )
    if not 0 < wanted < start:
        raise EstimateError("The wanted concentration must lie between nothing and the one now.")
