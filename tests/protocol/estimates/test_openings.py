"""Flow through holes and wall openings: Beverloo checks, the side factor and its limits, spacing, time."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.grain import GRAINS, GrainName
from protocol.estimates.openings import HEIGHTS_FT, NEVER, WIDTHS_M, cut_plan, time_to_lower
from protocol.estimates.orifice import (
    BEVERLOO_C,
    BEVERLOO_K,
    SIDE_SHARE,
    TESTED_M2,
    Hole,
    beverloo_kg_s,
    floor_flow_kg_s,
    wall_flow,
)
from protocol.estimates.result import Span
from protocol.units import BUSHEL_HOUR_M3_S, FOOT_M, INCH_M

CORN = GRAINS[GrainName.CORN]
CORN_KG_BU = 25.401


@pytest.mark.parametrize(
    ("diameter", "kilograms", "bushels_hour"),
    [(0.10, 3.07635, 436), (0.20, 20.2772, 2874), (0.254, 38.0299, 5390), (0.30, 58.6808, 8317)],
)
def test_beverloo_check(diameter: float, kilograms: float, bushels_hour: float) -> None:
    """Beverloo with C .58, k 1.4, rho 720.8, d 8 mm at four sizes, in kg/s and bu/h of corn."""
    flow = beverloo_kg_s(diameter, 720.8, 0.008)
    assert kilograms == pytest.approx(flow, rel=1e-5)
    assert bushels_hour == pytest.approx(flow * 3600 / CORN_KG_BU, abs=0.6)


def test_constants_lie_in_the_published_ranges() -> None:
    """C 0.55-0.65, k 1-3, side share 37-50 %, tested on 100-400 cm2 (Chang, Converse & Steele 1991)."""
    assert (0.55, 0.65) == (BEVERLOO_C.low, BEVERLOO_C.high)
    assert (1.0, 3.0) == (BEVERLOO_K.low, BEVERLOO_K.high)
    assert (0.37, 0.50) == (SIDE_SHARE.low, SIDE_SHARE.high)
    assert (100, 400) == tuple(round(area * 1e4) for area in TESTED_M2)


def test_thirty_six_inch_semicircle() -> None:
    """36-in semicircle: 508.9 in2, 3,283 cm2, Dh 22.0 in; 388.9 kg/s laid flat; x .37-.50 = 20,400-27,600 bu/h."""
    hole = Hole.semicircle(36 * INCH_M)
    assert 508.9 == pytest.approx(hole.area_m2 / INCH_M**2, abs=0.05)
    assert 3283 == pytest.approx(hole.area_m2 * 1e4, abs=0.5)
    assert 22.0 == pytest.approx(hole.hydraulic_m / INCH_M, abs=0.01)
    flat = floor_flow_kg_s(hole, 720.8, 0.008, 0.58, 1.4)
    assert 388.9 == pytest.approx(flat, abs=0.1)
    for share, bushels in ((0.37, 20_400), (0.50, 27_600)):
        assert bushels == pytest.approx(flat * share * 3600 / CORN_KG_BU, abs=60)


def test_beyond_the_tested_size_it_is_flagged_and_widened() -> None:
    """Eight times the tested maximum carries a flag and a range over a factor of three; a tested size does not."""
    large, tested = wall_flow(Hole.semicircle(36 * INCH_M), CORN), wall_flow(Hole.circle(0.2), CORN)
    assert 8 == pytest.approx(Hole.semicircle(36 * INCH_M).area_m2 / TESTED_M2[1], abs=0.3)
    assert any("order of size only" in caution for caution in large.cautions)
    assert large.high / large.low > 3
    assert large.low < 20_400 * BUSHEL_HOUR_M3_S < 27_600 * BUSHEL_HOUR_M3_S < large.high
    assert not any("order of size only" in caution for caution in tested.cautions)


def test_shapes() -> None:
    """A circle's hydraulic diameter is its own; a V and a semicircle have less than a circle of their width."""
    assert 0.3 == Hole.circle(0.3).hydraulic_m
    assert Hole.semicircle(0.9).hydraulic_m < 0.9
    v = Hole.v_cut(0.9, 0.9)
    assert 0.405 == pytest.approx(v.area_m2)
    assert v.hydraulic_m < 0.9


