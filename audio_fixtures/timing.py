"""When each line of a drill is said: after the program has finished speaking, as a crew would."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from assistant.library import load_book
from protocol import commands as cmd
from protocol.events import Said, Urgency
from protocol.history import fold
from protocol.phrases import interpret
from protocol.rules import decide
from protocol.state import State
from protocol.timers import next_deadline_ms

START_S: Final = 1.0
REACTION_S: Final = 1.2
"""From the end of a prompt to the next spoken line: common practice, no source."""
RECOGNISED_S: Final = 0.5
"""From the end of a line to the program's answer."""
SECONDS_PER_CHARACTER: Final = 0.075
"""Spoken length allowed for the program's own sentences, on the slow side."""
BETWEEN_S: Final = 0.4


@dataclass(frozen=True, slots=True)
class Line:
    """What one of the crew says."""

    by: str
    text: str


@dataclass(frozen=True, slots=True)
class Timed:
    """A line and its moment in the recording."""

    by: str
    text: str
    start_s: float
    end_s: float


class _Run:
    """The drill with typed words and a voice that only takes time."""

    def __init__(self) -> None:
        self.book = load_book()
        self.state = State()
        self.busy_until_s = START_S

    def take(self, command: cmd.Command) -> None:
        events = decide(self.book, self.state, command)
        self.state = fold(events, self.state)
        for event in events:
            if isinstance(event, Said):
                start = max(self.busy_until_s, event.at_ms / 1000)
                if event.urgency is Urgency.ALARM:
                    start = event.at_ms / 1000
                self.busy_until_s = start + len(event.text) * SECONDS_PER_CHARACTER + BETWEEN_S

    def wait(self) -> float:
        """Let clocks run out while the program speaks; gives the moment it has been silent long enough."""
        while True:
            deadline = next_deadline_ms(self.state)
            ready = self.busy_until_s + REACTION_S
            if deadline is None or deadline / 1000 > ready + 3:
                return ready
            self.take(cmd.Tick(max(deadline, self.state.at_ms)))


def time_lines(lines: Sequence[tuple[Line, float]]) -> list[Timed]:
    """Find the moment of each line.

    Args:
        lines: each with its length in seconds.

    Raises:
        ValueError: if a line means nothing when it is said.
    """
    run = _Run()
    crew = cmd.Origin("crew", cmd.Role.BOTH, "voice")
    run.take(cmd.OpenIncident(0, crew, "drill", run.book.digest))
    timed = []
    for line, length in lines:
        start = run.wait()
        end = start + length
        at_ms = round((end + RECOGNISED_S) * 1000)
        run.take(cmd.Tick(at_ms))
        command = interpret(run.book, run.state, line.text, at_ms, crew)
        if command is None:
            raise ValueError(f"'{line.text}' means nothing at {run.state.step}")
        run.take(command)
        timed.append(Timed(line.by, line.text, round(start, 3), round(end, 3)))
    return timed
