"""What oxygen hides, and the milligram trap."""

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.air_arithmetic import (
    MEC_G_M3,
    co2_behind_oxygen,
    displaced_ppm,
    mg_m3,
    percent,
    ppm,
    respired_ppm,
)

REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()


def test_nineteen_and_a_half_per_cent_hides_carbon_dioxide() -> None:
    """O2 19.5: some 67,000 ppm by dilution (over the CO2 IDLH of 40,000), 14,000 by breathing (2.8 x the 5,000 limit)."""
    assert 66_986 == pytest.approx(displaced_ppm(19.5), abs=1)
    assert 14_000 == pytest.approx(respired_ppm(19.5))
    assert displaced_ppm(19.5) > 40_000
    assert 2.8 == pytest.approx(respired_ppm(19.5) / 5000)


def test_it_is_spoken_as_a_range_and_asks_for_the_reading() -> None:
    """A good oxygen reading is answered with what may hide behind it and that carbon dioxide is unread."""
    estimate = co2_behind_oxygen(19.6)
    assert estimate.low < 14_000 < estimate.high
    assert estimate.spoken().endswith("Carbon dioxide is unread. Read it.")
    assert "safe" not in estimate.spoken().lower()


@given(st.floats(5, 20.9), st.floats(0.01, 2))
def test_less_oxygen_hides_more(oxygen: float, less: float) -> None:
    """The less oxygen, the more may hide; never nothing, since a meter's last figure is in doubt."""
    here, lower = co2_behind_oxygen(oxygen), co2_behind_oxygen(oxygen - less)
    assert 0 < here.high < lower.high
    assert here.value <= lower.value


def test_dust_limits_are_in_milligrams() -> None:
    """0.05 oz/ft3 is 50.06 g/m3, over 3,300 times the 15 mg/m3 limit: grams and milligrams are not to be confused."""
    expected = REGISTRY.Quantity(0.05, "ounce / foot ** 3").to("g / m ** 3").magnitude
    assert expected == pytest.approx(MEC_G_M3, abs=0.01)
    assert 3333 == pytest.approx(mg_m3(50.0) / 15.0, abs=1)


def test_percent_and_parts_per_million() -> None:
    """5,000 ppm is 0.5 %, and 10 % of the phosphine LEL of 1.79 % is 1,790 ppm."""
    assert 0.5 == percent(5000)
    assert 1790 == pytest.approx(ppm(1.79 * 0.1))


def test_impossible_oxygen_is_refused() -> None:
    """Readings under nothing or over fresh air say nothing about dilution."""
    for oxygen in (-1.0, 23.0):
        with pytest.raises(EstimateError):
            co2_behind_oxygen(oxygen)