@given(st.floats(0.08, 1.2), st.floats(0.01, 0.5))
def test_larger_holes_flow_more(size: float, more: float) -> None:
    """Flow rises with the size of the hole, and with smaller kernels."""
    assert wall_flow(Hole.circle(size), CORN).value < wall_flow(Hole.circle(size + more), CORN).value
    assert wall_flow(Hole.circle(size), CORN).value < wall_flow(Hole.circle(size), GRAINS[GrainName.WHEAT]).value


def test_a_hole_hardly_wider_than_the_kernels_does_not_flow() -> None:
    """Beverloo gives nothing below k kernels across, not a negative flow."""
    assert 0.0 == beverloo_kg_s(0.01, 720.8, 0.008)


@given(st.floats(5, 40), st.sampled_from([2, 4, 6, 8]))
def test_openings_are_even_and_opposite(diameter: float, count: int) -> None:
    """Angles are evenly spaced; each pair is opposite; every opening is in exactly one pair."""
    plan = cut_plan(diameter, count)
    gaps = [
        (after - before) % 360 for before, after in zip(plan.angles_deg, (*plan.angles_deg[1:], 360.0), strict=True)
    ]
    assert [360 / count] * count == pytest.approx(gaps)
    for one, other in plan.pairs:
        assert 180.0 == pytest.approx(plan.angles_deg[other - 1] - plan.angles_deg[one - 1])
    assert sorted(range(1, count + 1)) == sorted(opening for pair in plan.pairs for opening in pair)
    assert math.pi * diameter == pytest.approx(count * plan.spacing.value)


@pytest.mark.parametrize("count", [-2, 0, 1, 3, 5])
def test_one_sided_openings_are_refused(count: int) -> None:
    """An odd count, or a single opening, would weaken one side and is refused."""
    with pytest.raises(EstimateError, match="opposite"):
        cut_plan(9.0, count)


def test_more_hole_than_wall_is_refused() -> None:
    """Openings that leave less wall than they take are refused; unusual sizes are remarked on."""
    with pytest.raises(EstimateError, match="less wall"):
        cut_plan(4.0, 8, 40 * INCH_M)
    assert any("30 to 40 in" in caution for caution in cut_plan(9.0, 4, 20 * INCH_M).cautions)
    assert not any("30 to 40 in" in caution for caution in cut_plan(9.0, 4, WIDTHS_M[1]).cautions)
    assert (4, 6) == HEIGHTS_FT


def test_cut_plan_is_spoken() -> None:
    """The plan says how many, how far apart, which together; the caution forbids augers and gates."""
    plan = cut_plan(30 * FOOT_M, 4)
    assert plan.spoken().startswith(
        "Four openings, evenly round the bin. About twenty three and a half feet from middle to middle"
    )
    assert plan.spoken().endswith("Cut one with three, then two with four. Never all on one side.")
    assert NEVER in plan.cautions


def test_time_to_lower_the_surface() -> None:
    """Time is floor area x depth over the flow: twice the depth twice the time, more openings less; no auger, no gate."""
    hole = Hole.semicircle(36 * INCH_M)
    once = time_to_lower(30 * FOOT_M, Span.exact(1.0), hole, 4, CORN)
    assert 2 * once.value == pytest.approx(time_to_lower(30 * FOOT_M, Span.exact(2.0), hole, 4, CORN).value)
    assert once.value == pytest.approx(2 * time_to_lower(30 * FOOT_M, Span.exact(1.0), hole, 8, CORN).value)
    flow = 4 * wall_flow(hole, CORN).value
    assert math.pi * (15 * FOOT_M) ** 2 / flow == pytest.approx(once.value)
    assert NEVER in once.cautions
    with pytest.raises(EstimateError):
        time_to_lower(9.0, Span.exact(1.0), hole, 0, CORN)
    with pytest.raises(EstimateError, match="larger"):
        time_to_lower(9.0, Span.exact(1.0), Hole.circle(0.02), 2, CORN)
