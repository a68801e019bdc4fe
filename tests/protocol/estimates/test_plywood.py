"""Cutting plan: nothing is cut from nothing."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.plywood import KERF_M, SHEET_M, TRIM_M, cutting_plan
from protocol.units import FOOT_M, INCH_M


def test_four_panels_from_two_sheets() -> None:
    """Four 5 x 2 ft panels come from two 4 x 8 ft sheets (common practice; two sheets: MSU Extension P2598)."""
    plan = cutting_plan((2 * FOOT_M,) * 4, 5 * FOOT_M)
    assert 2 == len(plan.sheets)
    assert 4 == plan.panels
    assert 23.875 == pytest.approx(plan.narrowest_m / INCH_M)
    assert 4 == len(plan.offcuts)
    assert (
        "Two sheets for four panels, four offcuts for gaps. The largest is thirty five inches by twenty four inches."
        == plan.spoken()
    )


def test_offcuts_close_the_gap_at_the_feet() -> None:
    """What is left over gives a foot-high board for each of the four sides."""
    plan = cutting_plan((2 * FOOT_M,) * 4, 5 * FOOT_M)
    assert plan.gap_boards(23.5 * INCH_M, 11.5 * INCH_M) >= 4


@given(st.lists(st.sampled_from([0.3, 0.45, 0.6, 0.9, 1.2]), min_size=1, max_size=10), st.floats(0.5, 2.4))
def test_no_sheet_gives_more_than_it_has(widths: list[float], length: float) -> None:
    """Area of panels, offcuts and cuts never exceeds the sheets; every panel asked for is cut."""
    plan = cutting_plan(tuple(widths), length)
    assert len(widths) == plan.panels
    used = sum(strip.width_m * strip.panels * length for sheet in plan.sheets for strip in sheet)
    left = sum(piece.area_m2 for piece in plan.offcuts)
    assert used + left <= len(plan.sheets) * SHEET_M[0] * SHEET_M[1] * (1 + 1e-9)
    for sheet in plan.sheets:
        across = SHEET_M[0] + SHEET_M[1] - plan.along_m
        assert sum(strip.width_m for strip in sheet) + KERF_M * (len(sheet) - 1) <= across + 1e-9
        for strip in sheet:
            assert min(abs(strip.width_m - width) for width in widths) <= TRIM_M + 1e-9
            assert strip.panels * length + KERF_M * (strip.panels - 1) <= plan.along_m + 1e-9


def test_a_panel_larger_than_a_sheet_is_refused() -> None:
    """A panel that does not fit either way round is refused, as are sizes of nothing."""
    for widths, length in (((1.5,), 2.0), ((0.6,), 3.0), ((), 1.0), ((0.0,), 1.0)):
        with pytest.raises(EstimateError):
            cutting_plan(widths, length)
