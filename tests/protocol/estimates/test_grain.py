"""The grain table, walked whole, against USDA test weights and the published angles."""

import math

import pytest

from protocol.errors import EstimateError
from protocol.estimates.grain import GRAINS, GrainName, grain_named
from protocol.units import POUND_PER_CUBIC_FOOT_KG_M3

TEST_WEIGHTS = {
    "corn": 56, "sorghum": 56, "wheat": 60, "soybeans": 60, "barley": 48, "oats": 32, "rough rice": 45, "canola": 50,
    "sunflower": 28,
}  # fmt: skip
POUNDS_PER_CUBIC_FOOT = {
    "corn": 45.000, "sorghum": 45.000, "wheat": 48.214, "soybeans": 48.214, "barley": 38.571, "oats": 25.714,
    "rough rice": 36.160, "canola": 40.178, "sunflower": 22.5,
}  # fmt: skip
DENSITIES = {
    "corn": 720.8, "sorghum": 720.8, "wheat": 772.3, "soybeans": 772.3, "barley": 617.8, "oats": 411.9,
    "rough rice": 579.2, "canola": 643.6, "sunflower": 360.4,
}  # fmt: skip


@pytest.mark.parametrize("name", TEST_WEIGHTS)
def test_weights_and_densities(name: str) -> None:
    """Test weight (USDA), lb/ft3 and kg/m3 of every named grain; density within 0.3 %."""
    grain = grain_named(name)
    assert TEST_WEIGHTS[name] == grain.test_weight_lb_bu.value
    density = grain.density_kg_m3.value
    assert DENSITIES[name] == pytest.approx(density, rel=0.003)
    assert POUNDS_PER_CUBIC_FOOT[name] == pytest.approx(density / POUND_PER_CUBIC_FOOT_KG_M3, abs=0.005)


def test_machinery_table_agrees() -> None:
    """A machinery manual's rounded densities (722, 774, 619, 413 kg/m3) agree within 0.3 %."""
    for name, density in (("corn", 722), ("wheat", 774), ("barley", 619), ("oats", 413)):
        assert density == pytest.approx(grain_named(name).density_kg_m3.value, rel=0.003)


def test_disagreeing_tables_lie_in_the_ranges() -> None:
    """Where tables disagree the row spans them: sunflower 24-32, oats 32-34, sorghum 50-56 lb/bu."""
    for name, low, high in (("sunflower", 24, 32), ("oats", 32, 34), ("sorghum", 50, 56)):
        weight = grain_named(name).test_weight_lb_bu
        assert weight.low <= low < high <= weight.high


def test_soybeans_as_measured_lie_in_the_ranges() -> None:
    """Soybeans 766 to 719 kg/m3 and 27.4 to 31.8 deg friction, 8 to 16 % moisture (Int. Agrophysics 22(3) 2008)."""
    grain = grain_named("soybeans")
    for span, ends in ((grain.density_kg_m3, (719, 766)), (grain.friction_deg, (27.4, 31.8))):
        for measured in ends:
            assert span.low <= measured <= span.high


@pytest.mark.parametrize(
    ("name", "degrees", "tangent"),
    [
        ("corn", 23, 0.4245),
        ("soybeans", 25, 0.4663),
        ("wheat", 25, 0.4663),
        ("barley", 28, 0.5317),
        ("oats", 28, 0.5317),
        ("sunflower", 27, 0.5095),
    ],
)
def test_piling_angles(name: str, degrees: float, tangent: float) -> None:
    """Average piling angles and their tangents (planning-service table, secondary)."""
    piling = grain_named(name).repose_piling_deg
    assert degrees == piling.value
    assert tangent == pytest.approx(math.tan(math.radians(piling.value)), abs=5e-5)


def test_measured_angles_lie_in_the_ranges() -> None:
    """USDA figures (corn 20.4, soybeans 23.9, hard red winter wheat 22.2; secondary) lie inside the ranges."""
    for name, degrees in (("corn", 20.4), ("soybeans", 23.9), ("wheat", 22.2)):
        grain = grain_named(name)
        assert grain.repose_piling_deg.low <= degrees <= grain.repose_piling_deg.high
        assert grain.repose_deg.low <= degrees <= grain.repose_deg.high


def test_emptying_angles() -> None:
    """Emptying angles 27, 29, 27, 28, 32, 33, 36 deg (ASAE/MWPS handbook tables, from memory)."""
    expected = {"corn": 27, "soybeans": 29, "wheat": 27, "barley": 28, "oats": 32, "sorghum": 33, "rough rice": 36}
    for name, degrees in expected.items():
        assert degrees == grain_named(name).repose_emptying_deg.value


def test_every_row_is_whole() -> None:
    """Every name has a row of its own, and every range holds sensible numbers; unknown spans all the others."""
    assert set(GrainName) == set(GRAINS)
    unknown = GRAINS[GrainName.UNKNOWN]
    for name, grain in GRAINS.items():
        assert name is grain.name
        assert 15 <= grain.repose_deg.low <= grain.repose_deg.high <= 40
        assert 280 <= grain.density_kg_m3.low <= grain.density_kg_m3.high <= 850
        for field in ("test_weight_lb_bu", "repose_piling_deg", "repose_emptying_deg", "friction_deg", "kernel_mm"):
            inner, outer = getattr(grain, field), getattr(unknown, field)
            assert outer.low <= inner.low <= inner.high <= outer.high, (name, field)


def test_a_grain_nobody_knows_is_refused_by_name() -> None:
    """An unlisted name is refused with the list; "unknown" is accepted."""
    with pytest.raises(EstimateError, match="corn"):
        grain_named("gravel")
    assert "grain" == grain_named("unknown").spoken_name
