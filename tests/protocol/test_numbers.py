"""Spoken numbers, both ways."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import NumberError
from protocol.numbers import NUMBER_WORDS, count_words, figure_words, is_number, parse_number


@pytest.mark.parametrize(
    ("words", "text"),
    [
        # ICAO Annex 10 Vol II 5.2.1.4 figure words and digit-by-digit rule (from memory)
        ("two zero decimal niner", "20.9"),
        ("one niner decimal fife", "19.5"),
        ("tree fower", "34"),
        ("one zero zero", "100"),
        ("twenty point nine", "20.9"),
        ("one two", "12"),
        ("twelve", "12"),
        ("thirty five", "35"),
        ("one hundred", "100"),
        ("two hundred five", "205"),
        ("one thousand two hundred", "1200"),
        ("zero decimal three one", "0.31"),
        ("point five", "0.5"),
        ("zero", "0"),
    ],
)
def test_people_say_numbers_two_ways(words: str, text: str) -> None:
    """Digit by digit and as a person counts give the same figures."""
    assert text == parse_number(words).text


@pytest.mark.parametrize(
    "words",
    ["", "panel", "twenty thirteen", "five twenty", "two point", "point", "one hundred two hundred",
     "point point", "two decimal three decimal four", "zero hundred", "one thousand two thousand", "roger"],
)  # fmt: skip
def test_anything_else_is_refused(words: str) -> None:
    """What is not exactly one number is an error, never a guess."""
    assert not is_number(words.split())
    with pytest.raises(NumberError):
        parse_number(words)


@given(st.decimals(min_value=0, max_value=99999, places=2))
def test_figures_come_back(value: Decimal) -> None:
    """What is spoken digit by digit is read back as the same figures."""
    text = format(value, "f")
    assert Decimal(text) == parse_number(figure_words(text)).value


@given(st.integers(min_value=0, max_value=9999))
def test_counts_come_back(number: int) -> None:
    """What is spoken as a count is read back as the same number."""
    assert number == int(parse_number(count_words(number)).value)


@given(st.lists(st.sampled_from(sorted(NUMBER_WORDS)), max_size=14))
def test_any_number_words_are_read_or_refused(words: list[str]) -> None:
    """Any mix of number words gives a number or NumberError, nothing else."""
    if is_number(words):
        assert parse_number(words).value >= 0


@pytest.mark.parametrize("text", ["1,5", "-3", "x", "\uff11"])
def test_unspeakable_text_is_refused(text: str) -> None:
    """Only plain digits and a point can be spoken as figures."""
    with pytest.raises(NumberError):
        figure_words(text)


@pytest.mark.parametrize("number", [-1, 10000])
def test_counts_have_bounds(number: int) -> None:
    """Counts outside 0 to 9999 are refused."""
    with pytest.raises(NumberError):
        count_words(number)
