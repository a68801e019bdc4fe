"""Air limits against the published tables; age, places, and what nobody has read."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.air import (
    ALWAYS_REQUIRED,
    LIMITS,
    RANGES,
    Crossing,
    Gas,
    GasRange,
    Limit,
    Reading,
    Verdict,
    believable,
    crossed,
    judge,
    latest,
    range_of,
    required_gases,
    standing_bad,
    unread,
    verdict_at,
    worst,
)

GOOD, CAUTION, BAD = Verdict.GOOD, Verdict.CAUTION, Verdict.BAD
TEN_MINUTES = 600_000

JUDGED = [
    # OSHA 29 CFR 1910.146(b), hazardous atmosphere: below 19.5 or above 23.5 % oxygen; boundary values pass
    (Gas.OXYGEN, "20.9", GOOD), (Gas.OXYGEN, "19.5", GOOD), (Gas.OXYGEN, "19.4", BAD), (Gas.OXYGEN, "19.49", BAD),
    (Gas.OXYGEN, "23.5", GOOD), (Gas.OXYGEN, "23.6", BAD), (Gas.OXYGEN, "0", BAD),
    # the same: above 10 % of the lower flammable limit
    (Gas.FLAMMABLE, "0", GOOD), (Gas.FLAMMABLE, "10", GOOD), (Gas.FLAMMABLE, "10.1", BAD), (Gas.FLAMMABLE, "11", BAD),
    # NIOSH IDLH document 630-08-0: REL 35, PEL 50, REL ceiling 200, IDLH 1200 ppm
    (Gas.CARBON_MONOXIDE, "35", GOOD), (Gas.CARBON_MONOXIDE, "36", CAUTION), (Gas.CARBON_MONOXIDE, "50", CAUTION),
    (Gas.CARBON_MONOXIDE, "51", BAD), (Gas.CARBON_MONOXIDE, "200", BAD), (Gas.CARBON_MONOXIDE, "1200", BAD),
    # NIOSH IDLH document 7783-06-4 and OSHA Table Z-2: REL ceiling 10, PEL ceiling 20, peak 50, IDLH 100 ppm
    (Gas.HYDROGEN_SULFIDE, "9.9", GOOD), (Gas.HYDROGEN_SULFIDE, "10", BAD), (Gas.HYDROGEN_SULFIDE, "20", BAD),
    (Gas.HYDROGEN_SULFIDE, "50", BAD), (Gas.HYDROGEN_SULFIDE, "100", BAD),
    # NIOSH IDLH document 124-38-9: PEL and REL 5,000, STEL 30,000, IDLH 40,000 ppm
    (Gas.CARBON_DIOXIDE, "5000", GOOD), (Gas.CARBON_DIOXIDE, "5001", BAD), (Gas.CARBON_DIOXIDE, "30000", BAD),
    (Gas.CARBON_DIOXIDE, "40000", BAD),
    # NIOSH IDLH document 10102-44-0 and the 2017 profile: STEL 1, PEL ceiling 5, IDLH 20 (1994) or 13 (2017)
    (Gas.NITROGEN_DIOXIDE, "0.9", GOOD), (Gas.NITROGEN_DIOXIDE, "1", BAD), (Gas.NITROGEN_DIOXIDE, "5", BAD),
    (Gas.NITROGEN_DIOXIDE, "13", BAD),
    # NIOSH Pocket Guide npgd0505: PEL and REL 0.3, STEL 1 ppm; EPA/NRC AEGL-3 3.6 ppm at 10 and 30 min; IDLH 50
    (Gas.PHOSPHINE, "0.3", GOOD), (Gas.PHOSPHINE, "0.31", BAD), (Gas.PHOSPHINE, "1.0", BAD),
    (Gas.PHOSPHINE, "3.6", BAD), (Gas.PHOSPHINE, "49", BAD), (Gas.PHOSPHINE, "50", BAD),
]  # fmt: skip


@pytest.mark.parametrize(("gas", "value", "verdict"), JUDGED)
def test_a_reading_is_judged_by_the_published_limits(gas: Gas, value: str, verdict: Verdict) -> None:
    """Each published boundary falls on the side where its source puts it."""
    assert verdict == judge(gas, Decimal(value))


@pytest.mark.parametrize(
    ("gas", "value", "source", "words"),
    [
        (Gas.OXYGEN, "19.4", "1910.146(b)", "oxygen too low"),
        (Gas.OXYGEN, "23.6", "1910.146(b)", "oxygen too high, fire risk"),
        (Gas.CARBON_MONOXIDE, "36", "NIOSH REL", "over the recommended limit"),
        (Gas.CARBON_MONOXIDE, "51", "OSHA PEL", "over the permitted limit"),
        (Gas.CARBON_MONOXIDE, "200", "ceiling", "over the ceiling"),
        (Gas.CARBON_MONOXIDE, "1200", "IDLH", "immediately dangerous to life"),
        (Gas.HYDROGEN_SULFIDE, "20", "Z-2", "over the permitted ceiling"),
        (Gas.HYDROGEN_SULFIDE, "100", "IDLH", "immediately dangerous to life"),
        (Gas.CARBON_DIOXIDE, "40000", "IDLH", "immediately dangerous to life"),
        # NIOSH lists 20 ppm (1994) and 13 ppm (2017 profile): the lower is used
        (Gas.NITROGEN_DIOXIDE, "13", "2017", "immediately dangerous to life"),
        (Gas.PHOSPHINE, "0.31", "npgd0505", "over the permitted limit"),
        (Gas.PHOSPHINE, "1.0", "STEL", "over the short-term limit"),
        (Gas.PHOSPHINE, "3.6", "AEGL-3", "life-threatening within minutes"),
    ],
)
def test_the_worst_limit_is_named_with_its_source(gas: Gas, value: str, source: str, words: str) -> None:
    """Of all limits crossed the worst is the one that is spoken."""
    limit = worst(gas, Decimal(value))
    assert limit is not None
    assert words == limit.name
    assert source in limit.source


def test_nothing_is_crossed_by_clean_air() -> None:
    """Ordinary outdoor readings cross no limit (20.9 % oxygen, about 400 ppm carbon dioxide: handbook values)."""
    assert worst(Gas.OXYGEN, Decimal("20.9")) is None
    assert worst(Gas.CARBON_DIOXIDE, Decimal(400)) is None


@pytest.mark.parametrize("limit", LIMITS, ids=lambda row: f"{row.gas}-{row.value}")
def test_every_limit_names_its_source(limit: Limit) -> None:
    """A safety number without a published source is not in the table."""
    assert any(word in limit.source for word in ("OSHA", "NIOSH", "AEGL"))
    assert limit.name
    assert limit.verdict in {CAUTION, BAD}
    assert range_of(limit.gas).unit == limit.unit
    assert believable(limit.gas, limit.value), "a meter must be able to show the limit itself"


def test_limits_are_listed_from_mild_to_worst() -> None:
    """For each gas the later row is crossed only by worse values, so that the last one crossed is the worst."""
    for gas in Gas:
        rising = [row for row in LIMITS if row.gas is gas and row.crossing is not Crossing.BELOW]
        assert sorted(row.value for row in rising) == [row.value for row in rising]
        verdicts = [row.verdict for row in rising]
        assert sorted(verdicts, key=[CAUTION, BAD].index) == verdicts


@given(st.sampled_from([gas for gas in Gas if gas is not Gas.OXYGEN]),
       st.decimals(0, 50_000, places=2), st.decimals(0, 50_000, places=2))  # fmt: skip
def test_more_of_a_toxic_gas_is_never_judged_milder(gas: Gas, one: Decimal, other: Decimal) -> None:
    """A higher value crosses at least the limits that a lower one crosses."""
    low, high = sorted((one, other))
    assert set(crossed(gas, low)) <= set(crossed(gas, high))


def test_only_carbon_monoxide_over_advice_is_a_caution() -> None:
    """Between REL and PEL work goes on with a warning; every other limit means leave (chosen, on the strict side)."""
    cautions = [row for row in LIMITS if row.verdict is CAUTION]
    assert [(Gas.CARBON_MONOXIDE, Decimal(35))] == [(row.gas, row.value) for row in cautions]


@given(st.decimals(Decimal("0.31"), 2000, places=2))
def test_phosphine_is_never_a_level_to_stay_at(value: Decimal) -> None:
    """IDLH 50 ppm lies far above AEGL-3, 3.6 ppm (EPA/NRC): everything over 0.3 ppm is bad, below IDLH as above."""
    assert BAD == judge(Gas.PHOSPHINE, value)


@pytest.mark.parametrize(
    ("gas", "lower_limit_percent"),
    # NIOSH IDLH documents 630-08-0 and 7783-06-4, Pocket Guide npgd0505
    [(Gas.CARBON_MONOXIDE, "12.5"), (Gas.HYDROGEN_SULFIDE, "4.0"), (Gas.PHOSPHINE, "1.79")],
)
def test_a_toxic_gas_is_bad_long_before_it_can_burn(gas: Gas, lower_limit_percent: str) -> None:
    """A tenth of the lower flammable limit (phosphine: 1,790 ppm) lies above every toxic limit of the gas."""
    tenth_ppm = Decimal(lower_limit_percent) * 10_000 / 10
    assert max(row.value for row in LIMITS if row.gas is gas) < tenth_ppm
    assert BAD == judge(gas, tenth_ppm)


def test_percent_and_parts_per_million_are_not_mixed() -> None:
    """0.5 % carbon dioxide is 5,000 ppm (1 % = 10,000 ppm, by definition); the table and the range are in ppm."""
    pel = next(row for row in LIMITS if row.gas is Gas.CARBON_DIOXIDE)
    assert Decimal("0.5") * 10_000 == pel.value
    assert "parts per million" == pel.unit
    assert not believable(Gas.OXYGEN, Decimal(209_000)), "oxygen in ppm is no oxygen reading in percent"


@pytest.mark.parametrize("row", RANGES, ids=lambda row: row.gas.value)
def test_a_number_that_no_meter_shows_is_not_believed(row: GasRange) -> None:
    """Beyond a meter's display, negative or not a number: it was misheard."""
    assert row == range_of(row.gas)
    assert believable(row.gas, row.low)
    assert believable(row.gas, row.high)
    for wrong in (row.high + 1, Decimal(-1), Decimal("-0"), Decimal("NaN"), Decimal("Infinity")):
        assert not believable(row.gas, wrong)


