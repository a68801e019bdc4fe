"""Grain inside the ring: the published check case, conservation, and the body's share by simulation."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.body import UNKNOWN_PERSON, Arms, Mark, Person
from protocol.estimates.grain import GRAINS, GrainName
from protocol.estimates.result import Span
from protocol.estimates.ring import Ring
from protocol.estimates.volume import grain_remaining, grain_volume, net_volume_m3
from protocol.units import BUSHEL_M3, CUBIC_FOOT_M3, FOOT_M, GALLON_M3, POUND_KG
from tests.protocol.estimates.people import SIX_FOOT, TWO_BY_TWO

CORN = GRAINS[GrainName.CORN]
AREA = (2 * FOOT_M) ** 2
LEVELS = st.one_of(st.sampled_from(Mark), st.floats(0.0, 2.2))


def test_chest_to_knee_of_a_six_foot_person() -> None:
    """6 ft, 80 kg, 2 x 2 ft, chest to knee: gross 10.44, body 1.437, net 9.00 ft3 = 7.23 bu = 67.3 gal."""
    net = net_volume_m3(SIX_FOOT, AREA, Mark.CHEST, Mark.KNEES)
    assert 9.00253 == pytest.approx(net / CUBIC_FOOT_M3, abs=1e-4)
    assert 7.23411 == pytest.approx(net / BUSHEL_M3, abs=1e-4)
    assert 67.3436 == pytest.approx(net / GALLON_M3, abs=1e-3)
    assert 40.7047 == pytest.approx((10.44 * CUBIC_FOOT_M3 - net) * 1e3, abs=1e-3)


def test_the_same_case_as_an_estimate() -> None:
    """The estimate gives the check value with a range on both sides, a mass, and whole canisters."""
    left = grain_remaining(SIX_FOOT, TWO_BY_TWO, CORN, Mark.CHEST, Mark.KNEES, 16.0)
    assert 7.23411 == pytest.approx(left.volume.value / BUSHEL_M3, abs=1e-4)
    assert left.volume.low < left.volume.value < left.volume.high
    assert 7.23411 * 56 == pytest.approx(left.mass.value / POUND_KG, rel=1e-4)
    assert "About seven bushels left to the knees, between six and eight. Four to six canisters." == left.spoken("us")
    assert left.spoken("metric").startswith("About two hundred fifty litres left to the knees")


def test_an_empty_ring_holds_sixteen_bushels() -> None:
    """2 x 2 x 5 ft without a body is 20 ft3 = 16.07 bu = 149.6 gal = 9.35 sixteen-gallon loads; never more inside."""
    upper = 20 * CUBIC_FOOT_M3
    assert 16.07 == pytest.approx(upper / BUSHEL_M3, abs=0.005)
    assert 149.6 == pytest.approx(upper / GALLON_M3, abs=0.05)
    assert 9.35 == pytest.approx(upper / (16 * GALLON_M3), abs=0.005)
    assert grain_volume(SIX_FOOT, TWO_BY_TWO, 5 * FOOT_M, 0.0).value < upper


@pytest.mark.parametrize(
    ("gallons", "grain", "pounds"),
    [
        (16, GrainName.CORN, 96.2),
        (16, GrainName.WHEAT, 103.1),
        (16, GrainName.SOYBEANS, 103.1),
        (5, GrainName.CORN, 30.1),
        (5, GrainName.WHEAT, 32.2),
    ],
)
def test_weight_of_a_full_canister(gallons: int, grain: GrainName, pounds: float) -> None:
    """A full 16-gal drum is 96.2 lb of corn or 103.1 lb of wheat or soybeans; 5 gal 30.1 / 32.2 lb."""
    weight = gallons * GALLON_M3 * GRAINS[grain].density_kg_m3.value / POUND_KG
    assert pounds == pytest.approx(weight, abs=0.05)


@given(LEVELS, LEVELS, LEVELS)
def test_volumes_add_up(first: float, second: float, third: float) -> None:
    """From a to c is from a to b plus from b to c, whatever the levels."""
    levels = sorted((first, second, third), key=lambda level: net_volume_m3(SIX_FOOT, AREA, level, 0.0))
    low, middle, high = levels
    whole = net_volume_m3(SIX_FOOT, AREA, high, low)
    parts = net_volume_m3(SIX_FOOT, AREA, high, middle) + net_volume_m3(SIX_FOOT, AREA, middle, low)
    assert whole == pytest.approx(parts, abs=1e-8)
    assert 0.0 == net_volume_m3(SIX_FOOT, AREA, low, high)


@given(st.floats(0.55, 1.2), st.sampled_from(Mark), st.floats(50, 100))
def test_wider_rings_and_lighter_people_leave_more_grain(width: float, mark: Mark, mass: float) -> None:
    """Grain grows with the ring and shrinks with the person; ranges are never below nothing."""
    person = Person(Span.exact(1.75), Span.exact(mass))
    heavier = Person(Span.exact(1.75), Span.exact(mass + 5))
    here = grain_volume(person, Ring.of(4, width), mark)
    wider = grain_volume(person, Ring.of(4, width + 0.05), mark)
    heavy = grain_volume(heavier, Ring.of(4, width), mark)
    assert 0.0 <= here.low <= here.value <= here.high
    assert heavy.value <= here.value <= wider.value


def test_already_at_the_level_nothing_is_left_but_doubt() -> None:
    """At the wanted mark nothing is left, yet the range keeps the error of the call; below it, nothing at all."""
    at_knees = grain_volume(SIX_FOOT, TWO_BY_TWO, Mark.KNEES, Mark.KNEES)
    assert 0.0 == at_knees.value < at_knees.high
    assert "Less than one gallon left to the knees, seven at most." == at_knees.spoken()
    assert "Nothing left to the knees." == grain_volume(SIX_FOOT, TWO_BY_TWO, Mark.FEET, Mark.KNEES).spoken()


def test_the_range_holds_nine_in_ten() -> None:
    """Drawing person, ring, called marks and segment table at random, 90 % of true volumes lie in the range or more."""
    estimate = grain_volume(UNKNOWN_PERSON, TWO_BY_TWO, Mark.CHEST, Mark.KNEES)
    random = Random(4)
    inside = 0
    for _ in range(4000):
        person = Person(
            Span.exact(random.uniform(1.60, 1.90)),
            Span.exact(random.uniform(60.0, 110.0)),
            random.choice((Arms.UP, Arms.DOWN)),
        )
        top = 0.720 * person.height_m.value + random.gauss(0, 0.05 / 1.645)
        bottom = 0.285 * person.height_m.value + random.gauss(0, 0.05 / 1.645)
        area = AREA * random.uniform(0.906, 1.0)
        inside += estimate.low <= net_volume_m3(person, area, top, bottom) <= estimate.high
    assert 0.9 <= inside / 4000 <= 0.99


def test_a_ring_without_room_is_refused() -> None:
    """A ring smaller than the person inside it is refused with a sentence."""
    with pytest.raises(EstimateError, match="no room"):
        grain_volume(UNKNOWN_PERSON, Ring.of(4, 0.2), Mark.CHEST)


def test_a_canister_without_size_is_refused() -> None:
    """A canister of no gallons is refused."""
    with pytest.raises(EstimateError, match="canister"):
        grain_remaining(SIX_FOOT, TWO_BY_TWO, CORN, Mark.CHEST, Mark.KNEES, 0.0)
