"""Units: exact conversions against pint, and the display tables walked whole."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol import units
from protocol.errors import EstimateError
from protocol.units import DISPLAYS, Unit, display_for, useful_step

REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()

CONSTANTS = [
    ("INCH_M", "inch", "m"),
    ("FOOT_M", "foot", "m"),
    ("POUND_KG", "pound", "kg"),
    ("POUND_FORCE_N", "force_pound", "N"),
    ("PSI_PA", "psi", "Pa"),
    ("PSF_PA", "force_pound / foot ** 2", "Pa"),
    ("CUBIC_FOOT_M3", "foot ** 3", "m ** 3"),
    ("GALLON_M3", "gallon", "m ** 3"),
    ("BUSHEL_M3", "bushel", "m ** 3"),
    ("LITRE_M3", "litre", "m ** 3"),
    ("CFM_M3_S", "foot ** 3 / minute", "m ** 3 / s"),
    ("BUSHEL_HOUR_M3_S", "bushel / hour", "m ** 3 / s"),
    ("POUND_PER_BUSHEL_KG_M3", "pound / bushel", "kg / m ** 3"),
    ("POUND_PER_CUBIC_FOOT_KG_M3", "pound / foot ** 3", "kg / m ** 3"),
    ("GRAVITY_M_S2", "standard_gravity", "m / s ** 2"),
]

PINT_NAMES = {
    "bu": "bushel", "gal": "gallon", "L": "litre", "m3": "m ** 3", "s": "s", "min": "minute", "h": "hour", "in": "inch",
    "ft": "foot", "ft2": "foot ** 2", "lb": "pound", "lbf": "force_pound", "lb/ft2": "force_pound / foot ** 2",
    "gal/min": "gallon / minute", "bu/h": "bushel / hour", "cm": "cm", "m": "m", "m2": "m ** 2", "kg": "kg", "N": "N",
    "kPa": "kPa", "L/min": "litre / minute", "L/s": "litre / s",
}  # fmt: skip
SI_NAMES = {
    Unit.METRE: "m", Unit.SQUARE_METRE: "m ** 2", Unit.CUBIC_METRE: "m ** 3", Unit.KILOGRAM: "kg", Unit.NEWTON: "N",
    Unit.PASCAL: "Pa", Unit.SECOND: "s", Unit.CUBIC_METRE_PER_SECOND: "m ** 3 / s",
}  # fmt: skip


@pytest.mark.parametrize(("name", "pint_unit", "si"), CONSTANTS)
def test_each_constant_agrees_with_pint(name: str, pint_unit: str, si: str) -> None:
    """Every conversion constant equals pint's own definition."""
    expected = REGISTRY.Quantity(1.0, pint_unit).to(si).magnitude
    assert expected == pytest.approx(getattr(units, name), rel=1e-12)


def test_every_display_unit_has_the_right_size() -> None:
    """Walking the whole display table, each shown unit is as large as pint says."""
    for ladders in DISPLAYS.values():
        assert set(Unit) == set(ladders)
        for unit, ladder in ladders.items():
            assert math.inf == ladder[-1][0]
            for _, display in ladder:
                if unit in SI_NAMES:
                    expected = REGISTRY.Quantity(1.0, PINT_NAMES[display.symbol]).to(SI_NAMES[unit]).magnitude
                    assert expected == pytest.approx(display.size, rel=1e-12), display


def test_bushel_and_gallon() -> None:
    """The bushel and the gallon, to six digits (NIST HB44 App. C)."""
    assert 1.2444560185 == pytest.approx(units.BUSHEL_M3 / units.CUBIC_FOOT_M3, rel=1e-9)
    assert 35.23907017 == pytest.approx(units.BUSHEL_M3 / units.LITRE_M3, rel=1e-9)
    assert 9.309177489 == pytest.approx(units.BUSHEL_M3 / units.GALLON_M3, rel=1e-9)
    assert 3.785412 == pytest.approx(units.GALLON_M3 / units.LITRE_M3, rel=1e-6)
    assert 0.803564 == pytest.approx(units.CUBIC_FOOT_M3 / units.BUSHEL_M3, rel=1e-6)


def test_rounded_bushels_in_use() -> None:
    """1.25 ft3 (MN/OH extension) is +0.45 % and 1.24 (CDC MMWR 45(39)) is -0.36 % from the exact bushel."""
    exact = units.BUSHEL_M3 / units.CUBIC_FOOT_M3
    assert 0.45 == pytest.approx((1.25 / exact - 1) * 100, abs=0.005)
    assert -0.36 == pytest.approx((1.24 / exact - 1) * 100, abs=0.005)


def test_canister_sizes() -> None:
    """5, 16 and 55 gallon canisters in bushels and cubic feet (arithmetic from HB44 units)."""
    for gallons, bushels, cubic_feet in ((5, 0.5371, 0.6684), (16, 1.7187, 2.1389), (55, 5.908, 7.3524)):
        assert bushels == pytest.approx(gallons * units.GALLON_M3 / units.BUSHEL_M3, abs=5e-4)
        assert cubic_feet == pytest.approx(gallons * units.GALLON_M3 / units.CUBIC_FOOT_M3, abs=5e-4)


def test_an_unknown_system_is_refused() -> None:
    """Only 'us' and 'metric' are systems of units."""
    with pytest.raises(EstimateError, match="'us' or 'metric'"):
        display_for(1.0, Unit.METRE, "imperial")  # type: ignore[arg-type]


@given(st.floats(1e-3, 1e6), st.sampled_from([0.1, 0.5, 1.0, 10.0]))
def test_steps_are_round_and_never_finer_than_asked(width: float, finest: float) -> None:
    """A rounding step is the finest allowed or a 1, 2 or 5 no wider than a quarter of the range."""
    step = useful_step(width, finest)
    assert step >= finest
    if step > finest:
        assert step <= width / 4 * (1 + 1e-6)
        assert round(step / 10 ** math.floor(math.log10(step) + 1e-9)) in {1, 2, 5}
