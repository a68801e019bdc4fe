"""How far apart phrases sound: the arithmetic against a library, the laws that hold, and what an ear expects."""

from math import inf, prod

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rapidfuzz.distance import Levenshtein

from assistant.errors import ModelError
from assistant.hearing.confusions import CODE_OF, NOTHING, read_confusions, unit_costs
from assistant.hearing.recogniser import shipped_model
from assistant.hearing.sound_distance import (
    MOST_WAYS,
    SPOKEN_NUMBERS,
    Codes,
    SoundDistance,
    aligned,
    edit_distances,
    ways_of,
)
from assistant.hearing.whole_phrases import read_lexicon
from assistant.library import load_book
from protocol.phrases import NUMBER_SLOT, every_phrase

LEXICON = read_lexicon(shipped_model())
COSTS = read_confusions(shipped_model()).costs()
MEASURE = SoundDistance(COSTS, LEXICON)
GAP = CODE_OF[NOTHING]
WORDS = sorted(LEXICON)[::400]

codes = st.lists(st.integers(0, 38), max_size=12).map(tuple)
phrases = st.lists(st.sampled_from(WORDS), min_size=1, max_size=4).map(" ".join)


def one(first: str, second: str) -> float:
    """The distance of one pair."""
    return MEASURE.between([(first, second)])[0]


@given(st.lists(st.tuples(codes, codes), min_size=1, max_size=8))
def test_with_unit_costs_it_is_the_library_s_distance(pairs: list[tuple[Codes, Codes]]) -> None:
    """Levenshtein, as RapidFuzz computes it, for strings of any lengths side by side."""
    expected = [Levenshtein.distance(a, b) for a, b in pairs]
    assert expected == edit_distances(pairs, unit_costs()).round(9).tolist()


@given(codes, codes, st.integers(1, 4), st.integers(1, 9))
def test_with_dear_gaps_it_is_the_library_s_distance(a: Codes, b: Codes, gap: int, change: int) -> None:
    """The same with weights for gaps and for changes."""
    costs = unit_costs() * change
    costs[GAP, :GAP] = costs[:GAP, GAP] = gap
    expected = Levenshtein.distance(a, b, weights=(gap, gap, change))
    assert expected == pytest.approx(edit_distances([(a, b)], costs)[0])


@given(codes, codes)
def test_the_alignment_costs_what_the_distance_says(a: Codes, b: Codes) -> None:
    """Its pairs spell both strings in order, and their costs add up to the least."""
    cost, pairs = aligned(a, b, COSTS)
    assert a == tuple(said for said, _ in pairs if said != GAP)
    assert b == tuple(heard for _, heard in pairs if heard != GAP)
    assert cost == pytest.approx(sum(COSTS[pair] for pair in pairs))
    assert cost == pytest.approx(edit_distances([(a, b)], COSTS)[0])


@settings(deadline=None)
@given(phrases, phrases)
def test_the_laws_of_a_distance_that_hold(first: str, second: str) -> None:
    """Nothing from itself, the same both ways, never below zero, never dearer than dropping one and saying the other."""
    there, back, same = MEASURE.between([(first, second), (second, first), (first, first)])
    dropped = [min(sum(COSTS[code, GAP] for code in way) for way in ways_of(text.split())) for text in (first, second)]
    assert 0 == same
    assert there == pytest.approx(back)
    assert -1e-9 <= there <= sum(dropped) + 1e-9


@settings(deadline=None)
@given(phrases, phrases, st.floats(0.1, 8))
def test_a_bound_leaves_the_near_as_they_are(first: str, second: str, bound: float) -> None:
    """What lies within it is exact; what lies beyond it is infinite."""
    exact = one(first, second)
    assert (exact if exact <= bound else inf) == pytest.approx(MEASURE.between([(first, second)], bound)[0])


