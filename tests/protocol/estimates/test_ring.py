"""The ring: areas against plane geometry, reach against the published body heights."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.body import UNKNOWN_PERSON
from protocol.estimates.result import Span
from protocol.estimates.ring import Ring, polygon_area_m2, ring_area, ring_reach
from protocol.units import FOOT_M, INCH_M
from tests.protocol.estimates.people import SIX_FOOT, TWO_BY_TWO

WIDTHS = st.lists(st.floats(0.2, 1.2), min_size=3, max_size=12)


@pytest.mark.parametrize("count", range(3, 13))
def test_equal_panels_make_a_regular_polygon(count: int) -> None:
    """Regular: n panels of width w enclose n w^2 / (4 tan(pi/n))."""
    expected = count * 0.6**2 / (4 * math.tan(math.pi / count))
    assert expected == pytest.approx(polygon_area_m2((0.6,) * count), rel=1e-9)


def test_three_panels_by_heron() -> None:
    """Any triangle, obtuse ones too, has Heron's area."""
    for sides in ((0.3, 0.4, 0.5), (0.6, 0.6, 1.1), (0.5, 0.7, 0.9)):
        half = sum(sides) / 2
        expected = math.sqrt(half * math.prod(half - side for side in sides))
        assert expected == pytest.approx(polygon_area_m2(sides), rel=1e-7)


def test_four_mixed_panels_by_brahmagupta() -> None:
    """Four mixed widths have Brahmagupta's area, the largest four sides can enclose."""
    for sides in ((0.6, 0.6, 0.9, 0.9), (0.3, 0.5, 0.7, 1.2), (0.6, 0.4, 0.6, 0.8)):
        half = sum(sides) / 2
        expected = math.sqrt(math.prod(half - side for side in sides))
        assert expected == pytest.approx(polygon_area_m2(sides), rel=1e-7)


def test_two_foot_square() -> None:
    """Four 2-ft panels enclose 4 ft2; overlapping 3/4 in panels leave 22.5 in one way."""
    area = ring_area(TWO_BY_TWO)
    assert 4.0 == pytest.approx(area.value / FOOT_M**2)
    narrow = (22.5 / 24) * math.cos(math.radians(15)) * 4.0
    assert narrow == pytest.approx(area.low / FOOT_M**2)
    assert "About four square feet inside the ring, between three and a half and four." == area.spoken()


@given(WIDTHS, st.randoms(use_true_random=False))
def test_order_of_panels_does_not_matter(widths: list[float], random: object) -> None:
    """The area does not depend on the order, never exceeds the circle of the same girth, and is above nothing."""
    if 2 * max(widths) >= sum(widths):
        with pytest.raises(EstimateError):
            Ring(tuple(widths))
        return
    shuffled = list(widths)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    area = polygon_area_m2(tuple(widths))
    assert area == pytest.approx(polygon_area_m2(tuple(shuffled)), rel=1e-9)
    assert 0.0 < area <= sum(widths) ** 2 / (4 * math.pi) * (1 + 1e-9)


@given(WIDTHS, st.integers(0, 11), st.floats(0.01, 0.3))
def test_a_wider_panel_never_encloses_less(widths: list[float], index: int, wider: float) -> None:
    """Widening a panel that is not the longest enlarges the ring."""
    index %= len(widths)
    grown = [*widths]
    grown[index] += wider
    if 2 * max(grown) < sum(grown) and grown[index] < max(widths):
        assert polygon_area_m2(tuple(grown)) > polygon_area_m2(tuple(widths))


def test_five_foot_panels_round_a_six_foot_person() -> None:
    """5 ft panels level with a 6 ft head end 1 ft above the soles and 0.71 ft (8.5 in) below the knee."""
    reach = ring_reach(SIX_FOOT, TWO_BY_TWO)
    assert 1.0 == pytest.approx(reach.gap_at_feet.value / FOOT_M)
    assert 0.71 == pytest.approx(reach.below_knees.value / FOOT_M, abs=0.001)
    assert 8.5 == pytest.approx(reach.below_knees.value / INCH_M, abs=0.05)
    assert "enough" == reach.verdict
    assert "The panels reach about nine inches below the knees, between six and eleven." in reach.spoken()


def test_panels_left_standing_high_are_short() -> None:
    """Panels standing two feet proud of the head do not reach the knees, and the sentence says what to do."""
    reach = ring_reach(SIX_FOOT, TWO_BY_TWO, Span.about(8 * FOOT_M, 0.02))
    assert "short" == reach.verdict
    assert "The panels end above the knees. Drive them deeper." == reach.spoken()


def test_doubt_is_not_taken_as_enough() -> None:
    """When the range includes ending above the knees the answer is not 'enough'."""
    reach = ring_reach(UNKNOWN_PERSON, TWO_BY_TWO, Span.about(2.0, 0.1))
    assert "unsure" == reach.verdict
    assert "may not reach" in reach.spoken()


def test_panels_driven_past_the_feet() -> None:
    """With the edge below the soles no gap is claimed."""
    reach = ring_reach(SIX_FOOT, TWO_BY_TWO, Span.exact(4.5 * FOOT_M))
    assert reach.gap_at_feet.high < 0
    assert "Little or no gap at the feet." in reach.spoken()


@given(st.floats(1.2, 2.0), st.floats(0.0, 0.5))
def test_driving_deeper_reaches_further(top: float, deeper: float) -> None:
    """Every centimetre driven adds a centimetre of reach and takes one from the gap."""
    before = ring_reach(SIX_FOOT, TWO_BY_TWO, Span.exact(top))
    after = ring_reach(SIX_FOOT, TWO_BY_TWO, Span.exact(top - deeper))
    assert deeper == pytest.approx(after.below_knees.value - before.below_knees.value, abs=1e-9)
    assert deeper == pytest.approx(before.gap_at_feet.value - after.gap_at_feet.value, abs=1e-9)


@pytest.mark.parametrize(
    ("widths", "length", "thickness"),
    [
        ((0.6, 0.6), 1.5, 0.02),
        ((0.6, 0.6, 0.01), 1.5, 0.0),
        ((0.6, 0.6, 1.3), 1.5, 0.02),
        ((0.6, 0.6, 0.6), 9.0, 0.02),
        ((0.6, 0.6, 0.6), 1.5, 0.3),
    ],
)
def test_impossible_rings_are_refused(widths: tuple[float, ...], length: float, thickness: float) -> None:
    """Two panels, slivers, a panel too wide to close, or absurd sizes make no ring."""
    with pytest.raises(EstimateError):
        Ring(widths, length, thickness)
