"""What is said to the person, in two languages; and the crew's special cases: several held, one rescuer alone."""

import re

import pytest

from protocol.house import House
from protocol.person_lines import LINES, SPANISH_REVIEWED, PersonLine, line_for, other
from protocol.site import missing, read_site
from tests.books import book_with, shipped_book, shipped_procedure
from tests.drills import VISIBLE
from tests.protocol.test_site import CARD
from tests.story import Story, sentences, walked_to

BOOK = shipped_book()


@pytest.mark.parametrize("line", LINES.values(), ids=list(LINES))
def test_every_line_is_short_calm_and_in_both_languages(line: PersonLine) -> None:
    """At most four short sentences, no promise of safety, no order to pull, and the Spanish is not the English."""
    for text in (line.en, line.es):
        assert len([part for part in re.split(r"[.?!]", text) if part.strip()]) <= 4
        assert len(text.split()) <= 20
        assert not re.search(r"\b(safe|seguro|segura|fine|bien|promise)\b", text.lower())
    assert line.en != line.es


def test_every_line_belongs_to_a_stage() -> None:
    """No line that nobody ever hears; a stage without one tells the person to hold still."""
    assert set(LINES) <= {stage.id for stage in shipped_procedure().stages}
    assert "Hold still" in line_for("size_up").en
    assert ("es", "en") == (other("en"), other("es"))


@pytest.mark.parametrize("step", ["person_told", "panel_set", "chest_clear", "feet_free", "takeover"])
def test_the_line_fits_the_work_and_comes_in_either_language(step: str) -> None:
    """Asked for by voice: the department's language first, the other on request."""
    story = walked_to(BOOK, VISIBLE, step)
    line = line_for(shipped_procedure().step(step).stage)
    assert [line.en] == sentences(story.say("speak to the person"))
    assert [line.es] == sentences(story.say("use the other language"))


def test_a_spanish_department_hears_spanish_first() -> None:
    """The site card sets it, and says that no native speaker has reviewed the lines."""
    story = Story(book_with(House(person_language="es")))
    assert [line_for("size_up").es] == sentences(story.say("speak to the person"))
    site = read_site(CARD.replace('units = "us"', 'units = "us"\nperson_language = "es"'), "card")
    assert "es" == site.house_rules().person_language
    unreviewed = [gap for gap in missing(site) if "native speaker" in gap]
    assert bool(unreviewed) != SPANISH_REVIEWED
    assert not [gap for gap in missing(read_site(CARD, "card")) if "native speaker" in gap]


def test_a_freed_person_is_not_told_to_hold_still() -> None:
    """Once free there is no line."""
    story = walked_to(BOOK, VISIBLE, "medics_have")
    assert "is free" in sentences(story.say("speak to the person"))[0]


@pytest.mark.parametrize("words", ["several people trapped", "number is unknown"])
def test_several_or_unknown_leads_to_a_direction_by_command(words: str) -> None:
    """Unknown is worked as several; who comes first is command's word."""
    said = sentences(Story(BOOK).say(words))[0]
    assert "Command decides" in said or "Worked as several" in said


def test_one_rescuer_alone_calls_first_stays_out_and_comes_back_to_the_step() -> None:
    """Taken in any step; nobody goes in; when the crew is there the interrupted step comes again."""
    story = walked_to(BOOK, VISIBLE, "flow_off")
    said = sentences(story.say("only one rescuer on scene"))
    assert said[0].startswith("You are alone. Nobody goes in. Call for help first.")
    for words in ("help has been called", "machines are locked and tagged", "talking from the hatch"):
        assert story.state.emergencies
        story.say(words)
    story.say("second crew has arrived")
    assert ("flow_off", ()) == (story.step, story.state.emergencies)
    assert "unknown" == story.state.fact("flow"), "the crew's own lockout is still asked for"
