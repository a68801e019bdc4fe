"""The hand-over: ATMIST order, short, and nothing in it that nobody said."""

from dataclasses import replace

import pytest

from protocol.events import Said
from protocol.handover import MOST_WORDS, handover, handover_words
from tests.books import shipped_book
from tests.drills import COVERED, VISIBLE
from tests.story import MINUTE, Story

# UK fire and rescue national guidance (ukfrs.com, casualty handover) and RCEM Learning: ATMIST, about 30 s.
ATMIST = "ATMIST"


def told(lines: tuple[str, ...]) -> Story:
    """A story up to the end of the given lines."""
    return Story(shipped_book()).say_all(lines)


@pytest.mark.parametrize("lines", [(), VISIBLE[:9], VISIBLE, COVERED])
def test_the_order_is_atmist_and_the_length_is_kept(lines: tuple[str, ...]) -> None:
    """At any moment: six parts in the published order, at most 75 words (30 s at 150 words a minute)."""
    scene = told(lines).scene()
    assert ATMIST == "".join(line.letter for line in handover(scene))
    assert len(handover_words(scene).split()) <= MOST_WORDS


def test_what_nobody_said_is_not_filled_in() -> None:
    """With nothing answered, every part says that it is not known."""
    words = handover_words(told(()).scene())
    for part in ("Cause not known", "mark nobody called", "Feeling not asked", "oxygen never read", "pulling not asked"):
        assert part in words


def test_what_was_said_is_in_it() -> None:
    """Grain, deepest mark, pulls, air and fumigant as answered in the drill."""
    words = handover_words(told(VISIBLE).scene())
    for part in ("in corn", "deepest at the chest", "was not pulled", "two zero decimal niner", "no fumigant known"):
        assert part in words


def test_a_covered_person_is_said_to_have_been_covered() -> None:
    """Covered before visible is part of the mechanism."""
    assert "covered at first" in handover_words(told(COVERED).scene())


def test_held_an_hour_is_flagged() -> None:
    """From 60 minutes on the medics hear that crush injury is possible (Joint Trauma System guideline: 1 h)."""
    scene = told(VISIBLE[:9]).scene()
    assert "crush" not in handover_words(replace(scene, at_ms=60 * MINUTE - 1))
    assert "crush injury possible" in handover_words(replace(scene, at_ms=60 * MINUTE))


def test_it_is_read_out_on_request() -> None:
    """The phrase "read the handover" is answered with exactly these words."""
    story = told(VISIBLE[:9])
    spoken = [event.text for event in story.say("read the handover") if isinstance(event, Said)]
    assert [handover_words(story.scene())] == spoken
