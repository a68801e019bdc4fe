"""Every sheet of a card's estimates: whole, with a source, and refused with what to fill in."""

import pytest

from protocol.errors import TableError
from protocol.house import House
from protocol.sheets import SHEETS, Gap, Line, estimates_of
from protocol.site import Site, read_site

FULL = """
[department]
name = "Hollow Creek Fire District"

[[bin]]
name = "north bin"
diameter_ft = 30
eave_ft = 18
grain = "corn"
airflow_cfm = 8000
grain_depth_ft = 12
anchor_above_grain_ft = 14
auger_bu_h = 3000
noise_dba = 96

[[panels]]
count = 4
width_in = 24
length_ft = 5

[[vacuum]]
name = "drum"
canister_gal = 16
"""
BARE = '[department]\nname = "Hollow Creek Fire District"\n'


def lines(text: str) -> tuple[Line | Gap, ...]:
    """The sheets of a card."""
    site: Site = read_site(text, "card")
    return estimates_of(site, site.house_rules())


def one(found: tuple[Line | Gap, ...], sheet: str, about: str) -> Line:
    """The first line of a sheet about something."""
    return next(row for row in found if isinstance(row, Line) and row.sheet == sheet and about in row.about)


def test_a_full_card_allows_every_sheet() -> None:
    """No gap, and at least one line for every row of the table."""
    found = lines(FULL)
    assert [] == [row for row in found if isinstance(row, Gap)]
    assert {row.id for row in SHEETS} == {row.sheet for row in found}


@pytest.mark.parametrize(
    "text", [FULL, FULL.replace("[[panels]]", '[[bin]]\nname = "b"\ndiameter_ft = 8\neave_ft = 9\n[[panels]]')]
)
def test_every_line_is_whole(text: str) -> None:
    """Ordered range, method, source, and a spoken and a shown form in both units."""
    for row in lines(text):
        if isinstance(row, Line):
            for units in ("us", "metric"):
                plain = row.as_plain(units)
                assert plain["low"] <= plain["value"] <= plain["high"], row
                assert all(plain[key] for key in ("about", "method", "source", "unit", "spoken", "shown")), row


def test_known_values_come_out() -> None:
    """562 lbf on a 2 by 5 ft panel of corn; 2 x 2 ft ring; four panels from two sheets (MSU Extension P2598)."""
    found = lines(FULL)
    assert pytest.approx(562, rel=0.005) == one(found, "panel_load", "5 ft").estimate.value / 4.4482216
    assert pytest.approx(4 * 0.3048**2) == one(found, "ring", "inside").estimate.value
    assert 2.0 == one(found, "plywood", "4 panels").estimate.value
    assert (
        pytest.approx(48 * 60, rel=0.01) == one(found, "noise", "95 dBA").estimate.value
    )  # 480/2^(10/3), NIOSH 98-126


def test_an_empty_card_says_what_to_fill_in() -> None:
    """Sheets about the bin give the reason; sheets about ring and person stand on the house rules."""
    found = lines(BARE)
    gaps = {row.sheet: row.reason for row in found if isinstance(row, Gap)}
    assert {"own_auger", "storage", "wall", "openings", "lowering", "purge", "slack"} == set(gaps)
    assert "[[bin]]" in gaps["purge"]
    assert one(found, "volume", "chest").estimate.value > 0


def test_one_bare_bin_leaves_the_other_standing() -> None:
    """A bin without a fan's air flow is named; the purge time of the other is still given."""
    found = lines(FULL + '\n[[bin]]\nname = "south bin"\ndiameter_ft = 20\neave_ft = 18\n')
    purge = [row for row in found if row.sheet == "purge"]
    assert ["south bin: fill in airflow_cfm."] == [row.reason for row in purge if isinstance(row, Gap)]
    assert 3 == sum(isinstance(row, Line) for row in purge)
    assert "test again" in one(found, "purge", "phosphine").estimate.then_say


def test_a_grain_without_a_row_is_refused() -> None:
    """With the line of the card."""
    with pytest.raises(TableError, match="line 9"):
        read_site(FULL.replace('"corn"', '"gravel"'), "card")


def test_no_line_ever_allows_a_pull() -> None:
    """Each pull force is followed by the refusal."""
    pulls = [row for row in estimates_of(read_site(FULL, "card"), House()) if row.sheet == "pull"]
    assert pulls
    assert all("Nobody pulls" in row.estimate.spoken() for row in pulls if isinstance(row, Line))
