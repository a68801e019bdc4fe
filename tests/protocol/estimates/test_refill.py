"""Refill after a panel is taken out: closed form against a numerical slump, conservation, and the order of removal."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from protocol.errors import EstimateError
from protocol.estimates.body import Mark
from protocol.estimates.grain import GRAINS, GrainName
from protocol.estimates.refill import CHECKED, Opening, refill_when_out, removal_order
from protocol.estimates.result import Span
from protocol.estimates.ring import Ring
from protocol.units import FOOT_M
from tests.protocol.estimates.people import SIX_FOOT, TWO_BY_TWO
from tests.protocol.estimates.slump import slump

CORN = GRAINS[GrainName.CORN]


@pytest.mark.parametrize(("difference", "cells", "free"), [
    (CHECKED[0], 40, 1.0), (0.8, 16, 1.0), (1.5, 10, 1.0), (1.5, 10, 0.8), (3.0, 8, 1.0), (CHECKED[1], 6, 1.0),
])  # fmt: skip
def test_closed_form_agrees_with_a_numerical_slump(difference: float, cells: int, free: float) -> None:
    """Over the stated domain the closed form is within 10 % of a slope-limited flow on a grid, which conserves volume."""
    came, lost = slump(difference, cells, free, stop=4e-3)
    assert came == pytest.approx(lost, rel=1e-6)
    assert came == pytest.approx(Opening(1.0, 1.0, free, 4).slump_m3(difference, 1.0), rel=0.10)


@given(st.floats(0.05, 3.0), st.floats(18, 38), st.floats(0.3, 1.2), st.integers(3, 10), st.floats(0.6, 1.0))
def test_what_leaves_the_funnel_fills_the_ramp(
    difference: float, angle: float, width: float, panels: int, free: float
) -> None:
    """Volume is conserved: the slump is where scipy's root of funnel less ramp puts it."""
    opening = Opening(width, width**2, free, panels)
    slope = math.tan(math.radians(angle))
    root = brentq(lambda y: opening.ramp_m3(y, slope) - opening.funnel_m3(difference - y, slope), 0, difference)
    expected = opening.ramp_m3(root, slope)
    assert expected == pytest.approx(opening.slump_m3(difference, slope), rel=1e-5, abs=1e-9)
    assert opening.slump_m3(difference, slope) <= opening.free * opening.area_m2 * difference


@given(st.floats(0.05, 2.5), st.floats(0.01, 0.5), st.floats(20, 36))
def test_more_difference_or_flatter_grain_lets_more_in(difference: float, more: float, angle: float) -> None:
    """Refill grows with the level difference and with flatter repose."""
    opening = Opening(0.61, 0.372, 0.85, 4)
    slope = math.tan(math.radians(angle))
    here = opening.slump_m3(difference, slope)
    assert here < opening.slump_m3(difference + more, slope)
    assert here <= opening.slump_m3(difference, slope * 0.9)


@given(st.floats(0.1, 2.0), st.floats(0.2, 3.0), st.floats(20, 36))
def test_everything_scales_with_one_number(difference: float, scale: float, angle: float) -> None:
    """Larger rings with proportionally larger differences refill in proportion to width cubed times tangent."""
    slope = math.tan(math.radians(angle))
    one = Opening(1.0, 1.0, 1.0, 4).slump_m3(difference, 1.0)
    other = Opening(scale, scale**2, 1.0, 4).slump_m3(difference * scale * slope, slope)
    assert one * scale**3 * slope == pytest.approx(other, rel=1e-6)


def test_no_higher_outside_lets_nothing_in() -> None:
    """Grain outside no higher than inside lets nothing in, and it is said so."""
    refill = refill_when_out(SIX_FOOT, TWO_BY_TWO, CORN, 2, Mark.HIPS, Span.about(-0.2, 0.05))
    assert 0.0 == refill.volume.value == refill.volume.high
    assert Mark.HIPS is refill.reaches
    assert "Panel two lets nothing in: the grain outside is no higher." == refill.spoken()


