"""Purge times: published worked examples, the differential equation by scipy, and "test again" every time."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from protocol.errors import EstimateError
from protocol.estimates.purge import MIXING, TEST_AGAIN, changes_needed, purge_time, source_concentration
from protocol.estimates.result import Span
from protocol.units import CFM_M3_S, CUBIC_FOOT_M3

ROOM = Span.exact(2000 * CUBIC_FOOT_M3)
FAN = Span.exact(200 * CFM_M3_S)


@pytest.mark.parametrize(("mixing", "minutes"), [(1.0, 23.02585), (3.0, 69.078)])
def test_two_thousand_cubic_feet(mixing: float, minutes: float) -> None:
    """2,000 ft3, 200 cfm, 500 to 50 ppm: 23.026 min perfectly mixed, 69.078 with K 3 (Univ. of Toledo sheet)."""
    time = purge_time(ROOM, FAN, 500, 50, Span.exact(mixing))
    assert minutes == pytest.approx(time.value / 60, abs=5e-4)


def test_published_worked_example() -> None:
    """20 % to 1.4 % LFL at efficiency 0.2 and 2 changes a minute: 13.3 changes, 6.65 min (HVAC design guide, 2006)."""
    changes = changes_needed(20, 1.4, 1 / 0.2)
    assert 13.2963 == pytest.approx(changes, abs=5e-5)
    assert 6.64815 == pytest.approx(changes / 2, abs=5e-5)
    time = purge_time(Span.exact(100.0), Span.exact(200 / 60), 20, 1.4, Span.exact(5.0), unit="%")
    assert 6.64815 == pytest.approx(time.value / 60, abs=5e-4)


@pytest.mark.parametrize(("per_hour", "minutes", "expected"), [(2, 40, 0.36820), (8, 10, 0.09205)])
def test_with_a_source(per_hour: float, minutes: float, expected: float) -> None:
    """Room concentration with a source: n 2/h after 40 min .3682; n 8/h after 10 min .0921 (Engineering ToolBox)."""
    found = source_concentration(1 / 3600, 1.0, per_hour / 3600, minutes * 60)
    assert expected == pytest.approx(found, abs=5e-6)


@given(st.floats(20, 500), st.floats(0.05, 2.0), st.floats(1, 6), st.floats(0, 5e-6))
def test_the_differential_equation_agrees(volume: float, airflow: float, mixing: float, source: float) -> None:
    """Integrating the mass balance with scipy for the time given arrives at the wanted concentration."""
    floor = 1e6 * source * mixing / airflow
    if floor > 40:
        return
    time = purge_time(Span.exact(volume), Span.exact(airflow), 500, 50, Span.exact(mixing), source).value
    solution = solve_ivp(
        lambda _, c: (1e6 * source - airflow / mixing * c) / volume, (0, time), [500.0], rtol=1e-8, atol=1e-8
    )
    assert 50 == pytest.approx(float(solution.y[0, -1]), rel=1e-4)


@given(st.floats(60, 5000), st.floats(1.1, 5.0))
def test_worse_air_and_smaller_fans_take_longer(start: float, factor: float) -> None:
    """Time rises with the start, falls with the fan, and unknown mixing spans one to ten."""
    here = purge_time(ROOM, FAN, start, 50)
    assert here.value < purge_time(ROOM, FAN, start * factor, 50).value
    assert here.value > purge_time(ROOM, FAN.times(factor), start, 50).value
    assert here.high == pytest.approx(here.value * MIXING.high / MIXING.value)
    assert here.low == pytest.approx(here.value * MIXING.low / MIXING.value)


def test_always_followed_by_test_again() -> None:
    """The sentence ends with the order to test again and never calls anything safe."""
    spoken = purge_time(ROOM, FAN, 500, 50).spoken()
    assert spoken.startswith("Blow for about ")
    assert spoken.endswith(TEST_AGAIN)
    assert "safe" not in spoken.lower()


def test_a_source_that_wins_is_refused() -> None:
    """When the grain gives off more than the fan carries away there is no time to give."""
    with pytest.raises(EstimateError, match="never"):
        purge_time(ROOM, FAN, 500, 50, MIXING, 1e-3)


@pytest.mark.parametrize(("start", "wanted"), [(50, 500), (50, 50), (500, 0), (-5, -10)])
def test_impossible_concentrations_are_refused(start: float, wanted: float) -> None:
    """The wanted concentration must lie under the present one and above nothing."""
    with pytest.raises(EstimateError):
        purge_time(ROOM, FAN, start, wanted)


def test_units_of_concentration_are_checked() -> None:
    """Percent and ppm are told apart; anything else, a still fan or K under one is refused."""
    with pytest.raises(EstimateError, match="ppm or %"):
        purge_time(ROOM, FAN, 500, 50, unit="mg")
    with pytest.raises(EstimateError):
        purge_time(ROOM, Span.exact(0.0), 500, 50)
    with pytest.raises(EstimateError):
        purge_time(ROOM, FAN, 500, 50, Span.exact(0.5))