def test_every_gas_has_limits_and_one_range() -> None:
    """No gas can be reported that nothing judges."""
    assert set(Gas) == {row.gas for row in LIMITS}
    assert list(Gas) == [row.gas for row in RANGES]


def test_oxygen_comes_first_then_flammable_then_toxic() -> None:
    """OSHA 29 CFR 1910.146(d)(5)(iii): oxygen, combustible gases, toxic gases."""
    assert [Gas.OXYGEN, Gas.FLAMMABLE] == list(Gas)[:2]
    assert [Gas.OXYGEN, Gas.FLAMMABLE] == list(ALWAYS_REQUIRED)[:2]


@pytest.mark.parametrize(("fumigated", "asked"), [("yes", True), ("unknown", True), ("", True), ("no", False)])
def test_phosphine_is_asked_for_unless_known_not_fumigated(fumigated: str, asked: bool) -> None:
    """Unknown is worked as yes: a four-gas meter does not read phosphine (NIOSH Pocket Guide npgd0505)."""
    assert asked == (Gas.PHOSPHINE in required_gases(fumigated))
    assert set(ALWAYS_REQUIRED) <= set(required_gases(fumigated))


def _reading(value: str, at_ms: int = 0, gas: Gas = Gas.OXYGEN, place: str = "person") -> Reading:
    return Reading(gas, Decimal(value), place, at_ms)


