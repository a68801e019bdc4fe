"""Texts are cleaned, slowed for numbers, and their length estimated."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.speaking import wording


@pytest.mark.parametrize(
    ("text", "slow"),
    [
        ("Panel two set.", False),
        ("All rescuers leave the bin now.", False),
        ("Oxygen two zero decimal niner.", True),
        ("Twenty point nine per cent.", True),
        ("Pressure 35.", True),
        ("One hundred five seconds.", True),
    ],
)
def test_readings_are_slowed(text: str, slow: bool) -> None:
    """A reading is slow, the name of a panel is not."""
    assert slow == wording.carries_numbers(text)


@given(st.text())
def test_a_clean_text_is_one_printable_line(text: str) -> None:
    """Nothing that could end a C string or a protocol line reaches the engine."""
    cleaned = wording.clean(text)
    assert cleaned.isprintable()
    assert cleaned == wording.clean(cleaned)


def test_the_estimate_is_150_words_a_minute() -> None:
    """Five words take two seconds."""
    assert 2000 == wording.estimate_ms("all rescuers leave the bin")


def test_figures_count_as_they_are_spoken() -> None:
    """20.9 % is five words: two, zero, point, nine, per cent."""
    assert 2000 == wording.estimate_ms("20.9 %")
