"""Typed lines."""

from assistant.inputs import Order, Stop, Words
from assistant.keyboard import parse
from protocol.commands import EndWork, Note, Origin, Override, Role

WHO = Origin("crew", Role.BOTH, "keyboard")


def test_a_line_is_what_somebody_would_say() -> None:
    """Plain lines are words, with the line as what was heard."""
    found = parse("panel one standing", WHO, "panel_set")
    assert isinstance(found, Words)
    assert ("panel one standing", "panel one standing") == (found.text, found.origin.heard)


def test_overrides_need_a_reason() -> None:
    """/override with words is an order for the current step; alone it is only words that mean nothing."""
    found = parse("/override meter is broken, command accepts", WHO, "air_hatch")
    assert isinstance(found, Order)
    assert isinstance(found.command, Override)
    assert ("air_hatch", "meter is broken, command accepts") == (found.command.step, found.command.reason)
    assert isinstance(parse("/override", WHO, "air_hatch"), Words)


def test_a_question_is_passed_with_its_answer() -> None:
    """/answer gives the answer first, then the reason."""
    found = parse("/answer no seen by the owner", WHO, "fumigated")
    assert isinstance(found, Order)
    assert isinstance(found.command, Override)
    assert ("no", "seen by the owner") == (found.command.answer, found.command.reason)


def test_the_work_is_ended_with_a_reason() -> None:
    """/end with words is an order; alone it is only words that mean nothing."""
    found = parse("/end no meter left", WHO, "bad_air_cleared")
    assert isinstance(found, Order)
    assert isinstance(found.command, EndWork)
    assert "no meter left" == found.command.reason
    assert isinstance(parse("/end", WHO, "people"), Words)


def test_notes_and_quit() -> None:
    """/note keeps words, /quit stops the program."""
    found = parse("/note owner arrived", WHO, "people")
    assert isinstance(found, Order)
    assert isinstance(found.command, Note)
    assert "owner arrived" == found.command.text
    assert isinstance(parse("/quit", WHO, "people"), Stop)
