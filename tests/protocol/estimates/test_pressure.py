"""Pressures: chest ranges, the panel and Janssen checks, Janssen's equation integrated by scipy."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from protocol.errors import EstimateError
from protocol.estimates.grain import GRAINS, GrainName
from protocol.estimates.pressure import (
    bin_wall_pressure,
    chest_at_rest,
    chest_pushing,
    janssen_pa,
    lateral_pa,
    panel_load,
    panel_peak,
    rankine_ratios,
)
from protocol.estimates.result import Span
from protocol.units import FOOT_M, GRAVITY_M_S2, POUND_FORCE_N, PSF_PA, PSI_PA

CORN = GRAINS[GrainName.CORN]
CORN_KG_M3 = 720.8


@pytest.mark.parametrize(
    ("depth", "vertical", "horizontal"),
    [(1, 7.88346, 3.94173), (5, 34.18115, 17.09058), (10, 57.79125, 28.89563), (20, 85.36426, 42.68213)],
)
def test_janssen_check(depth: float, vertical: float, horizontal: float) -> None:
    """Janssen 1895 for rho 834, D 10 m, mu .37, k .5: four digits at 1, 5, 10 and 20 m."""
    found = janssen_pa(depth, 10.0, 834.0, 0.37, 0.5)
    assert (vertical, horizontal) == pytest.approx((found[0] / 1e3, found[1] / 1e3), rel=1e-4)


def test_janssen_limits() -> None:
    """Deep down 110.524 kPa and no more; without friction it would be 81.787 kPa at 10 m."""
    assert 110.524 == pytest.approx(janssen_pa(1e4, 10.0, 834.0, 0.37, 0.5)[0] / 1e3, abs=1e-3)
    assert 81.787 == pytest.approx(834 * GRAVITY_M_S2 * 10 / 1e3, abs=1e-3)
    assert 81.787 == pytest.approx(janssen_pa(10.0, 10.0, 834.0, 1e-7, 0.5)[0] / 1e3, abs=1e-3)


def test_janssen_solves_its_equation() -> None:
    """Integrating dp/dz = rho g - mu k p / R with scipy gives the same pressures."""
    solution = solve_ivp(
        lambda _, p: 834 * GRAVITY_M_S2 - 0.37 * 0.5 * p / 2.5, (0, 20), [0.0], rtol=1e-9, dense_output=True
    )
    for depth in (1.0, 7.3, 20.0):
        assert float(solution.sol(depth)[0]) == pytest.approx(janssen_pa(depth, 10.0, 834.0, 0.37, 0.5)[0], rel=1e-6)


def test_full_scale_anchors() -> None:
    """Measured mean lateral pressures (12.8 m bin 28.2 kPa at 15.2 m; 11.0 m bin 26.9 kPa at 11.9 m) are near the range."""
    for diameter, depth, kilopascals in ((12.8, 15.2, 28.2), (11.0, 11.9, 26.9)):
        wall = bin_wall_pressure(CORN, diameter, Span.exact(depth))
        assert 0.7 * wall.low <= kilopascals * 1e3 <= wall.high


def test_panel_with_five_feet_of_difference() -> None:
    """Corn, k .5, 2 ft x 5 ft panel, 5 ft head: 112.5 lb/ft2 at the foot, 562 lbf in all, within the range."""
    pounds = lateral_pa(5 * FOOT_M, CORN_KG_M3, 0.5) / PSF_PA
    assert 112.5 == pytest.approx(pounds, rel=1e-3)
    load = panel_load(CORN, 2 * FOOT_M, Span.exact(5 * FOOT_M))
    assert 562.495 == pytest.approx(load.value / POUND_FORCE_N, rel=2e-4)
    assert load.low < 562.495 * POUND_FORCE_N < load.high
    peak = panel_peak(CORN, Span.exact(5 * FOOT_M))
    assert 112.5 == pytest.approx(peak.value / PSF_PA, rel=1e-3)
    assert (
        "About five hundred fifty pounds of force sideways on the panel, between four hundred and seven hundred."
        == load.spoken()
    )


@given(st.floats(0.01, 2.0), st.floats(0.01, 1.0))
def test_load_grows_with_the_square_of_the_difference(difference: float, more: float) -> None:
    """Twice the difference is four times the load; more is never less."""
    load = panel_load(CORN, 0.61, Span.exact(difference)).value
    assert 4 * load == pytest.approx(panel_load(CORN, 0.61, Span.exact(2 * difference)).value)
    assert load < panel_load(CORN, 0.61, Span.exact(difference + more)).value


@pytest.mark.parametrize(("degrees", "at_rest"), [(23, 0.609), (27, 0.546), (30, 0.500)])
def test_pressure_at_rest(degrees: float, at_rest: float) -> None:
    """At-rest ratio 1 - sin(phi) for 23, 27 and 30 degrees."""
    assert at_rest == pytest.approx(rankine_ratios(degrees)[2], abs=5e-4)


def test_rankine_is_not_the_chest() -> None:
    """Corn, phi 27, 0.30 m: active 0.80, passive 5.65 kPa; measured outward push is about twice the passive."""
    active, passive, _ = rankine_ratios(27.0)
    assert 0.80 == pytest.approx(lateral_pa(0.30, CORN_KG_M3, active) / 1e3, abs=0.005)
    assert 5.65 == pytest.approx(lateral_pa(0.30, CORN_KG_M3, passive) / 1e3, abs=0.01)
    assert chest_pushing().low > 1.5 * lateral_pa(0.30, CORN_KG_M3, passive)


def test_chest_pressures_in_both_units() -> None:
    """1.6-4.0 kPa is 0.23-0.58 psi at rest; 9.4-11.0 kPa is 1.36-1.60 psi pushing (Moore & Jones; Issa et al.)."""
    for estimate, pounds in ((chest_at_rest(), (0.23, 0.58)), (chest_pushing(), (1.36, 1.60))):
        assert pounds == pytest.approx((estimate.low / PSI_PA, estimate.high / PSI_PA), abs=0.005)


def test_nobody_is_told_that_breathing_is_not_affected() -> None:
    """Both chest sentences give a range only and say to clear the chest first."""
    for estimate in (chest_at_rest(), chest_pushing()):
        assert "about" not in estimate.spoken()
        assert estimate.spoken().endswith("Clear the chest first.")
        assert any("never say" in caution for caution in estimate.cautions)


@given(st.floats(0.1, 30), st.floats(2, 30))
def test_wall_pressure_rises_with_depth_and_is_below_hydrostatic(depth: float, diameter: float) -> None:
    """Janssen rises with depth, stays under the unsupported column, and the range is never below nothing."""
    vertical = janssen_pa(depth, diameter, 750.0, 0.37, 0.5)[0]
    assert 0 < vertical < 750 * GRAVITY_M_S2 * depth * (1 + 1e-9)
    assert vertical < janssen_pa(depth + 1, diameter, 750.0, 0.37, 0.5)[0]
    wall = bin_wall_pressure(CORN, diameter, Span.exact(depth))
    assert 0 <= wall.low <= wall.value <= wall.high
    assert math.isfinite(wall.high)


def test_impossible_inputs_are_refused() -> None:
    """Negative heads, absurd bins, friction angles and panels are refused."""
    for call in (
        lambda: panel_load(CORN, 0.61, Span.about(0.0, 0.5)),
        lambda: panel_load(CORN, 0.0, Span.exact(0.5)),
        lambda: bin_wall_pressure(CORN, 200.0, Span.exact(5)),
        lambda: rankine_ratios(80.0),
    ):
        with pytest.raises(EstimateError):
            call()
