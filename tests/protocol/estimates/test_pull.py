"""Pull force: measured ranges, and a refusal every time."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.body import MARK_FRACTIONS, Mark
from protocol.estimates.pull import AT_KNEES, FREE, MEASURED, REFUSAL, may_pull, pull_force
from protocol.units import POUND_FORCE_N
from tests.protocol.estimates.people import SIX_FOOT

HELD = [mark for mark in Mark if MARK_FRACTIONS[mark] >= MARK_FRACTIONS[Mark.KNEES]]


@pytest.mark.parametrize(
    ("newtons", "pounds"),
    [(1259, 283), (1766, 397), (1584, 356), (2153, 484), (1320, 297), (2770, 623), (4010, 901)],
)
def test_published_forces_in_both_units(newtons: float, pounds: float) -> None:
    """Roberts et al. 2015 and Issa et al. 2024: newtons and pounds of force agree to the pound, and lie in the table."""
    assert pounds == round(newtons / POUND_FORCE_N)
    assert any(newtons == pytest.approx(row.newtons) for row in MEASURED)


def test_a_wall_makes_it_harder() -> None:
    """A panel wall raised the force by 26 % at the waist and 22 % underarm (Roberts et al. 2015)."""
    assert 1.26 == pytest.approx(1584 / 1259, abs=0.005)
    assert 1.22 == pytest.approx(2153 / 1766, abs=0.005)
    for mark in (Mark.WAIST, Mark.CHEST):
        assert pull_force(mark, SIX_FOOT, wall=True).low > pull_force(mark, SIX_FOOT).low
        assert pull_force(mark, SIX_FOOT, wall=True).high > pull_force(mark, SIX_FOOT).high


def test_every_measurement_lies_in_the_range_at_its_depth() -> None:
    """Walking the table: every row has a source and lies in the range given at its mark."""
    for row in MEASURED:
        assert row.source
        force = pull_force(row.mark, SIX_FOOT, wall=row.wall)
        assert force.low <= row.newtons <= force.high


def test_unreferenced_figures_are_kept_out() -> None:
    """No row at the waist comes near the 650 to 1,200 lb of training texts; the whole stays under 1,000 lbf."""
    assert pull_force(Mark.WAIST, SIX_FOOT).high < 650 * POUND_FORCE_N
    assert max(row.newtons for row in MEASURED) <= 1000 * POUND_FORCE_N + 1e-6


@given(st.floats(0.285, 0.99), st.floats(0.001, 0.5))
def test_deeper_is_harder(fraction: float, deeper: float) -> None:
    """Both ends of the range rise with depth."""
    height = SIX_FOOT.height_m.value
    here, below = (pull_force(min(1.0, part) * height, SIX_FOOT) for part in (fraction, fraction + deeper))
    assert here.low <= below.low + 1e-9
    assert here.high <= below.high + 1e-9


def test_never_one_number_and_always_the_refusal() -> None:
    """At every mark only a range is spoken, followed by the refusal."""
    for mark in HELD:
        spoken = pull_force(mark, SIX_FOOT).spoken()
        assert "about" not in spoken
        assert spoken.startswith("It took between ")
        assert spoken.endswith(REFUSAL)


@given(st.one_of(st.sampled_from(Mark), st.floats(0.0, 2.5)), st.booleans())
def test_no_answer_is_ever_yes(level: Mark | float, held: bool) -> None:
    """Whatever the depth, held or free, the answer to pulling is no."""
    answer = may_pull(level, SIX_FOOT, held=held)
    assert answer.pull is False
    assert "pull" in answer.sentence or "lifts" in answer.sentence


def test_what_is_said_instead() -> None:
    """Above the knees: take grain away. At the knees: ask for a step. Free: climb."""
    assert REFUSAL == may_pull(Mark.WAIST, SIX_FOOT, held=True).sentence
    assert AT_KNEES == may_pull(Mark.KNEES, SIX_FOOT, held=True).sentence
    assert FREE == may_pull(Mark.KNEES, SIX_FOOT, held=False).sentence


def test_below_what_was_measured_there_is_no_number() -> None:
    """Nothing was measured below the knees, or with a wall below the waist."""
    with pytest.raises(EstimateError, match="knees"):
        pull_force(Mark.FEET, SIX_FOOT)
    with pytest.raises(EstimateError, match="waist"):
        pull_force(Mark.HIPS, SIX_FOOT, wall=True)
