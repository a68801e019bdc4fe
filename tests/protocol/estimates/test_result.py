"""The common result: ranges, rounding, the spoken sentence."""

import math
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.result import Estimate, Span, spread
from protocol.estimates.wording import number_words, rounded
from protocol.units import BUSHEL_M3, System, Unit

SYSTEMS: tuple[System, ...] = ("us", "metric")


def _bushels(value: float, low: float, high: float, says: str = "{amount} left") -> Estimate:
    return Estimate(
        value * BUSHEL_M3, low * BUSHEL_M3, high * BUSHEL_M3, Unit.CUBIC_METRE, "method", "source", says
    )  # fmt: skip


def test_the_sentence_carries_value_and_range() -> None:
    """A spoken estimate gives a rounded value and a range rounded outward, halves as halves."""
    assert "About seven bushels left, between six and eight and a half." == _bushels(7.23, 6.1, 8.3).spoken("us")
    assert "About two hundred fifty litres left, between two hundred ten and three hundred." == (
        _bushels(7.23, 6.1, 8.3).spoken("metric")
    )


def test_a_range_from_nothing_is_spoken_as_at_most() -> None:
    """A range that starts at nothing is spoken by its upper end."""
    assert "About one bushel left, one and a half at most." == _bushels(1.1, 0.0, 1.4).spoken("us")


def test_range_only_never_speaks_one_number() -> None:
    """Where measurements disagree only the range is spoken."""
    pull = Estimate(1500, 1259, 1766, Unit.NEWTON, "m", "s", "{amount} to pull", range_only=True)
    assert "Between two hundred eighty and four hundred pounds of force to pull." == pull.spoken("us")


def test_the_last_sentence_is_always_spoken() -> None:
    """What must follow a number follows it."""
    purge = Estimate(1500, 900, 2400, Unit.SECOND, "m", "s", then_say="Test again.")
    assert "About twenty five minutes, between fifteen and forty. Test again." == purge.spoken()


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (0.5, "half"),
        (8.5, "eight and a half"),
        (1.6, "one point six"),
        (0.3, "zero point three"),
        (105, "one hundred five"),
        (20_000, "twenty thousand"),
        (24_500, "twenty four thousand five hundred"),
        (2_000_000, "two million"),
    ],
)
def test_numbers_in_words(number: float, words: str) -> None:
    """Numbers are spoken as people say them."""
    assert words == number_words(number)


@given(st.floats(0.0, 1e5), st.floats(0, 0.9), st.floats(0, 3), st.sampled_from(list(Unit)), st.sampled_from(SYSTEMS))
def test_rounding_never_narrows_the_range(value: float, down: float, up: float, unit: Unit, units: System) -> None:
    """The spoken ends enclose the computed range and the spoken value lies between them, whatever the unit."""
    span = (value, value * (1 - down), value * (1 + up))
    said = rounded(span, unit, units, ("canister", "canisters"))
    size = said.display.size
    assert said.low * size <= span[1] * (1 + 1e-9) + 1e-6 * size
    assert said.high * size >= span[2] * (1 - 1e-9) - 1e-6 * size
    assert said.low <= said.value <= said.high + said.step / 2
    assert said.high - said.low <= (span[2] - span[1]) / size + 2 * said.step + 1e-6
    assert said.amount


def test_a_range_the_wrong_way_round_is_refused() -> None:
    """No estimate exists whose value lies outside its range or is not finite."""
    for value, low, high in ((1.0, 2.0, 3.0), (1.0, 0.0, math.inf), (math.nan, 0.0, 1.0)):
        with pytest.raises(EstimateError):
            Estimate(value, low, high, Unit.METRE, "m", "s")
        with pytest.raises(EstimateError):
            Span(value, low, high)


def test_spread_is_exact_for_a_sum() -> None:
    """Independent errors of a sum combine as the root of the sum of squares."""
    total = spread(lambda a, b: a + b, a=Span.about(1, 3), b=Span.about(2, 4))
    assert (3, -2, 8) == pytest.approx((total.value, total.low, total.high))


def test_spread_keeps_nine_in_ten() -> None:
    """Ninety per cent ranges in give a ninety per cent range out (Monte Carlo, product of three, 20,000 draws)."""
    spans = {"a": Span.about(2.6, 0.25), "b": Span.about(0.37, 0.02), "c": Span.about(1.0, 0.1)}
    result = spread(lambda a, b, c: a * b * c, **spans)
    random = Random(1)
    inside = 0
    for _ in range(20_000):
        draw = [random.gauss(span.value, (span.high - span.low) / 2 / 1.645) for span in spans.values()]
        inside += result.low <= math.prod(draw) <= result.high
    assert 0.9 == pytest.approx(inside / 20_000, abs=0.01)
