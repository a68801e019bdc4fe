"""Grain in a bin: layers and cones against the short forms."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.grain import GRAINS, GrainName
from protocol.estimates.result import Span
from protocol.estimates.storage import cone_height_m, cone_m3, cylinder_m3, grain_in_bin
from protocol.units import BUSHEL_M3, CUBIC_FOOT_M3, FOOT_M

CORN = GRAINS[GrainName.CORN]


def test_thirty_foot_cone() -> None:
    """30-ft cone of corn at 23 deg: 6.367 ft high, 1,500.2 ft3, 1,205.5 bu; D^2 x 0.262 x h within 0.1 %."""
    height = cone_height_m(30 * FOOT_M, 23.0)
    assert 6.367 == pytest.approx(height / FOOT_M, abs=5e-4)
    volume = cone_m3(30 * FOOT_M, height)
    assert 1500.2 == pytest.approx(volume / CUBIC_FOOT_M3, abs=0.05)
    assert 1205.5 == pytest.approx(volume / BUSHEL_M3, abs=0.05)
    assert 30**2 * 0.262 * 6.367 == pytest.approx(volume / CUBIC_FOOT_M3, rel=1e-3)
    assert 0.262 == pytest.approx(math.pi / 12, abs=3e-4)


def test_one_foot_layer() -> None:
    """A 30-ft bin holds 568.0 bu per foot."""
    assert 568.0 == pytest.approx(cylinder_m3(30 * FOOT_M, FOOT_M) / BUSHEL_M3, abs=0.05)


@given(st.floats(2, 40), st.floats(0, 20))
def test_a_peak_adds_grain(diameter: float, depth: float) -> None:
    """A peaked bin holds more than a level one; ranges are never below nothing."""
    level, peaked = (grain_in_bin(CORN, Span.exact(diameter), Span.exact(depth), peaked=peak) for peak in (False, True))
    assert 0 <= level.low <= level.value < peaked.value
    assert peaked.value - level.value == pytest.approx(cone_m3(diameter, cone_height_m(diameter, 23.0)), rel=1e-6)


def test_impossible_bins_are_refused() -> None:
    """A bin of no width or endless depth is refused."""
    for diameter, depth in ((0.2, 1.0), (9.0, 500.0)):
        with pytest.raises(EstimateError):
            grain_in_bin(CORN, Span.exact(diameter), Span.exact(depth), peaked=False)
