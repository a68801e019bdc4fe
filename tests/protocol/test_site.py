"""The site card."""

import pytest

from protocol.errors import TableError
from protocol.house import House
from protocol.loading import load_procedure
from protocol.phrases import step_phrases
from protocol.site import missing, read_site
from tests.books import MAIN, shipped_texts

CARD = """
[department]
name = "Hollow Creek Fire District"
units = "us"

[[bin]]
name = "Tamsin north bin"
diameter_ft = 30
eave_ft = 18
grain = "corn"

[[panels]]
count = 5
width_in = 24
length_ft = 5

[[vacuum]]
name = "shop drum"
canister_gal = 12

[[meter]]
name = "four-gas meter"
gases = ["oxygen", "flammable_gas", "carbon_monoxide", "hydrogen_sulfide"]

[[crew]]
name = "R. Alder"
role = "rescuer"

[house]
roll_call_min = 10

[[wording]]
step = "locked"
say = ["tags are hanging on"]
"""


def test_a_card_becomes_house_rules() -> None:
    """Panels, drum and intervals are the card's; the rest keeps its default."""
    house = read_site(CARD, "card").house_rules()
    assert (5, 12.0, 10.0, 20.0) == (house.panels, house.canister_gal, house.roll_call_min, house.work_period_min)
    assert pytest.approx(24 * 0.0254) == house.panel_width_m  # the inch is 25.4 mm by definition


def test_what_is_missing_is_listed() -> None:
    """Gases that no meter reads, people and anchors that are not there, in plain words."""
    gaps = missing(read_site(CARD, "card"))
    for gap in ("no meter reads phosphine", "fewer than two rescuers are named", "Tamsin north bin: no rated anchor"):
        assert gap in gaps


def test_a_department_says_it_in_its_own_words() -> None:
    """A reworded step takes the card's phrase and no longer the shipped one."""
    procedure = load_procedure(MAIN, shipped_texts(), read_site(CARD, "card").words)
    assert ("tags are hanging on",) == step_phrases(procedure.step("locked"), 4)


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("count = 5", "count = 0", "line 13"),
        ('units = "us"', 'units = "roods"', "department"),
        ("[house]", "[house]\nxyz = 1", "xyz"),
        ("roll_call_min = 10", "roll_call_min = 0", "roll_call_min"),
        ('name = "shop drum"', "name = ", "not valid TOML"),
        ("[department]", "[departement]", "department"),
    ],
)
def test_a_wrong_card_is_refused(old: str, new: str, reason: str) -> None:
    """With the place and the reason."""
    with pytest.raises(TableError, match=reason):
        read_site(CARD.replace(old, new), "card").house_rules()


@pytest.mark.parametrize(
    ("step", "say", "reason"),
    [
        ("nowhere", "tags are hanging on", "there is no step 'nowhere'"),
        ("people", "tags are hanging on", "is a question"),
        ("locked", "tags on", "too short"),
        ("locked", "hold all work", "already means something"),
    ],
)
def test_wrong_words_are_refused(step: str, say: str, reason: str) -> None:
    """A department's words keep the same rules as the shipped ones."""
    card = read_site(CARD.replace('"locked"', f'"{step}"').replace("tags are hanging on", say), "card")
    with pytest.raises(TableError, match=reason):
        load_procedure(MAIN, shipped_texts(), card.words)


LINES = """
[[crew]]
name = "R. Alder"
role = "rescuer"
line = "A1"
tenders = ["Ashby", "Renn"]

[[crew]]
name = "Ashby"
role = "tender"

[[crew]]
name = "B. Holt"
role = "rescuer"

[[crew]]
name = "C. Venn"
role = "rescuer"
line = "A1"
tenders = ["Cole"]
"""
NAMED = CARD[: CARD.index("[[crew]]")] + LINES


def test_lines_and_tenders_may_be_planned_before_the_season() -> None:
    """Rescuers are numbered in the card's order; a relief may be planned on the same line; a record holds the plan."""
    house = read_site(NAMED, "card").house_rules()
    assert [(1, "A1", ("Ashby", "Renn")), (3, "A1", ("Cole",))] == [
        (plan.slot, plan.line, plan.tenders) for plan in house.planned_lines
    ]
    assert ("Ashby",) == house.tender_names
    assert house == House.model_validate(house.model_dump(mode="json"))


def test_a_plan_with_too_few_tenders_is_listed() -> None:
    """Two hold a line: UMaine Extension 2352; NASD 1144."""
    gaps = missing(read_site(NAMED, "card"))
    assert ["C. Venn, line A1: fewer than two tenders are planned"] == [gap for gap in gaps if "planned" in gap]


def test_a_tender_named_with_a_line_counts_as_named() -> None:
    """Ashby, Renn and Cole are three; a fourth name is enough, in the list or with a line."""
    for card, few in ((NAMED, True), (NAMED.replace('["Cole"]', '["Cole", "Dorsey"]'), False)):
        assert few == ("fewer than four tenders are named" in missing(read_site(card, "card")))


def test_a_card_and_a_record_from_before_lines_are_read() -> None:
    """No plan is no plan."""
    assert ((), ()) == (read_site(CARD, "card").house_rules().planned_lines, House.model_validate({"units": "us"}).planned_lines)


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ('line = "A1"\ntenders = ["Ashby", "Renn"]', 'line = "longer than a tag"', r"line 2\d: .*12 characters"),
        ('["Cole"]', '["a", "b", "c", "d", "e"]', "at most 4"),
        ('["Cole"]', '["Co\\u202ele"]', "plain signs"),
        ('name = "Ashby"\nrole = "tender"', 'name = "Ashby"\nrole = "tender"\nline = "2"', "only a rescuer has a line"),
    ],
)
def test_a_wrong_plan_is_refused(old: str, new: str, reason: str) -> None:
    """With the place and the reason."""
    assert old in NAMED
    with pytest.raises(TableError, match=reason):
        read_site(NAMED.replace(old, new), "card")
