"""The other phrases in force on made-up scores: who stands nearest to what was said."""

from math import inf

import pytest

from assistant.hearing.others import Others
from tests.hearing.test_second_look import LEXICON, SAID, look, spoken

TEXTS = ("time check", "time chick", "either", "time")


def test_the_nearest_other_is_the_one_that_sounds_like_it() -> None:
    """Its loss is that of the second look at it: both lay the same phones along the same rows."""
    rows = spoken(*SAID)
    seen = look("time chick", *SAID)
    assert seen is not None
    assert seen.shortfall == pytest.approx(Others(TEXTS, LEXICON).nearest(rows, "time check"), rel=1e-5)


def test_what_was_said_is_the_nearest_other_of_a_wrong_guess() -> None:
    """It fits without loss."""
    assert 0 == pytest.approx(Others(TEXTS, LEXICON).nearest(spoken(*SAID), "time chick"), abs=1e-5)


def test_the_beginning_of_a_phrase_is_not_its_rival() -> None:
    """"time" lies inside "time check"; so without others nothing is near."""
    assert inf == Others(("time check", "time"), LEXICON).nearest(spoken(*SAID), "time check")
    assert inf == Others((), LEXICON).nearest(spoken(*SAID), "time check")
