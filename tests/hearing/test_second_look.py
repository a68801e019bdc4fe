"""The second look on made-up scores: what was said fits, what was not said does not, and its end is seen."""

import numpy as np
import pytest
from numpy.typing import NDArray

from assistant.hearing.belief import Evidence, Policy
from assistant.hearing.grammar import ListenPhrase
from assistant.hearing.phone_net import ROW_S
from assistant.hearing.second_look import Look, PhraseTracker
from assistant.recipe.phones import BLANK, PDF_COUNT, PDF_OF, SILENCE
from protocol.phrases import Strictness

LEXICON = {
    "time": (("T", "AY", "M"),),
    "check": (("CH", "EH", "K"),),
    "chick": (("CH", "IH", "K"),),
    "either": (("IY", "DH", "ER"), ("AY", "DH", "ER")),
}
SURE, UNSURE = -0.05, -6.0


def spoken(*phones: str) -> NDArray[np.float32]:
    """Rows in which these phones sound one after another, a blank between; SIL and blank may be named."""
    order = [pdf for phone in phones for pdf in ((PDF_OF[phone], BLANK) if phone in PDF_OF else (_still(phone),))]
    rows = np.full((len(order), PDF_COUNT), UNSURE, np.float32)
    rows[np.arange(len(order)), order] = SURE
    return rows


def _still(name: str) -> int:
    return {"SIL": SILENCE, "blank": BLANK}[name]


def look(phrase: str, *phones: str) -> Look | None:
    """The second look at a phrase after these phones."""
    tracker = PhraseTracker(phrase, LEXICON)
    tracker.feed(spoken(*phones))
    return tracker.look


SAID = ("SIL", "SIL", "T", "AY", "M", "SIL", "CH", "EH", "K")


def test_what_was_said_fits() -> None:
    """No loss, start and end where the phones are, a pause between words allowed."""
    seen = look("time check", *SAID)
    assert seen is not None
    assert 0 == pytest.approx(seen.shortfall)
    assert 2 * ROW_S == pytest.approx(seen.start_s)
    assert 13 * ROW_S == pytest.approx(seen.end_s)
    assert 6 == seen.phones


def test_one_wrong_word_shows() -> None:
    """The mean rises a little, the worst word a lot."""
    seen = look("time chick", *SAID)
    assert seen is not None
    assert seen.shortfall > 0.5
    assert (SURE - UNSURE) / 3 == pytest.approx(seen.worst_word, rel=0.05)


def test_a_phrase_broken_off_does_not_fit() -> None:
    """However quiet it is afterwards."""
    seen = look("time check", "SIL", "T", "AY", "M", "SIL", "CH", *["SIL"] * 20)
    assert seen is None or seen.shortfall > 1.5


@pytest.mark.parametrize(("first", "fits"), [("IY", True), ("AY", True), ("OW", False)])
def test_any_way_of_saying_a_word_fits(first: str, fits: bool) -> None:
    """Each pronunciation of the lexicon, and no other."""
    seen = look("either", "SIL", first, "DH", "ER", "SIL")
    assert seen is not None
    assert fits == (seen.shortfall < 0.5)


def test_quiet_after_the_phrase_is_counted() -> None:
    """Rows without a phone, until one sounds."""
    seen = look("time check", *SAID, *["SIL"] * 4)
    assert seen is not None
    assert 5 * ROW_S == pytest.approx(seen.quiet_s)
    assert not seen.followed


def test_going_on_speaking_shows() -> None:
    """A phrase in the middle of a sentence is followed; one after which somebody speaks later is not."""
    straight, later = look("time check", *SAID, "OW", "V", "ER"), look("time check", *SAID, *["SIL"] * 12, "OW", "V")
    assert straight is not None
    assert later is not None
    assert straight.followed
    assert not later.followed
    assert later.quiet_s < ROW_S * 2


def test_rows_may_come_one_by_one() -> None:
    """A live stream sees what a recording shows."""
    tracker = PhraseTracker("time check", LEXICON)
    for row in spoken(*SAID, "SIL", "SIL"):
        tracker.feed(row[None])
    assert look("time check", *SAID, "SIL", "SIL") == tracker.look


@pytest.mark.parametrize("strictness", list(Strictness))
def test_no_evidence_is_never_believed(strictness: Strictness) -> None:
    """A phrase that was not said to its end, and one that nobody is sure of."""
    phrase, policy = ListenPhrase("time check", strictness), Policy()
    assert policy.doubt(phrase, Evidence(looked=True, look=None)) == "not said to its end"
    assert policy.doubt(phrase, Evidence.of_words([0.0, 0.1])) == "not sure enough"


def test_emergencies_ask_least_and_advances_most() -> None:
    """The more a mistake costs, the more is asked; a missed emergency costs more than a false one."""
    strict, normal, loose = (Policy().least(one) for one in (Strictness.STRICT, Strictness.NORMAL, Strictness.LOOSE))
    assert strict.shortfall < normal.shortfall < loose.shortfall
    assert strict.worst_word <= normal.worst_word <= loose.worst_word
    assert strict.mean > normal.mean > loose.mean
