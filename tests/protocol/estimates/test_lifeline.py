"""Lifeline slack: nobody sinks below the waist."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.body import MARK_FRACTIONS, Mark, Person
from protocol.estimates.lifeline import RING_FRACTION, line_length_m, slack_allowed
from protocol.estimates.result import Span

RESCUER = Person(Span.exact(1.78), Span.exact(85.0))


@given(st.floats(2.5, 12), st.floats(0, 6), st.floats(1.55, 1.95))
def test_with_the_least_slack_nobody_sinks_below_the_waist(anchor: float, aside: float, height: float) -> None:
    """With slack at the low end and rope at middle stretch, the line is tight before grain reaches the waist."""
    person = Person(Span.exact(height), Span.exact(80.0))
    slack = slack_allowed(person, Span.exact(anchor), Span.exact(aside)).allowed.low
    if slack == 0:
        return
    standing = line_length_m(anchor, aside, RING_FRACTION.value * height)
    tight = 1.05 * standing + slack
    down = math.sqrt(max(0.0, tight**2 - aside**2))
    sunk = RING_FRACTION.value * height - (anchor - down)
    assert sunk <= MARK_FRACTIONS[Mark.WAIST] * height + 1e-9


@given(st.floats(3, 10), st.floats(0, 6), st.floats(0.1, 3))
def test_further_aside_allows_less(anchor: float, aside: float, more: float) -> None:
    """Standing further to the side of the anchor leaves less slack."""
    here, there = (
        slack_allowed(RESCUER, Span.exact(anchor), Span.exact(each)).allowed for each in (aside, aside + more)
    )
    assert there.value <= here.value + 1e-9


def test_under_the_anchor_the_slack_is_the_sink_less_stretch() -> None:
    """Straight under the anchor: waist height less 5 % of the line."""
    allowed = slack_allowed(RESCUER, Span.exact(5.0), Span.exact(0.0)).allowed
    expected = 0.626 * 1.78 - 0.05 * (5.0 - 0.80 * 1.78)
    assert expected == pytest.approx(allowed.value)


def test_the_low_end_alone_is_spoken() -> None:
    """People hear the least allowed slack, or that there is none, and to keep the line snug."""
    assert slack_allowed(RESCUER, Span.exact(5.0), Span.exact(2.0)).spoken().startswith("No more than twenty")
    far = slack_allowed(RESCUER, Span.exact(15.0), Span.exact(10.0)).spoken()
    assert "No slack to spare. Keep it snug, and check it at every move." == far


def test_an_anchor_too_low_is_refused() -> None:
    """An anchor at the back ring or below cannot hold anybody up."""
    with pytest.raises(EstimateError, match="anchor"):
        slack_allowed(RESCUER, Span.exact(1.2), Span.exact(0.0))
    with pytest.raises(EstimateError):
        slack_allowed(RESCUER, Span.exact(5.0), Span.exact(50.0))
