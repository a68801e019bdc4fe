"""The air table against the limits, and over the life of a reading."""

from decimal import Decimal

import pytest

from assistant.board.air_table import UNITS, WORDS, AirCell, bounds_of
from protocol.air import LIMITS, RANGES, Crossing, Gas, Verdict, judge
from tests.board.tellings import Told, told_to
from tests.drills import VISIBLE
from tests.story import MINUTE


@pytest.mark.parametrize("gas", list(Gas))
def test_a_shown_bound_is_where_the_judgement_turns(gas: Gas) -> None:
    """At each bound shown, the smallest step over it changes the judgement to the verdict shown, and the bound is published."""
    published = {(limit.verdict.value, limit.value) for limit in LIMITS if limit.gas is gas}
    bounds = bounds_of(gas)
    assert any(bound.verdict == "bad" for bound in bounds)
    for bound in bounds:
        assert (bound.verdict, bound.value) in published
        step = Decimal("0.001")
        inside, crossed = {
            "under": (bound.value, bound.value - step),
            "over": (bound.value, bound.value + step),
            "from": (bound.value - step, bound.value),
        }[bound.words]
        assert Verdict(bound.verdict) is judge(gas, crossed)
        assert Verdict(bound.verdict) is not judge(gas, inside)


def test_every_unit_and_verdict_has_short_words() -> None:
    """No unit of a meter and no verdict is without words on the board, and none of the words is "safe"."""
    assert {row.unit for row in RANGES} == set(UNITS)
    assert set(Verdict) == set(WORDS)
    assert not {"safe", "clean", "ok"} & set(WORDS.values())
    assert {crossing for limit in LIMITS for crossing in [limit.crossing]} <= set(Crossing)


def test_a_reading_ages_into_too_old() -> None:
    """A reading is in limits, then too old at ten minutes to the millisecond; its time is kept."""
    story = told_to(VISIBLE, "air_person")
    cell = cell_of(story, "oxygen", "hatch")
    assert cell.at_ms is not None
    assert cell.stale_ms is not None
    assert ("good", Decimal("20.9"), cell.at_ms + 10 * MINUTE) == (cell.verdict, cell.value, cell.stale_ms)
    story.wait(cell.stale_ms - 1)
    assert "good" == cell_of(story, "oxygen", "hatch").verdict
    story.wait(cell.stale_ms)
    assert "stale" == cell_of(story, "oxygen", "hatch").verdict


def test_bad_stays_bad_however_old() -> None:
    """Half an hour later a bad reading is not merely too old."""
    story = told_to(VISIBLE, "boards")
    story.read(Gas.CARBON_MONOXIDE, "60", "person")
    story.wait(story.now + 30 * MINUTE)
    cell = cell_of(story, "carbon_monoxide", "person")
    assert ("bad", "over the permitted limit") == (cell.verdict, cell.limit)


def test_a_trend_compares_with_the_reading_before_at_the_same_place() -> None:
    """Twelve then forty at the person is rising, whatever the hatch said, and is a caution."""
    story = told_to(VISIBLE, "boards")
    story.read(Gas.CARBON_MONOXIDE, "3", "hatch")
    story.read(Gas.CARBON_MONOXIDE, "40", "person")
    cell = cell_of(story, "carbon_monoxide", "person")
    assert ("caution", "rising") == (cell.verdict, cell.way)
    assert "falling" == cell_of(story, "carbon_monoxide", "hatch").way


def test_unread_gases_are_named_and_phosphine_is_asked_for_when_nobody_knows() -> None:
    """Without an answer about fumigation phosphine has a row; a gas nobody read is named as not read."""
    unknown = told_to(VISIBLE, "fumigated").shown.air
    assert "phosphine" in {row.gas for row in unknown.rows}
    never = told_to(VISIBLE, "boards").shown.air
    assert "phosphine" not in {row.gas for row in never.rows}
    assert ("phosphine", "carbon dioxide", "nitrogen dioxide") == never.not_read


def cell_of(story: Told, gas: str, place: str) -> AirCell:
    """One cell of the table."""
    row = next(row for row in story.shown.air.rows if row.gas == gas)
    return next(cell for cell in row.cells if cell.place == place)
