"""The body: heights and volumes against the published tables (Drillis-Contini, Winter, de Leva, Plagenhoef)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import EstimateError
from protocol.estimates.body import (
    ARM_SEGMENTS,
    BODY_MODEL_FACTOR,
    CORE_SEGMENTS,
    MARK_FRACTIONS,
    OTHER_FRACTIONS,
    UNKNOWN_PERSON,
    Arms,
    Mark,
    Person,
    body_displacement,
    body_volume_below_m3,
    level_fraction,
    level_name,
    nearest_mark,
    whole_body_density_kg_l,
)
from protocol.estimates.result import Span
from protocol.units import CUBIC_FOOT_M3, INCH_M
from tests.protocol.estimates.people import METRE_EIGHTY, SIX_FOOT

FRACTIONS = st.floats(0.0, 1.2)
MASSES = st.floats(20.0, 150.0)


def test_heights_of_a_six_foot_person() -> None:
    """Marks of a 6 ft person in inches (Drillis & Contini 1966 as in Winter 4th ed. Fig. 4.1)."""
    expected = {
        "ankle": 2.81, "knees": 20.52, "fingertip": 27.14, "wrist": 34.92, "hips": 38.16, "elbow": 45.36,
        "chest": 51.84, "shoulders": 58.90, "chin": 62.64, "eye": 67.39,
    }  # fmt: skip
    fractions = {mark.value: fraction for mark, fraction in MARK_FRACTIONS.items()} | dict(OTHER_FRACTIONS)
    for name, inches in expected.items():
        assert inches == pytest.approx(fractions[name] * 6 * 12, abs=0.006), name
    assert SIX_FOOT.height_m.value == pytest.approx(72 * INCH_M)


def test_lengths_add_up_to_stature() -> None:
    """Ankle, shank, thigh, trunk, neck and head lengths make the whole stature (Drillis & Contini)."""
    assert 1.0 == pytest.approx(0.039 + 0.246 + 0.245 + 0.288 + 0.052 + 0.130)
    assert MARK_FRACTIONS[Mark.HIPS] == pytest.approx(0.039 + 0.246 + 0.245)
    assert MARK_FRACTIONS[Mark.SHOULDERS] == pytest.approx(0.039 + 0.246 + 0.245 + 0.288)
    assert MARK_FRACTIONS[Mark.CHIN] == pytest.approx(0.818 + 0.052)


def test_heights_agree_with_another_population() -> None:
    """Eye, shoulder and waist agree with US male medians within .004 of stature (Huston 2009 in URI BME 207)."""
    assert OTHER_FRACTIONS["eye"] == pytest.approx(1.644 / 1.759, abs=0.004)
    assert MARK_FRACTIONS[Mark.SHOULDERS] == pytest.approx(1.444 / 1.759, abs=0.004)
    assert MARK_FRACTIONS[Mark.WAIST] == pytest.approx(1.102 / 1.759, abs=0.001)


def test_waist_differs_little_between_women_and_men() -> None:
    """A woman's waist (.985 of 1.618 m, Huston 2009) lies within the called-mark error of the table's."""
    assert abs(0.985 / 1.618 - MARK_FRACTIONS[Mark.WAIST]) * 1.618 < 0.05


def test_segment_masses_add_up() -> None:
    """Dempster/Winter mass fractions sum to one, arms to .100."""
    assert 1.0 == pytest.approx(sum(part.mass_fraction for part in (*CORE_SEGMENTS, *ARM_SEGMENTS)))
    assert 0.100 == pytest.approx(sum(part.mass_fraction for part in ARM_SEGMENTS))


def test_other_segment_tables_sum_to_one() -> None:
    """The cross-check tables themselves are whole: de Leva 1996 male 1.0000, female .9999 (BSP tables)."""
    male = 0.0694 + 0.4346 + 2 * (0.0271 + 0.0162 + 0.0061 + 0.1416 + 0.0433 + 0.0137)
    female = 0.0668 + 0.4257 + 2 * (0.0255 + 0.0138 + 0.0056 + 0.1478 + 0.0481 + 0.0129)
    assert 1.0000 == pytest.approx(male, abs=5e-5)
    assert 0.9999 == pytest.approx(female, abs=5e-5)


@pytest.mark.parametrize(
    ("part", "litres"),
    [
        ("feet and shanks", 8.954),
        ("thighs", 15.238),
        ("arms", 7.207),
        ("trunk", 38.602),
        ("head and neck", 5.838),
    ],
)
def test_segment_volumes_of_eighty_kilograms(part: str, litres: float) -> None:
    """Volumes of each part of an 80 kg body (Winter fractions and densities)."""
    names = {"feet and shanks": {"feet", "shanks"}, "arms": {"upper arms", "forearms", "hands"}}.get(part, {part})
    segments = [segment for segment in (*CORE_SEGMENTS, *ARM_SEGMENTS) if segment.name in names]
    assert litres == pytest.approx(sum(80 * row.mass_fraction / row.density_kg_l for row in segments), abs=0.001)


def test_displacement_of_eighty_kilograms() -> None:
    """80 kg, 1.80 m: 8.954 L to the knee, 24.192 to the hip, 62.794 / 70.001 to the shoulder, 75.839 whole."""
    cases = [
        (Mark.KNEES, 0.0, 8.9541),
        (Mark.HIPS, 0.0, 24.1922),
        (Mark.SHOULDERS, 0.0, 62.7942),
        (Mark.SHOULDERS, 1.0, 70.0014),
        (Mark.HEAD, 1.0, 75.8392),
    ]
    for mark, arms, litres in cases:
        fraction = level_fraction(mark, 1.80)
        assert litres == pytest.approx(body_volume_below_m3(fraction, 80.0, arms) * 1e3, abs=1e-3), (mark, arms)
    whole = body_volume_below_m3(1.0, 80.0, 1.0)
    assert 2.678 == pytest.approx(whole / CUBIC_FOOT_M3, abs=1e-3)
    assert 1.0549 == pytest.approx(80e-3 / whole, abs=1e-4)


def test_whole_body_density() -> None:
    """Drillis & Contini density: c .41774, d 1.06597, V 75.05 L for 1.80 m, 80 kg; within 1.1 % of the segments."""
    density = whole_body_density_kg_l(1.80, 80.0)
    assert 1.065969 == pytest.approx(density, abs=1e-6)
    assert 75.05 == pytest.approx(80.0 / density, abs=0.005)
    assert 0.011 == pytest.approx(80.0 / body_volume_below_m3(1.0, 80.0, 1.0) * -1e-3 / density + 1, abs=0.001)


def test_inconsistent_hand_out_example_is_not_followed() -> None:
    """1.68 m, 65 kg gives c .4178 and d 1.066 by the formula; the hand-out's .4104 belongs to 1.65 m."""
    assert 1.066 == pytest.approx(whole_body_density_kg_l(1.68, 65.0), abs=5e-4)
    assert 1.059 == pytest.approx(whole_body_density_kg_l(1.65, 65.0), abs=5e-4)


