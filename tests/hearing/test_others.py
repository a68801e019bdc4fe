"""The other phrases in force on made-up scores: by how much what was said stands out."""

from math import inf

import pytest

from assistant.hearing.candidate import ROWS_AFTER, Observer
from assistant.hearing.laid_out import Lexicon
from assistant.hearing.others import Others
from assistant.hearing.phone_net import ROW_S
from assistant.hearing.recogniser import SpeechModel
from assistant.hearing.second_look import PhraseTracker
from assistant.recipe.phones import BLANK, PDF_OF
from tests.hearing.test_second_look import LEXICON, SAID, SURE, UNSURE, spoken

FOUR, FORTY = ("F", "AO", "R"), ("F", "AO", "R", "T", "IY")
NUMBERS = {"four": (FOUR,), "forty": (FORTY,), "fourteen": ((*FORTY, "N"),), "five": (("F", "AY", "V"),)}


def lead(text: str, others: tuple[str, ...], said: tuple[str, ...], lexicon: Lexicon = NUMBERS) -> float:
    """Of a phrase over others when these phones sound."""
    tracker = PhraseTracker(text, lexicon)
    tracker.feed(spoken(*said))
    assert tracker.look is not None
    return Others(others, lexicon).lead(spoken(*said), text, tracker.look, round(tracker.look.start_s / ROW_S))


def test_the_lead_is_over_the_one_that_sounds_most_alike() -> None:
    """One phone of "time chick" is wrong: it loses what that phone loses."""
    texts = ("time check", "time chick", "either")
    assert SURE - UNSURE == pytest.approx(lead("time check", texts, SAID, LEXICON), rel=1e-5)
    assert UNSURE - SURE == pytest.approx(lead("time chick", texts, SAID, LEXICON), rel=1e-5)


def test_without_others_nothing_is_near() -> None:
    """Nor is the phrase near to itself."""
    assert inf == lead("forty", (), FORTY)
    assert inf == lead("forty", ("forty",), FORTY)


@pytest.mark.parametrize("said", ["four", "forty", "fourteen"])
def test_of_numbers_that_begin_alike_the_one_that_was_said_leads(said: str) -> None:
    """The shorter lies inside the longer, and is led by what the further phones are worth."""
    phones = ("SIL", *NUMBERS[said][0], "SIL", "SIL")
    leads = {text: lead(text, tuple(NUMBERS), phones) for text in ("four", "forty", "fourteen")}
    assert [said] == [text for text, value in leads.items() if value > 1]


def test_a_short_phrase_inside_a_longer_one_leaves_too_much_unsaid() -> None:
    """"Eck" and "im" fit parts of "time check" as well as can be; neither says the other four phones."""
    lexicon = {**LEXICON, "eck": (("EH", "K"),), "im": (("AY", "M"),)}
    unsaid = SURE - UNSURE
    assert 4 * unsaid == pytest.approx(lead("time check", ("eck",), SAID, lexicon), rel=1e-5)
    assert 4 * unsaid == pytest.approx(lead("time check", ("im",), SAID, lexicon), rel=1e-5)


def test_a_short_phrase_that_was_all_that_was_said_leads_a_longer_one_read_into_it() -> None:
    """The longer lost three phones of its six."""
    said = ("SIL", "SIL", "SIL", "CH", "EH", "K", "SIL")
    assert UNSURE - SURE > lead("time check", ("check",), said, LEXICON)


def test_what_ended_before_the_phrase_began_was_something_else() -> None:
    """A longer phrase that ends in it stands in the way; one that was said before it does not."""
    tracker = PhraseTracker("five", NUMBERS)
    phones = (*FORTY, "SIL", "SIL", "F", "AY", "V", "SIL")
    tracker.feed(spoken(*phones))
    assert tracker.look is not None
    others = Others(("forty",), NUMBERS)
    before, beside = (others.lead(spoken(*phones), "five", tracker.look, since) for since in (round(tracker.look.start_s / ROW_S), 0))
    assert before > 1 > beside


def test_what_is_still_being_said_stands_in_the_way_of_an_early_end() -> None:
    """So far "fourteen seven" fits better than "firteen"; had it ended here, "firteen" would."""
    seven = ("S", "EH", "V", "AH", "N")
    lexicon = {"firteen": (("F", "IH", "R", "T", "IY", "N"),), "fourteen": ((*FORTY, "N"),), "seven": (seven,)}
    tracker = PhraseTracker("firteen", lexicon)
    rows = spoken("SIL", *FORTY, "N")
    tracker.feed(rows)
    assert tracker.look is not None
    others = Others(("fourteen seven",), lexicon)
    early, late = (others.lead(rows, "firteen", tracker.look, early=one) for one in (True, False))
    assert early < 0 < late


def test_what_was_said_after_the_phrase_is_something_else() -> None:
    """The next phrase fits as well, and begins when this one is over."""
    phones = ("SIL", "T", "AY", "M", "SIL", "CH", "EH", "K", "SIL")
    assert lead("time", ("check",), phones, LEXICON) > 2 * (SURE - UNSURE)


def test_a_hum_after_a_number_does_not_make_another_of_it() -> None:
    """Both fit: the longer leads by no more than the "n" that the net half hears in the hum."""
    rows = spoken("SIL", *FORTY, "N", "SIL")
    hum = SURE - 0.5
    rows[-3, BLANK] = rows[-2, BLANK] = hum
    tracker = PhraseTracker("fourteen", NUMBERS)
    tracker.feed(rows)
    assert tracker.look is not None
    since = round(tracker.look.start_s / ROW_S)
    assert 0 < Others(("forty",), NUMBERS).lead(rows, "fourteen", tracker.look, since) < 1


def test_what_is_said_long_after_the_end_still_tells_what_was_said() -> None:
    """Said slowly, "dime check" begins as "time" does and fits all but its first phone."""
    lexicon = {**LEXICON, "dime": (("D", "AY", "M"),)}
    net = SpeechModel().net
    assert net is not None
    observer = Observer(net, lexicon)
    observer._take(spoken("SIL", "T", "AY", "M", *["SIL"] * 2 * ROWS_AFTER, "CH", "EH", "K"))
    seen = observer.look_for("time")
    assert seen is not None
    found = observer.lead(seen, "time", Others(("dime check",), lexicon), early=False)
    assert (SURE - UNSURE) / 2 == pytest.approx(found, rel=1e-5)


def test_a_hum_after_a_number_does_not_stand_in_its_way() -> None:
    """A little less than nothing is heard of the "n": by so much "forty" leads."""
    rows = spoken("SIL", *FORTY, "N", "SIL")
    rows[-3, [BLANK, PDF_OF["N"]]] = SURE, SURE - 0.5
    tracker = PhraseTracker("forty", NUMBERS)
    tracker.feed(rows)
    assert tracker.look is not None
    found = Others(("fourteen",), NUMBERS).lead(rows, "forty", tracker.look, round(tracker.look.start_s / ROW_S))
    assert found == pytest.approx(0.5, rel=1e-5)
