"""When each line of a drill is said: after the program has finished speaking, as a crew would."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from assistant.clock import ManualClock
from assistant.journal import Record
from assistant.library import load_book
from assistant.session import Session
from assistant.speaking.clips import ClipCache
from assistant.speaking.player import TimelinePlayer
from assistant.station import Place, Station
from protocol import commands as cmd
from protocol.events import Event
from protocol.scene import Scene
from protocol.timers import next_deadline_ms

STEP_MS: Final = 20
REACTION_S: Final = 1.2
"""From the end of a prompt to the next spoken line: common practice, no source."""
RECOGNISED_S: Final = 0.5
"""From the end of a line to the program's answer."""
CLEAR_S: Final = 3.0
"""A clock that runs out so soon after is let speak first, unless a read-back waits."""


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


class _Recorder:
    """Keeps no record: the drill is only timed."""

    def append(self, command: cmd.Command, events: Sequence[Event]) -> Record:
        """Number it and forget it."""
        return Record(1, command.at_ms, command, tuple(events))


class _Run:
    """The drill with typed words and the real voice on a clock of its own."""

    def __init__(self) -> None:
        self.clock = ManualClock()
        self.book = load_book()
        self.clips = ClipCache()
        self._player = TimelinePlayer("crew", self.clock, self.clips)
        place = Place("crew", cmd.Role.BOTH)
        self._station = Station(place, self._player, None, lambda state, at_ms: Scene(self.book, state, at_ms))
        self.session = Session(self.book, _Recorder())
        self.session.react_with(self._station.react)

    def move_to(self, at_ms: int) -> None:
        """Let clocks run out and sentences end on the way."""
        while self.clock.now_ms() < at_ms:
            self.clock.move_to(min(at_ms, self.clock.now_ms() + STEP_MS))
            self.session.tick(self.clock.now_ms())
            self._station.poll(self.clock.now_ms())

    def wait(self) -> float:
        """The moment at which the program has been silent long enough."""
        quiet_since = self.clock.now_ms()
        while True:
            self.move_to(self.clock.now_ms() + STEP_MS)
            if not self._station.silent:
                quiet_since = self.clock.now_ms()
            elif self.clock.now_ms() - quiet_since >= REACTION_S * 1000 and self._is_clear():
                return self.clock.now_ms() / 1000

    def _is_clear(self) -> bool:
        deadline = next_deadline_ms(self.session.state)
        if deadline is None or self.session.state.pending:
            return True
        return deadline - self.clock.now_ms() > CLEAR_S * 1000


def time_lines(lines: Sequence[tuple[Line, float]]) -> list[Timed]:
    """Find the moment of each line.

    Args:
        lines: each with its length in seconds.

    Raises:
        ValueError: if a line means nothing when it is said.
    """
    run = _Run()
    crew = cmd.Origin("crew", cmd.Role.BOTH, "voice")
    run.session.submit(cmd.OpenIncident(0, crew, "drill", run.book.digest))
    timed = []
    for line, length in lines:
        start = run.wait()
        end = start + length
        run.move_to(round((end + RECOGNISED_S) * 1000))
        if run.session.say(line.text, run.clock.now_ms(), crew) is None:
            raise ValueError(f"'{line.text}' means nothing at {run.session.state.step}")
        timed.append(Timed(line.by, line.text, round(start, 3), round(end, 3)))
    run.clips.close()
    return timed