def test_refill_is_spoken_with_its_range_and_the_mark_it_reaches() -> None:
    """The prediction names the panel, the volume with its range, and where the grain will stand on the person."""
    refill = refill_when_out(SIX_FOOT, TWO_BY_TWO, CORN, 2, Mark.KNEES, Span.about(2 * FOOT_M, 0.08))
    assert refill.spoken().startswith("Panel two lets in about ")
    assert "bushels, between " in refill.spoken()
    assert refill.spoken().endswith("The grain comes to about the hips.")
    assert refill.volume.low < refill.volume.value < refill.volume.high
    assert "litres" in refill.spoken("metric")


def test_outside_the_checked_domain_it_says_so() -> None:
    """A level difference outside the domain checked against the simulation carries that caution."""
    inside = refill_when_out(SIX_FOOT, TWO_BY_TWO, CORN, 1, Mark.KNEES, Span.about(0.6, 0.05))
    beyond = refill_when_out(SIX_FOOT, TWO_BY_TWO, CORN, 1, Mark.KNEES, Span.about(2.2, 0.05))
    assert not any("Outside" in caution for caution in inside.volume.cautions)
    assert any("Outside" in caution for caution in beyond.volume.cautions)


@settings(max_examples=25)
@given(st.lists(st.floats(-0.3, 1.2), min_size=4, max_size=4))
def test_the_order_takes_the_least_refill_each_time(differences: list[float]) -> None:
    """Every panel is taken once; each is the one that lets least in at that moment."""
    spans = tuple(Span.about(each, 0.02) for each in differences)
    order = removal_order(SIX_FOOT, TWO_BY_TWO, CORN, Mark.KNEES, spans)
    assert {1, 2, 3, 4} == {refill.panel for refill in order}
    first = [refill_when_out(SIX_FOOT, TWO_BY_TWO, CORN, panel, Mark.KNEES, spans[panel - 1]) for panel in range(1, 5)]
    assert order[0].volume.value == min(refill.volume.value for refill in first)
    assert all(refill.volume.value >= 0 for refill in order)


@pytest.mark.parametrize("differences", [(0.9, 0.5, 0.7, 0.3), (0.4, 0.4, 0.5, 0.6), (1.2, 0.2, 0.6, 0.9)])
def test_no_other_order_has_a_smaller_worst_inrush(differences: tuple[float, ...]) -> None:
    """Of all 24 orders none has a largest single rise more than 2 % under that of the order given (brute force)."""
    spans = tuple(Span.exact(each) for each in differences)
    order = tuple(refill.panel for refill in removal_order(SIX_FOOT, TWO_BY_TWO, CORN, Mark.KNEES, spans))
    least = min(_worst_rise(_levels(any_order, spans)) for any_order in itertools.permutations((1, 2, 3, 4)))
    assert _worst_rise(_levels(order, spans)) <= 1.02 * least


def _worst_rise(levels: list[float]) -> float:
    start = 0.285 * SIX_FOOT.height_m.value
    return max(after - before for before, after in itertools.pairwise([start, *levels]))


def _levels(order: tuple[int, ...], spans: tuple[Span, ...]) -> list[float]:
    start = level = 0.285 * SIX_FOOT.height_m.value
    levels = []
    for panel in order:
        left = Span.exact(spans[panel - 1].value - (level - start))
        level += refill_when_out(SIX_FOOT, TWO_BY_TWO, CORN, panel, level, left).rise.value
        levels.append(level)
    return levels


def test_impossible_requests_are_refused() -> None:
    """A panel the ring has not, a missing outside level, an absurd difference, or no room for the person."""
    with pytest.raises(EstimateError, match="no panel 5"):
        refill_when_out(SIX_FOOT, TWO_BY_TWO, CORN, 5, Mark.KNEES, Span.exact(0.5))
    with pytest.raises(EstimateError, match="three metres"):
        refill_when_out(SIX_FOOT, TWO_BY_TWO, CORN, 1, Mark.KNEES, Span.exact(3.5))
    with pytest.raises(EstimateError, match="one outside level"):
        removal_order(SIX_FOOT, TWO_BY_TWO, CORN, Mark.KNEES, (Span.exact(0.5),))
    with pytest.raises(EstimateError, match="no room"):
        refill_when_out(SIX_FOOT, Ring.of(4, 0.2), CORN, 1, Mark.KNEES, Span.exact(0.6))
