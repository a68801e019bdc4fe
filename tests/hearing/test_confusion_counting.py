"""Counting which phone is taken for which: the free path of the net, and what is laid beside what."""

from collections.abc import Iterator

import numpy as np
import pytest

from assistant.hearing.confusions import CODE_OF, NOTHING, SYMBOLS
from assistant.hearing.phone_net import ROW_S
from assistant.hearing.sound_distance import Codes, ways_of
from assistant.recipe.phones import ARPABET, BLANK, PDF_COUNT, PDF_OF, SILENCE
from tests.bench.confusions import Listened, counted, free_path

EVERY = tuple(range(len(ARPABET)))
RIGHT = [Listened((EVERY,), EVERY)] * 100
"""All phones heard as they were said, so that the few mistakes of a test are few."""


def codes(phones: str) -> Codes:
    """Codes of phones in ARPABET."""
    return tuple(CODE_OF[phone] for phone in phones.split())


def rows(outputs: list[int]) -> Iterator[np.ndarray]:
    """Scores in which each of these outputs is the likeliest in its row."""
    for output in outputs:
        row = np.zeros(PDF_COUNT, np.float32)
        row[output] = 5
        yield row


def test_the_free_path_is_what_fires() -> None:
    """Blanks and silence fill up, a phone in rows side by side fires once, and twice when something lies between."""
    t, ee = PDF_OF["T"], PDF_OF["IY"]
    heard = np.stack(list(rows([SILENCE, t, t, BLANK, ee, BLANK, ee, SILENCE])))
    assert codes("T IY IY") == free_path(heard, 0, 1)


def test_only_the_time_of_the_phrase_is_looked_at() -> None:
    """What the net imagines in the noise before and after is no mistake in the phrase."""
    heard = np.stack(list(rows([PDF_OF[phone] for phone in ("B", "T", "IY", "M")])))
    assert codes("T IY") == free_path(heard, 1 * ROW_S + 0.001, 2 * ROW_S + 0.001)


def test_every_phone_of_a_phrase_is_counted_once() -> None:
    """Right, mistaken, dropped and put in; gaps in which nothing was put in are counted too."""
    said = codes("S T EH P")
    heard = [Listened((said,), codes("S D EH K")), Listened((said,), codes("S EH P IY"))]
    counts = counted([*RIGHT, *heard], "x").counts - counted(RIGHT, "x").counts
    expected = {("S", "S"): 2, ("T", "D"): 1, ("T", NOTHING): 1, ("EH", "EH"): 2, ("P", "K"): 1, ("P", "P"): 1}
    for (one, other), count in expected.items():
        assert count == counts[CODE_OF[one], CODE_OF[other]], (one, other)
    gap = CODE_OF[NOTHING]
    assert 1 == counts[gap, CODE_OF["IY"]]
    assert 2 * (len(said) + 1) - 1 == counts[gap, gap]
    assert 2 * len(said) == counts[:gap].sum()


def test_the_pronunciation_that_fits_best_is_taken() -> None:
    """The letter A is no mistake for the word."""
    ways = ways_of(["a"])
    assert {codes("EY"), codes("AH")} <= set(ways)
    counts = counted([Listened(ways, codes("EY"))], "x").counts
    assert 1 == counts[CODE_OF["EY"], CODE_OF["EY"]]
    assert 0 == counts[CODE_OF["AH"]].sum()


def test_the_second_count_uses_the_costs_of_the_first() -> None:
    """Where the sounds leave open what stands for what, the mistake that is made elsewhere is taken."""
    clear = [Listened((codes("M AA T"),), codes("N AA T"))] * 30
    open_case = Listened((codes("M S AA"),), codes("N AA"))
    counts = counted([*RIGHT, *clear, open_case], "x").counts
    assert 31 == counts[CODE_OF["M"], CODE_OF["N"]]
    assert 1 == counts[CODE_OF["S"], CODE_OF[NOTHING]]


@pytest.mark.parametrize("path", [(), codes("T")])
def test_nothing_heard_and_something_heard(path: Codes) -> None:
    """A clip in which the net hears nothing drops every phone."""
    counts = counted([Listened((codes("S T EH P"),), path)], "x").counts
    assert 4 - len(path) == counts[: len(SYMBOLS) - 1, CODE_OF[NOTHING]].sum()
