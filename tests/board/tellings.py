"""Views of a told incident: a story with the records that a board would have heard of."""

from assistant.board.past import Past
from assistant.board.view import Board, View, view
from assistant.journal import Record
from protocol.commands import Command
from protocol.events import Event
from tests.books import shipped_book
from tests.story import Story


class Told(Story):
    """A story that also keeps its past as the board does."""

    def __init__(self) -> None:
        self.past = Past()
        super().__init__(shipped_book())

    def do(self, command: Command) -> tuple[Event, ...]:
        """Decide, and keep the record."""
        events = super().do(command)
        if events:
            record = Record(self.past.n + 1, command.at_ms, command, events)
            self.past = self.past.after(record, self.book)
        return events

    @property
    def view(self) -> View:
        """What the board shows now."""
        return view(self.scene(), self.past)

    @property
    def shown(self) -> Board:
        """The same, once the incident is open."""
        board = self.view.board
        assert board is not None
        return board


def told_to(lines: tuple[str, ...], step: str) -> Told:
    """A story told until a step stands."""
    story = Told()
    for words in lines:
        if story.step == step:
            return story
        story.say(words)
    assert step == story.step
    return story
