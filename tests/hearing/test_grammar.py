"""Exact phrases only, and numbers in their slots."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.hearing.grammar import MOST_OFTEN, Grammar, ListenPhrase
from protocol.numbers import NUMBER_WORDS, is_number
from protocol.phrases import NUMBER_SLOT

GRAMMAR = Grammar(
    [
        ListenPhrase(text)
        for text in (
            "panel one standing",
            "panel two standing",
            "say again",
            "panel",
            f"oxygen {NUMBER_SLOT}",
            f"oxygen {NUMBER_SLOT} at the hatch",
        )
    ]
)


@pytest.mark.parametrize(
    ("text", "phrase"),
    [
        ("panel one standing", "panel one standing"),
        ("oxygen two zero decimal niner", "oxygen {number}"),
        ("oxygen twenty at the hatch", "oxygen {number} at the hatch"),
        ("panel one", None),
        ("standing", None),
        ("panel one standing panel one standing", None),
        ("oxygen", None),
        ("oxygen decimal", None),
        ("oxygen panel", None),
        ("", None),
    ],
)
def test_only_the_whole_phrase_counts(text: str, phrase: str | None) -> None:
    """Fragments, repetitions and heads without a number are nothing."""
    match = GRAMMAR.match(text)
    assert phrase == (match.phrase.text if match else None)


@pytest.mark.parametrize(
    ("text", "grows"),
    [
        ("panel", True),
        ("panel one standing", False),
        ("say again", False),
        ("oxygen two", True),
        ("oxygen two zero at the hatch", False),
    ],
)
def test_what_may_still_become_longer_waits(text: str, grows: bool) -> None:
    """A phrase that is the beginning of another, or a number that may go on, is not taken early."""
    assert grows == GRAMMAR.may_grow(text)


def test_every_number_word_can_be_recognised() -> None:
    """Each word of a spoken number stands in some sentence, in front of and behind another."""
    words = {part.words for part in GRAMMAR.parts() if part.single}
    assert NUMBER_WORDS - {"oh"} == words


@given(st.text(alphabet="abcdefghijklmnopqrstuvwxyz {}", max_size=60))
def test_any_text_is_matched_or_not(text: str) -> None:
    """Whatever the recogniser gives back, matching never fails."""
    match = GRAMMAR.match(text)
    assert match is None or text == match.text


@pytest.mark.parametrize("number", ["two zero decimal niner", "forty", "one nine decimal five", "twenty point nine", "one hundred five"])
def test_the_rivals_of_a_reading_are_readings(number: str) -> None:
    """Another number in the same place, of those that can be said: nobody says "two zero two hundred nine"."""
    match = GRAMMAR.match(f"oxygen {number}")
    assert match is not None
    rivals = [text.removeprefix("oxygen ") for text in GRAMMAR.rivals(match)]
    assert len(rivals) > 20
    assert all(is_number(rival.split()) for rival in rivals)
    assert number not in rivals


def test_the_nearest_sounding_number_is_a_rival() -> None:
    """Fourteen for forty, nine for five."""
    match = GRAMMAR.match("oxygen forty")
    assert match is not None
    assert "oxygen fourteen" in GRAMMAR.rivals(match)


@pytest.mark.parametrize(
    ("said", "rival"),
    [
        ("twenty point five", "twenty point nine"),
        ("twenty point nine", "twenty point five"),
        ("two zero decimal five", "two zero decimal niner"),
        ("two zero decimal niner", "three zero decimal niner"),
        ("zero decimal niner", "two zero decimal niner"),
        ("decimal three", "two decimal three"),
        ("one two zero", "two zero"),
    ],
)
def test_a_rival_keeps_the_other_words_as_they_were_said(said: str, rival: str) -> None:
    """"Twenty decimal nine" is no rival of "twenty point five": nobody who says "point" is heard to say "decimal"."""
    match = GRAMMAR.match(f"oxygen {said}")
    assert match is not None
    rivals = [text.removeprefix("oxygen ") for text in GRAMMAR.rivals(match)]
    assert rival in rivals
    assert {"point", "decimal"} & set(said.split()) >= {"point", "decimal"} & {word for one in rivals for word in one.split()}


@pytest.mark.parametrize("same", ["two zero decimal nine", "two zero decimal niner"])
def test_the_same_number_in_other_words_is_no_rival(same: str) -> None:
    """It means the same."""
    match = GRAMMAR.match("oxygen two zero decimal niner")
    assert match is not None
    assert f"oxygen {same}" not in GRAMMAR.rivals(match)


def test_no_number_is_given_alone_and_each_may_stand_in_every_place() -> None:
    """The recogniser learns what may begin, never a number, and what may follow: any number word but "oh", typed only."""
    given = GRAMMAR.sentences()
    words = [[part.words for part in sentence] for sentence in given]
    assert not [said for said in words if set(said) <= NUMBER_WORDS]
    assert NUMBER_WORDS - {"oh"} <= {word for said in words for word in said}
    followed = {said[place] for said in words for place in range(len(said) - 1) if said[place + 1] == "at the hatch"}
    last = {said[-1] for said in words}
    assert NUMBER_WORDS - {"decimal", "point", "oh"} == followed & NUMBER_WORDS == last & NUMBER_WORDS


def test_a_phrase_without_a_number_is_given_as_often_as_one_with_a_number() -> None:
    """So that the recogniser prefers neither."""
    grammar = Grammar.of_texts(["say again", *(f"{gas} {NUMBER_SLOT}" for gas in ("oxygen", "phosphine", "helium", "argon", "xenon", "neon"))])
    first = Counter(sentence[0].words for sentence in grammar.sentences())
    assert 0.8 < first["say again"] / first["phosphine"] < 1.25


def test_beside_a_single_reading_a_phrase_is_given_no_more_than_so_often() -> None:
    """The one reading holds every sample; all the others as often would be a long list for nothing."""
    first = Counter(sentence[0].words for sentence in Grammar.of_texts(["say again", f"oxygen {NUMBER_SLOT}"]).sentences())
    assert first["oxygen"] > first["say again"] == MOST_OFTEN


def test_without_numbers_each_phrase_is_given_once() -> None:
    """There is nothing to balance."""
    assert [["say again"], ["panel"]] == [[part.words for part in said] for said in Grammar.of_texts(["say again", "panel"]).sentences()]
