"""Two kinds of replay: rebuild (apply the recorded events) and verify (decide the recorded commands again)."""

from dataclasses import dataclass

from pydantic import ValidationError

from assistant.errors import JournalError
from assistant.journal import History
from assistant.library import Source, make_book
from protocol.errors import ProtocolError
from protocol.history import fold
from protocol.house import House
from protocol.rules import decide
from protocol.scene import Book
from protocol.state import State


@dataclass(frozen=True, slots=True)
class Difference:
    """The first record that today's rules would have decided otherwise."""

    n: int
    recorded: str
    decided: str


def book_of(history: History) -> Book:
    """The procedure and house rules that the record itself holds.

    Raises:
        ProcedureError: if today's program cannot use them.
        JournalError: if the house rules are none.
    """
    header = history.header
    try:
        house = House.model_validate(header.house)
    except ValidationError as error:
        raise JournalError(f"The record's house rules cannot be used: {error.errors()[0]['msg']}.") from error
    return make_book(Source(header.procedure, header.texts, house, header.words))


def rebuild(history: History) -> State:
    """The state after the last record, from the events alone.

    Raises:
        JournalError: if the events do not follow one another.
    """
    try:
        return fold(history.events)
    except ProtocolError as error:
        raise JournalError(f"The record contradicts itself: {error}") from error


def verify(history: History) -> Difference | None:
    """Decide every command again from the start and compare the events; None when all are the same.

    Raises:
        JournalError: if the events do not follow one another.
    """
    book = book_of(history)
    state = State()
    for record in history.records:
        decided = decide(book, state, record.command)
        if decided != record.events:
            return Difference(record.n, _first_odd(record.events, decided), _first_odd(decided, record.events))
        try:
            state = fold(record.events, state)
        except ProtocolError as error:
            raise JournalError(f"Record {record.n} contradicts the one before it: {error}") from error
    return None


def _first_odd(events: tuple[object, ...], others: tuple[object, ...]) -> str:
    for index, event in enumerate(events):
        if index >= len(others) or others[index] != event:
            return repr(event)
    return "nothing more"
