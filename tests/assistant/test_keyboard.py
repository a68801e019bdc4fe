"""Typed lines."""

from typing import TypeVar

from assistant.inputs import Order, Stop, Words
from assistant.keyboard import parse
from protocol.commands import Command, EndWork, Note, Origin, Override, Role

WHO = Origin("crew", Role.BOTH, "keyboard")

C = TypeVar("C", bound=Command)


def _ordered(line: str, kind: type[C], step: str = "air_hatch") -> C:
    """The command that a line typed in some step orders."""
    found = parse(line, WHO, step)
    assert isinstance(found, Order)
    assert isinstance(found.command, kind)
    return found.command


def test_a_line_is_what_somebody_would_say() -> None:
    """Plain lines are words, with the line as what was heard."""
    found = parse("panel one standing", WHO, "panel_set")
    assert isinstance(found, Words)
    assert ("panel one standing", "panel one standing") == (found.text, found.origin.heard)


def test_overrides_need_a_reason() -> None:
    """/override with words is an order for the current step; alone it is only words that mean nothing."""
    order = _ordered("/override meter is broken, command accepts", Override)
    assert ("air_hatch", "meter is broken, command accepts") == (order.step, order.reason)
    assert isinstance(parse("/override", WHO, "air_hatch"), Words)


def test_a_question_is_passed_with_its_answer() -> None:
    """/answer gives the answer first, then the reason."""
    order = _ordered("/answer no seen by the owner", Override)
    assert ("no", "seen by the owner") == (order.answer, order.reason)


def test_the_work_is_ended_with_a_reason() -> None:
    """/end with words is an order; alone it is only words that mean nothing."""
    assert "no meter left" == _ordered("/end no meter left", EndWork).reason
    assert isinstance(parse("/end", WHO, "people"), Words)


def test_notes_and_quit() -> None:
    """/note keeps words, /quit stops the program."""
    assert "owner arrived" == _ordered("/note owner arrived", Note).text
    assert isinstance(parse("/quit", WHO, "people"), Stop)