def test_many_pairs_are_what_each_is_alone() -> None:
    """Working side by side changes nothing, numbers or not."""
    texts = ["panel one standing", "oxygen {number}", "affirm", "oxygen {number} at the hatch", "ox again", "nine"]
    pairs = [(a, b) for a in texts for b in texts]
    assert [one(a, b) for a, b in pairs] == pytest.approx(MEASURE.between(pairs))


@pytest.mark.parametrize(
    ("near", "far"),
    [
        ("five/nine", "five/seven"),
        ("thirteen/thirty", "thirteen/sixty"),
        ("fifteen/fifty", "fifteen/eighty"),
        ("wheat in the bin/oats are in the bin", "wheat in the bin/sunflower seed in the bin"),
        ("step is done/step is gone", "step is done/step is over"),
        ("set/said", "set/chosen"),
        ("rope is on the man/rope is on the mat", "rope is on the man/hose is on the cart"),
    ],
)
def test_what_an_ear_confuses_is_nearer(near: str, far: str) -> None:
    """Words that are known to be mistaken on the radio are nearer than words that are not.

    Source of the pairs of numbers: ICAO Annex 10 Volume II 5.2.1.4 says niner and fife because nine and five are
    mistaken for each other; teens against tens: common practice, no source.
    """
    assert one(*near.split("/")) < one(*far.split("/"))


def test_niner_was_made_to_be_told_from_five() -> None:
    """The radio's word for nine is farther from five than nine is (ICAO Annex 10 Volume II 5.2.1.4, from memory)."""
    assert one("nine", "five") < one("niner", "five")


def test_the_nearest_pronunciation_counts() -> None:
    """Two ways of saying "the" do not part a phrase from itself, and the least of all combinations is taken."""
    assert 0 == one("tomato", "tomato")
    ways = [edit_distances([(a, b)], COSTS)[0] for a in ways_of(["either"]) for b in ways_of(["ether"])]
    assert len(ways) > 1
    assert min(ways) == pytest.approx(one("either", "ether"))


def test_numbers_stand_against_numbers() -> None:
    """What is around the slot parts two phrases with numbers, and nothing else."""
    assert 0 == one("oxygen {number}", "oxygen {number}")
    assert one("oxygen {number} feet", "oxygen {number} meet") == pytest.approx(one("feet", "meet"))


def test_a_phrase_against_a_number_is_as_near_as_the_nearest_number() -> None:
    """Each number word is tried in the slot, which is no wildcard."""
    nearest = min(one("oxygen wine", f"oxygen {number}") for number in SPOKEN_NUMBERS)
    assert nearest == pytest.approx(one("oxygen wine", "oxygen {number}"))
    assert 0 == one("oxygen nine", f"oxygen {NUMBER_SLOT}")
    assert 1 < one("oxygen masks on", "oxygen {number}")


def test_a_word_that_nobody_can_say_is_named() -> None:
    """It cannot be measured, and cannot be heard either."""
    with pytest.raises(ModelError, match="does not know: qwertz"):
        MEASURE.require(["oxygen {number}", "the qwertz is on"])


def test_a_long_phrase_of_many_pronunciations_ends() -> None:
    """Of 2 to the power of 30 ways of saying it, so many as are asked for are compared."""
    long = " ".join(["a"] * 30)
    assert MOST_WAYS == len(ways_of(long.split()))
    assert 0 == one(long, long)


def test_no_shipped_phrase_has_more_ways_than_are_compared() -> None:
    """For what ships the least is over all pronunciations."""
    said = [text.replace(NUMBER_SLOT, "nine").split() for text in every_phrase(load_book())]
    assert max(prod(len(LEXICON[word]) for word in words) for words in said) <= MOST_WAYS


def test_nothing_to_measure() -> None:
    """No pairs, no distances."""
    assert [] == MEASURE.between([])
    assert 0 == len(edit_distances([], COSTS))
    assert np.array_equal(np.zeros(1), edit_distances([((), ())], COSTS))