@pytest.mark.parametrize(
    ("age_ms", "verdict"), [(0, GOOD), (TEN_MINUTES - 1, GOOD), (TEN_MINUTES, Verdict.STALE), (10**8, Verdict.STALE)]
)
def test_a_good_reading_grows_stale_to_the_millisecond(age_ms: int, verdict: Verdict) -> None:
    """Stale is a third value beside good and bad: a reading that is too old is not a good reading."""
    assert verdict == verdict_at(_reading("20.9", at_ms=5), 5 + age_ms, TEN_MINUTES)


def test_a_bad_reading_stays_bad_however_old() -> None:
    """Age never turns bad into something milder."""
    assert BAD == verdict_at(_reading("18.0"), 10**9, TEN_MINUTES)


def test_a_caution_grows_stale_too() -> None:
    """A reading over advice counts no longer than a good one."""
    reading = _reading("40", gas=Gas.CARBON_MONOXIDE)
    assert CAUTION == verdict_at(reading, 1, TEN_MINUTES)
    assert Verdict.STALE == verdict_at(reading, TEN_MINUTES, TEN_MINUTES)


def test_no_reading_is_unread() -> None:
    """What nobody read is unread, not clean."""
    assert Verdict.UNREAD == verdict_at(None, 0, TEN_MINUTES)


def test_the_newest_reading_counts_and_of_one_moment_the_last() -> None:
    """Readings are kept by time; two in the same millisecond count in the order in which they came."""
    first, second = _reading("20.9", 7), _reading("18.0", 7)
    assert second == latest((first, second), Gas.OXYGEN)
    assert first == latest((second, first), Gas.OXYGEN)
    assert _reading("20.5", 9) == latest((_reading("20.5", 9), second), Gas.OXYGEN)
    assert latest((first,), Gas.OXYGEN, "hatch") is None


def test_a_bad_reading_stands_until_the_same_place_is_read_again() -> None:
    """Clean air at the hatch says nothing about the person (1910.146 App. B(4): stratified space)."""
    bad = _reading("18.0", 1, place="person")
    assert bad == standing_bad((bad, _reading("20.9", 2, place="hatch")))
    assert standing_bad((bad, _reading("20.9", 2, place="person"))) is None
    assert standing_bad((bad,), Gas.CARBON_MONOXIDE) is None


def test_a_four_gas_meter_leaves_three_gases_unread() -> None:
    """19.6 % oxygen can hide 14,000 ppm carbon dioxide (1.4 points by respiration), 2.8 times the PEL of 5,000."""
    four = [_reading("19.6", gas=Gas.OXYGEN), *(_reading("0", gas=gas) for gas in ALWAYS_REQUIRED[1:])]
    assert (Gas.PHOSPHINE, Gas.CARBON_DIOXIDE, Gas.NITROGEN_DIOXIDE) == unread(four)
    hidden_ppm = (Decimal("20.9") - Decimal("19.5")) * 10_000
    assert Decimal(14_000) == hidden_ppm
    assert GOOD == judge(Gas.OXYGEN, Decimal("19.5"))
    assert BAD == judge(Gas.CARBON_DIOXIDE, hidden_ppm)
