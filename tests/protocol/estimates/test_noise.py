"""Noise: both published tables, dose, and what is left."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.noise import Criterion, Exposure, allowed_s, dose_pct, noise_dose, noise_left

OSHA_TABLE = [(90, 8), (92, 6), (95, 4), (97, 3), (100, 2), (102, 1.5), (105, 1), (110, 0.5), (115, 0.25)]
NIOSH_TABLE = [(85, 480), (88, 240), (91, 120), (97, 30), (100, 15)]


@pytest.mark.parametrize(("level", "hours"), OSHA_TABLE)
def test_osha_table(level: float, hours: float) -> None:
    """29 CFR 1910.95 Table G-16, same as 1926.52 D-2: printed values are rounded, so within 1.5 %."""
    assert hours == pytest.approx(allowed_s(level, Criterion.OSHA) / 3600, rel=0.015)


def test_osha_formula_value() -> None:
    """97 dBA is 3.03143 h by the formula; 95 is 4.0 h exactly; over 115 nothing."""
    assert 3.03143 == pytest.approx(allowed_s(97, Criterion.OSHA) / 3600, abs=5e-6)
    assert 4.0 == allowed_s(95, Criterion.OSHA) / 3600
    assert 0.0 == allowed_s(116, Criterion.OSHA)


@pytest.mark.parametrize(("level", "minutes"), NIOSH_TABLE)
def test_niosh_table(level: float, minutes: float) -> None:
    """NIOSH 98-126: 85 dBA 480 min, halved every 3 dB."""
    assert minutes == pytest.approx(allowed_s(level, Criterion.NIOSH) / 60)


@given(st.lists(st.tuples(st.floats(60, 114), st.floats(0, 20_000)), max_size=6), st.sampled_from(Criterion))
def test_dose_adds_up(periods: list[tuple[float, float]], criterion: Criterion) -> None:
    """The dose of several periods is the sum of their doses, never negative, and grows with level."""
    exposures = [Exposure(*period) for period in periods]
    total = dose_pct(exposures, criterion)
    assert total == pytest.approx(sum(dose_pct([one], criterion) for one in exposures))
    assert 0 <= total <= dose_pct(exposures, criterion, 1.0) + 1e-9


def test_a_full_allowance_is_a_hundred_per_cent() -> None:
    """Staying for the allowed time is a dose of 100, and then nothing is left."""
    for criterion in Criterion:
        full = (Exposure(97, allowed_s(97, criterion)),)
        assert 100 == pytest.approx(noise_dose(full, criterion).value)
        left = noise_left(full, 97)
        assert 0.0 == pytest.approx((left.osha if criterion is Criterion.OSHA else left.niosh).value, abs=1e-6)


def test_the_meter_is_doubted_by_two_decibels() -> None:
    """2 dB either way spans the time left: NIOSH 30 min at 97 dBA becomes 19 to 48."""
    left = noise_left((), 97.0).niosh
    assert (30, 480 / 2 ** (14 / 3), 480 / 2 ** (10 / 3)) == pytest.approx(
        (left.value / 60, left.low / 60, left.high / 60)
    )


def test_the_shorter_rule_is_spoken_first() -> None:
    """At 97 dBA the NIOSH half hour comes before the OSHA three hours."""
    expected = (
        "By NIOSH, about thirty minutes left in this noise, between fifteen and fifty. "
        "By OSHA, about three hours left in this noise, between two and four."
    )
    assert expected == noise_left((), 97.0).spoken()


def test_impossible_exposures_are_refused() -> None:
    """Negative times and absurd levels are refused."""
    for level, seconds in ((-5, 10), (300, 10), (90, -1)):
        with pytest.raises(EstimateError):
            Exposure(level, seconds)
