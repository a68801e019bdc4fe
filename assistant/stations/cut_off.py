"""A station on its own: clocks and questions go on from the last state; nothing in it counts as decided."""

from collections.abc import Iterable
from dataclasses import replace

from protocol import commands as cmd
from protocol.events import Event, Said, Urgency
from protocol.history import fold
from protocol.rules import decide
from protocol.scene import Book
from protocol.state import State
from protocol.timers import next_deadline_ms

CUT_OFF = (
    "This headset is cut off. Clocks go on from the last state. What you confirm is kept and sent later. Use the radio."
)
STILL_CUT_OFF = "Still cut off. Use the radio."
NOT_HEARD = "Nobody else hears this. Use the radio."
LAST_KNOWN = "As last known: "


class Shadow:
    """The last known state, with time going on in it."""

    def __init__(self, book: Book, state: State) -> None:
        self._book = book
        self.state = state

    def pass_time(self, at_ms: int) -> list[Said]:
        """What the clocks that ran out have to say."""
        deadline = next_deadline_ms(self.state)
        if deadline is None or deadline > at_ms or not self.state.opened:
            return []
        return self._said(cmd.Tick(max(at_ms, self.state.at_ms)), apply=True)

    def answer(self, command: cmd.Ask) -> list[Said]:
        """The answer to a question, from the last state and said to be so; a radio check is not "loud and clear"."""
        said = self._said(command, apply=True)
        if command.query is cmd.Query.RADIO_CHECK:
            return [replace(one, text=NOT_HEARD) for one in said]
        return [replace(one, text=f"{LAST_KNOWN}{one.text}") for one in said]

    def alarms(self, command: cmd.Command) -> list[Said]:
        """What a command would make everybody hear at once: an emergency, bad air, hold. Nothing moves by it."""
        return [said for said in self._said(command, apply=False) if said.urgency is Urgency.ALARM]

    def _said(self, command: cmd.Command, *, apply: bool) -> list[Said]:
        events = decide(self._book, self.state, command)
        if apply:
            self.state = fold(events, self.state)
        return _only_said(events)


def _only_said(events: Iterable[Event]) -> list[Said]:
    return [event for event in events if isinstance(event, Said)]
