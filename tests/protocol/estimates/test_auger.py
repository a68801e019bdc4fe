"""Seconds to be drawn in by an auger, against published times."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.auger import AUGER_RATES_M3_S, COLUMN_DIAMETER_M, stated_rate, time_to_be_covered
from protocol.estimates.body import MARK_FRACTIONS, Mark, Person
from protocol.estimates.result import Span
from protocol.units import BUSHEL_HOUR_M3_S, BUSHEL_M3, CFM_M3_S, CUBIC_FOOT_M3, FOOT_M
from tests.protocol.estimates.people import SIX_FOOT

TEN_INCH = AUGER_RATES_M3_S["10 in"]


@pytest.mark.parametrize(
    ("mark", "seconds"),
    [
        (Mark.KNEES, (4,)),
        (Mark.HIPS, (10, 15)),
        (Mark.WAIST, (10, 15)),
        (Mark.HEAD, (20, 25, 30)),
    ],
)
def test_published_times_lie_in_the_range(mark: Mark, seconds: tuple[int, ...]) -> None:
    """Knee 4 s, waist 10 to 15 s, covered 20 to 30 s (Penn State Extension, NASD 4117, press) for a 10-inch auger."""
    time = time_to_be_covered(SIX_FOOT, TEN_INCH, mark)
    for published in seconds:
        assert time.low <= published <= time.high, (mark, published, time.low, time.high)


@pytest.mark.parametrize(
    ("diameter_ft", "speed", "knee", "hip", "whole"),
    [(2.0, 0.451, 3.8, 7.1, 13.3), (2.5, 0.289, 5.9, 11.0, 20.8), (3.0, 0.200, 8.5, 15.9, 29.9)],
)
def test_column_sink_check(diameter_ft: float, speed: float, knee: float, hip: float, whole: float) -> None:
    """85 ft3/min through columns of 2, 2.5 and 3 ft: ft/s and seconds to knee (1.71 ft), hip (3.18) and 6 ft."""
    rate = 85 / 60
    sinking = rate / (3.14159265 * diameter_ft**2 / 4)
    assert speed == pytest.approx(sinking, abs=6e-4)
    for mark, seconds in ((Mark.KNEES, knee), (Mark.HIPS, hip), (Mark.HEAD, whole)):
        assert seconds == pytest.approx(MARK_FRACTIONS[mark] * 6 / sinking, abs=0.06)
    assert COLUMN_DIAMETER_M.low <= diameter_ft * FOOT_M <= COLUMN_DIAMETER_M.high


def test_auger_rates() -> None:
    """10 in: 85 ft3/min is 68.30 bu/min and 4,098 bu/h; 8 in: 52 ft3/min is 2,507 and 50 is 2,411 bu/h."""
    assert 68.30 == pytest.approx(85 * CUBIC_FOOT_M3 / BUSHEL_M3, abs=0.005)
    for cubic_feet, bushels in ((85, 4098.176), (52, 2507), (50, 2411)):
        assert bushels == pytest.approx(cubic_feet * CFM_M3_S / BUSHEL_HOUR_M3_S, abs=0.5)
    assert 82.9637 == pytest.approx(4000 * BUSHEL_HOUR_M3_S / CFM_M3_S, abs=1e-3)
    assert 1.383 == pytest.approx(4000 * BUSHEL_HOUR_M3_S / CUBIC_FOOT_M3, abs=5e-4)
    assert TEN_INCH.value == pytest.approx(85 * CFM_M3_S)
    assert AUGER_RATES_M3_S["8 in"].low <= 50 * CFM_M3_S <= AUGER_RATES_M3_S["8 in"].high


@given(st.floats(200, 20_000), st.floats(1.01, 2.0), st.floats(1.2, 2.1))
def test_faster_augers_leave_less_time(bushels_hour: float, faster: float, height: float) -> None:
    """Time falls with the rate and is in proportion to the depth."""
    person = Person(Span.exact(height), Span.exact(70.0))
    rate = bushels_hour * BUSHEL_HOUR_M3_S
    slow, fast = (time_to_be_covered(person, stated_rate(each)) for each in (rate, rate * faster))
    assert slow.value == pytest.approx(fast.value * faster)
    knees = time_to_be_covered(person, stated_rate(rate), Mark.KNEES)
    assert 0.285 * slow.value == pytest.approx(knees.value)


def test_spoken() -> None:
    """Seconds are spoken with their range; the caution says to stop the flow."""
    time = time_to_be_covered(SIX_FOOT, TEN_INCH)
    assert (
        "About twenty seconds until the grain is at the top of the head, between twelve and thirty two."
        == time.spoken()
    )
    assert any("Stop the flow first." in caution for caution in time.cautions)


def test_nothing_flowing_is_refused() -> None:
    """Without a flow there is no time to be covered."""
    with pytest.raises(EstimateError, match="unloading rate"):
        time_to_be_covered(SIX_FOOT, Span.exact(0.0))
