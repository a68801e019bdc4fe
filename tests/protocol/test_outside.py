"""Panels out: what runs in is spoken before each panel, and the order once the grain outside each was called."""

from decimal import Decimal

import pytest

from protocol import commands as cmd
from protocol.estimates import refill_when_out
from protocol.estimates.body import Mark
from protocol.estimates.grain import GRAINS, GrainName
from protocol.outside import _about, order_answer, order_of_removal
from protocol.remaining import person_of, ring_of
from tests.books import shipped_book
from tests.drills import VISIBLE
from tests.story import Story, origin_of, sentences, walked_to

BOOK = shipped_book()
CALLED = ("outside panel one two four inches", "outside panel two six inches", "outside panel three one two inches",
          "outside panel four three zero inches")  # fmt: skip


def at_the_panels() -> Story:
    """The person is with the medics; the panels come out."""
    return walked_to(BOOK, VISIBLE, "panel_out")


def test_what_runs_in_is_spoken_with_a_range_when_the_outside_is_called() -> None:
    """Panel by panel, from the refill estimate, in words."""
    story = at_the_panels()
    said = sentences(story.say("outside panel one two four inches"))
    assert 1 == len(said)
    assert said[0].startswith("Outside panel one, two four. Panel one lets in about")
    assert "between" in said[0]


def test_the_order_is_that_of_the_estimate() -> None:
    """Lowest grain outside first here (common practice), and each prediction counts with what already ran in."""
    story = at_the_panels()
    story.say_all(CALLED[:-1])
    assert () == order_of_removal(story.scene())
    assert "" == order_answer(story.scene()).text
    said = sentences(story.say(CALLED[-1]))
    assert "Take panel two first, then three, one, four." == said[-1]
    assert [2, 3, 1, 4] == [refill.panel for refill in order_of_removal(story.scene())]


def test_the_next_panel_and_its_refill_are_spoken_after_each_one() -> None:
    """Before anyone touches it; after the last one there is nothing more to say."""
    story = at_the_panels().say_all(CALLED)
    assert sentences(story.say("panel two recovered"))[-1].startswith("Next is panel three. Panel three lets")
    assert sentences(story.say("panel four recovered"))[-1].startswith("Next is panel three.")
    story.say("panel three recovered")
    assert not [text for text in sentences(story.say("panel one recovered")) if "Next is panel" in text]


def test_nothing_is_predicted_that_nobody_called() -> None:
    """Without the levels outside the panels come out as before."""
    story = at_the_panels()
    assert not [text for text in sentences(story.say("panel two recovered")) if "lets in" in text]


@pytest.mark.parametrize(("panel", "inches"), [(5, "12"), (0, "12"), (1, "140")])
def test_what_cannot_be_is_not_taken(panel: int, inches: str) -> None:
    """A panel that the ring has not, or grain over three metres higher."""
    story = at_the_panels()
    events = story.do(cmd.CallOutside(story.now, origin_of(cmd.Role.BOTH), panel, Decimal(inches)))
    assert "that cannot be" in sentences(events)[0]
    assert () == story.state.outside_m


def test_a_level_said_again_replaces_the_first() -> None:
    """The last word counts."""
    story = at_the_panels().say_all(["outside panel one two four inches", "outside panel one one two inches"])
    ((panel, higher_m),) = story.state.outside_m
    assert 1 == panel
    assert pytest.approx(0.3048) == higher_m  # twelve inches by definition


def test_the_words_mean_nothing_before_the_panels_come_out() -> None:
    """And so cannot be misheard there."""
    assert walked_to(BOOK, VISIBLE, "chest_clear").heard("outside panel one one two inches") is None


def test_spoken_and_computed_agree() -> None:
    """The first of the order is the panel whose own refill is the smallest of all."""
    story = at_the_panels().say_all(CALLED)
    house, corn = BOOK.house, GRAINS[GrainName.CORN]
    first = order_of_removal(story.scene())[0]
    alone = [
        refill_when_out(person_of(house), ring_of(house), corn, panel, Mark.FEET, _about(dict(story.state.outside_m)[panel])).volume.value
        for panel in range(1, 5)
    ]
    assert pytest.approx(min(alone)) == first.volume.value
