"""Scenarios as text: what is shipped is in order, what is wrong is named with its line."""

from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import ProtocolError, TableError
from protocol.events import NoteTaken
from protocol.responses import NEEDS_WHICH, RESPONSES, answers
from protocol.scenario import Scenario, check_against, read_scenario
from protocol.targets import Grade, Targets
from tests.books import shipped_procedure

PROCEDURE = shipped_procedure()
GOOD = """
[scenario]
id = "test_one"
title = "A test"
place = "Nowhere farm"
aim = "To be read"
briefing = "Nowhere farm, one person."
minutes = 5

[[inject]]
id = "first"
at_s = 10
say = "It rains."

[[inject]]
id = "second"
on = "step joined"
say = "Meter alarm."
expects = ["emergency bad_air"]
within_s = 20
"""


def read(text: str) -> Scenario:
    """Read and check against the shipped procedure."""
    scenario = read_scenario(text, "test.toml")
    check_against(scenario, PROCEDURE, text, "test.toml")
    return scenario


def test_a_good_one_is_read() -> None:
    """Every row arrives as it was written, defaults filled in."""
    scenario = read(GOOD)
    assert ("test_one", 1.0, None) == (scenario.id, scenario.scenario.pace, scenario.scenario.ends)
    assert ["first", "second"] == [row.id for row in scenario.inject]
    assert () == scenario.scoring.grade


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("[scenario]", "[scenari]", "scenario: Field required"),
        ('title = "A test"', "", "title: Field required"),
        ("minutes = 5", "minutes = -5", "minutes: Input should be greater than 0"),
        ("at_s = 10", "", "line 10: inject.0: give one of at_s, on and enters"),
        ("at_s = 10", 'at_s = 10\non = "step joined"', "give one of at_s, on and enters"),
        ("at_s = 10", "at_s = 10\nwithin_s = 5", "expects names none"),
        ("at_s = 10", 'enters = "nowhere"', "line 10: inject 'first': .*no step 'nowhere'"),
        ('id = "second"', 'id = "first"', "line 15: inject 'first': there are two"),
        ("step joined", "step jioned", "no step 'jioned'"),
        ("step joined", "dance", "'dance' is no answer that can be expected"),
        ("step joined", "step", "'step' is no answer"),
        ("emergency bad_air", "emergency flood", "no emergency 'flood'"),
        ("minutes = 5", "minutes = 5\npace = 100", "pace: Input should be less than or equal to 60"),
        ("minutes = 5", 'minutes = 5\nends = "step over"', "no step 'over'"),
        ("minutes = 5", "minutes = 5\nweather = 1", "weather: Extra inputs"),
        ('[[inject]]\nid = "first"', '[scoring.stage_min]\nlunch = 5\n[[inject]]\nid = "first"', "no stage 'lunch'"),
        ('[[inject]]\nid = "first"', '[grain]\nmark = "ears"\n[[inject]]\nid = "first"', "grain.mark"),
        ("[scenario]", 'card = "a.toml"\n[site.department]\nname = "x"\n[scenario]', "not both"),
        ("[scenario]", "[scenario", "not valid TOML"),
    ],
)
def test_a_wrong_one_is_refused(old: str, new: str, reason: str) -> None:
    """The file, mostly the line, and the reason."""
    assert old in GOOD
    with pytest.raises(ProtocolError, match=reason) as caught:
        read(GOOD.replace(old, new, 1))
    assert "\n" not in str(caught.value)


def test_an_endless_one_is_refused() -> None:
    """A file longer than any scenario is not parsed."""
    with pytest.raises(TableError, match="longer than"):
        read_scenario("#" * 200_001, "long.toml")


@pytest.mark.parametrize(
    "name", ["bad_air", "chest_leak", "covered_then_visible", "night_alone", "rescuer_in_trouble", "waist_deep"]
)
def test_the_shipped_ones_are_in_order(name: str) -> None:
    """Each shipped scenario is read, fits the shipped procedure, and is called like its file."""
    text = (files("assistant") / "scenarios" / f"{name}.toml").read_text(encoding="utf-8")
    assert name == read(text).id


def test_every_word_for_an_answer_is_known() -> None:
    """The words that need to say which one are words; an unknown one is an error, never a silent no."""
    assert set(RESPONSES) >= NEEDS_WHICH
    for word in RESPONSES:
        with_which = f"{word} x" if word in NEEDS_WHICH else word
        assert not answers(with_which, NoteTaken(0, "x", "y"))
    with pytest.raises(TableError):
        answers("shrug", NoteTaken(0, "x", "y"))


def test_targets_are_minutes() -> None:
    """Minutes in the file are milliseconds in the record; grades keep their order."""
    targets = Targets.model_validate({"stage_min": {"air": 1.5}, "grade": [{"name": "good", "most_refused": 0}, {"name": "done"}]})
    assert (("air", 90_000),) == targets.stage_ms
    assert (Grade("good", most_refused=0), Grade("done")) == targets.grade


def test_the_person_narrows_the_house_rules() -> None:
    """Estimates in a drill use the scenario's person, five centimetres either way."""
    house = read(GOOD).house(None)
    assert (1.70, 1.80) == pytest.approx(house.person_height_m)
    assert (72.0, 88.0) == pytest.approx(house.person_mass_kg)


SHIPPED = (files("assistant") / "scenarios" / "chest_leak.toml").read_text(encoding="utf-8")


@given(st.integers(0, len(SHIPPED)), st.integers(0, 40), st.text(max_size=12))
def test_whatever_a_file_holds_it_is_read_or_refused(place: int, cut: int, put: str) -> None:
    """A shipped scenario with a piece cut out and another put in: checked, or refused with one known error."""
    text = SHIPPED[:place] + put + SHIPPED[place + cut :]
    said = "x.toml"
    try:
        check_against(read_scenario(text, "x.toml"), PROCEDURE, text, "x.toml")
    except ProtocolError as error:
        said = str(error)
    assert said.startswith("x.toml")
