"""Spoken numbers and typed lines: anything may be said."""

from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.inputs import Order, Stop, Words
from assistant.keyboard import parse
from protocol.commands import Origin, Role
from protocol.errors import NumberError
from protocol.numbers import NUMBER_WORDS, parse_number
from protocol.phrases import interpret
from protocol.state import State
from tests.books import shipped_book

CREW = Origin("crew", Role.BOTH, "keyboard")
SPOKEN = st.lists(st.sampled_from(sorted(NUMBER_WORDS)) | st.text(max_size=5), max_size=15)


@settings(max_examples=500)
@given(words=SPOKEN)
def test_number_words_in_any_order_are_a_number_or_refused(words: list[str]) -> None:
    """What is taken is a finite number that is not negative; everything else is a NumberError."""
    try:
        number = parse_number(words)
    except NumberError:
        return
    assert Decimal(0) <= number.value < Decimal(10) ** 12
    assert Decimal(number.text) == number.value


@given(line=st.text(min_size=1, max_size=200) | st.sampled_from(["/override", "/answer", "/note", "/quit now", "/answer x"]))
def test_any_typed_line_is_an_input(line: str) -> None:
    """Whatever is typed becomes words, an order or the end, and words mean something or nothing."""
    item = parse(line, CREW, "people")
    assert isinstance(item, Words | Order | Stop)
    if isinstance(item, Words):
        command = interpret(shipped_book(), State(opened=True, step="people"), item.text, 0, CREW)
        assert command is None or command.at_ms == 0