def test_a_body_is_not_seven_cubic_feet() -> None:
    """An adult takes 2 to 4.5 ft3; the 7 ft3 of one extension sheet is grain drawn from under the person."""
    whole = body_displacement(UNKNOWN_PERSON, Mark.HEAD)
    assert 1.5 * CUBIC_FOOT_M3 < whole.low < whole.high < 4.5 * CUBIC_FOOT_M3


@pytest.mark.parametrize(
    ("table", "thigh", "shank_foot", "trunk"),
    [
        ("de Leva 1996 male", 0.1416, 0.0433 + 0.0137, 0.4346),
        ("de Leva 1996 female", 0.1478, 0.0481 + 0.0129, 0.4257),
        ("Plagenhoef 1983 male", 0.1050, 0.0475 + 0.0143, 0.4684),
        ("Plagenhoef 1983 female", 0.1175, 0.0535 + 0.0133, 0.4500),
    ],
)
def test_other_tables_lie_within_the_stated_model_error(
    table: str, thigh: float, shank_foot: float, trunk: float
) -> None:
    """Between knee and chest, and below the chest, other published segment tables stay within the stated tenth."""
    chest = (0.720 - 0.530) / (0.818 - 0.530)
    for knee_up in (True, False):
        ours = body_volume_below_m3(0.720, 80.0, 0.0) - (body_volume_below_m3(0.285, 80.0, 0.0) if knee_up else 0.0)
        legs = 0.0 if knee_up else 2 * shank_foot / 1.09
        theirs = 80e-3 * (legs + 2 * thigh / 1.05 + chest * trunk / 1.03)
        assert BODY_MODEL_FACTOR.low <= theirs / ours <= BODY_MODEL_FACTOR.high, table


@given(FRACTIONS, FRACTIONS, MASSES, st.floats(0, 1))
def test_more_depth_is_more_body(first: float, second: float, mass: float, arms: float) -> None:
    """Displacement never falls with depth, never exceeds the whole body, and is nothing at the soles."""
    low, high = sorted((first, second))
    assert body_volume_below_m3(low, mass, arms) <= body_volume_below_m3(high, mass, arms) + 1e-12
    assert body_volume_below_m3(high, mass, arms) <= body_volume_below_m3(1.0, mass, 1.0) + 1e-12
    assert 0.0 == body_volume_below_m3(0.0, mass, arms)


def test_marks_rise_and_name_themselves() -> None:
    """Marks are listed from the feet up, each is nearest to itself, and each can be spoken."""
    heights = list(MARK_FRACTIONS.values())
    assert sorted(heights) == heights
    assert list(Mark) == list(MARK_FRACTIONS)
    for mark in Mark:
        assert mark is nearest_mark(MARK_FRACTIONS[mark] * 1.75, 1.75)
        assert level_name(mark).endswith(mark.value)


def test_unknown_arms_count_as_up() -> None:
    """Unknown arms are taken as held up, which leaves more grain, with both in the range."""
    unknown = body_displacement(Person(Span.exact(1.8), Span.exact(80.0)), Mark.CHEST)
    up = body_displacement(METRE_EIGHTY, Mark.CHEST)
    down = body_displacement(Person(Span.exact(1.8), Span.exact(80.0), Arms.DOWN), Mark.CHEST)
    assert up.value == unknown.value
    assert unknown.low <= up.value < down.value <= unknown.high


@pytest.mark.parametrize(("height", "mass"), [(0.3, 80.0), (2.9, 80.0), (1.8, 2.0), (1.8, 900.0)])
def test_impossible_people_are_refused(height: float, mass: float) -> None:
    """A stature or mass no person has is refused with a sentence."""
    with pytest.raises(EstimateError, match="cannot be"):
        Person(Span.exact(height), Span.exact(mass))


def test_impossible_levels_are_refused() -> None:
    """Grain below the soles or far over the head is refused."""
    for level in (-0.1, 4.0):
        with pytest.raises(EstimateError, match="cannot be"):
            body_displacement(METRE_EIGHTY, level)
