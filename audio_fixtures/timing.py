"""A crew that answers the program: when each line of a drill is said, and whether it has to be said again.

The drill is run with the real recogniser on the sound as it is being made. A line waits until the program has been
silent for a moment; a line that the program does not take is said again, as a person would, each time a little slower,
at most three times, then by the others of the crew in turn. What the crew answers by itself (a full drum, a roll call)
is said before the script goes on.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from assistant.app import Wishes, recorded_station
from assistant.clock import ManualClock
from assistant.drill.director import Director
from assistant.drill.preparing import begin, prepare
from assistant.drill.recordings import mixed
from assistant.drill.scenarios import Loaded, load_scenario
from assistant.hearing.blocks import BLOCK_S, Block, Samples
from assistant.inputs import Order, Words
from assistant.journal import Record
from assistant.library import load_book
from assistant.session import Session
from audio_fixtures.scripts import Crew, Line, Script, Until
from audio_fixtures.sounds import RATE
from protocol import commands as cmd
from protocol.events import Event
from protocol.phrases import interpret
from protocol.timers import next_deadline_ms

BLOCK: Final = round(BLOCK_S * RATE)
REACTION_S: Final = 1.2
"""From the end of a prompt to the next spoken line: common practice, no source."""
QUICK_S: Final = 0.75
"""The same where a crew has the drill by heart: longer than the guard against the program's own voice."""
PATIENCE_S: Final = 3.0
"""How long a speaker waits for an answer before saying it again."""
SPEEDS: Final = (1.0, 0.9, 0.8)
"""Each try is said a little slower."""
CLEAR_S: Final = 3.0
"""A clock that runs out so soon after is let speak first, unless a read-back waits."""
LONGEST_WAIT_S: Final = 180.0
"""What the script waits for has to happen in this time."""


@dataclass(frozen=True, slots=True)
class Timed:
    """A line and its moment in the recording; the same `phrase` number again means: said again."""

    phrase: int
    by: str
    text: str
    start_s: float
    end_s: float


class _Recorder:
    """Keeps no record: the drill is only made."""

    def __init__(self) -> None:
        self.n = 0

    def append(self, command: cmd.Command, events: Sequence[Event]) -> Record:
        """Number it and forget it."""
        self.n += 1
        return Record(self.n, command.at_ms, command, tuple(events))


class Take:
    """One recording in the making."""

    def __init__(self, noise: Samples, model: Path | None, script: Script) -> None:
        """Begin.

        Args:
            noise: int16 sound of the machines; a short one is repeated.
            model: speech model; the shipped one when None.
            script: what the crew says, and the scenario that it says it in.
        """
        self._noise = noise
        self._made: list[Samples] = []
        self._spoken: list[Samples] = []
        self._clock = ManualClock()
        loaded = load_scenario(script.scenario) if script.scenario else None
        self._pause_s = QUICK_S if loaded else REACTION_S
        book = loaded.book if loaded else load_book()
        self._built = recorded_station(book, Wishes(model=model), self._clock)
        self._session = Session(book, _Recorder())
        self.crew = Crew(script)
        self._director: Director | None = None
        self._begin(loaded)

    def _begin(self, loaded: Loaded | None) -> None:
        if loaded is None:
            self._session.react_with(self._built.station.react)
            self._session.react_with(self.crew.react)
            self._session.submit(cmd.OpenIncident(0, cmd.PROGRAM, "rehearsal", self._session.book.digest))
            return
        self._director = Director(loaded.scenario, loaded.book)
        prepare(self._session, loaded)
        for reaction in (self._built.station.react, self._director.react, self.crew.react):
            self._session.react_with(reaction)
        begin(self._session, loaded, 0)

    @property
    def closed(self) -> bool:
        """Whether the drill is over."""
        return self._session.state.closed

    @property
    def reads_back(self) -> bool:
        """Whether something waits for "affirmative"."""
        return self._session.state.pending is not None

    @property
    def now_s(self) -> float:
        """How much has been made."""
        return len(self._made) * BLOCK_S

    @property
    def sound(self) -> Samples:
        """All that has been made, machines and speech."""
        return np.concatenate(self._made)

    @property
    def speech(self) -> Samples:
        """The speech alone, to be laid over the same noise again."""
        return np.concatenate(self._spoken)

    def takes(self, words: str) -> bool:
        """Whether words mean something now: a drum is not called in the middle of an emergency."""
        session = self._session
        return interpret(session.book, session.state, words, self._clock.now_ms(), cmd.PROGRAM) is not None

    def say(self, speech: Samples, words: str) -> bool:
        """Say words once; whether the program took them."""
        taken = False
        for start in range(0, len(speech), BLOCK):
            taken = self._hear(speech[start : start + BLOCK], words) or taken
        waited = 0
        while not taken and waited * BLOCK_S < PATIENCE_S:
            taken = self._hear(np.zeros(0, np.int16), words)
            waited += 1
        return taken

    def wait(self) -> None:
        """Let machines run until the program has been silent for a moment."""
        quiet = 0
        while quiet * BLOCK_S < self._pause_s or not self._is_clear():
            self._hear(np.zeros(0, np.int16), "")
            quiet = quiet + 1 if self._built.station.silent else 0

    def linger(self, seconds: float) -> None:
        """Let machines run."""
        for _ in range(round(seconds / BLOCK_S)):
            self._hear(np.zeros(0, np.int16), "")

    def close(self) -> None:
        """Let go of the voice."""
        self._built.close()

    def _hear(self, speech: Samples, words: str) -> bool:
        place = len(self._made) * BLOCK
        spoken = np.zeros(BLOCK, np.int16)
        spoken[: len(speech)] = speech
        self._spoken.append(spoken)
        self._made.append(mixed(spoken, self._noise, place))
        block = Block(self._made[-1], place / RATE)
        self._clock.move_to(round(block.end_s * 1000))
        now_ms = self._clock.now_ms()
        self._session.tick(now_ms)
        for order in self._director.poll(now_ms) if self._director else ():
            if isinstance(order, Order):
                self._session.submit(replace(order.command, at_ms=now_ms))
        taken = False
        for found in [*self._built.station.hear(block), *self._built.station.poll(now_ms)]:
            if isinstance(found, Words):
                self._session.say(found.text, now_ms, found.origin)
                taken = taken or found.text == words
        return taken

    def _is_clear(self) -> bool:
        deadline = next_deadline_ms(self._session.state)
        if deadline is None or self._session.state.pending:
            return True
        return deadline - self._clock.now_ms() > CLEAR_S * 1000


Render = Callable[[Line, float], Samples]


class Performance:
    """Says every line of a script, and what the crew answers in between."""

    def __init__(self, take: Take, render: Render) -> None:
        self._take = take
        self._render = render
        self._timed: list[Timed] = []
        self._phrase = 0
        self._crew: tuple[str, ...] = ()

    def of(self, script: Script) -> list[Timed]:
        """Every line, again and slower when it is not taken, at last by others of the crew.

        Raises:
            ValueError: if a line is not taken by any, or what is waited for does not happen.
        """
        self._crew = tuple(script.voices)
        for line in script.lines:
            if isinstance(line, Until):
                self._wait_for(line.what)
            else:
                self._take.wait()
                self._answer()
                self._say(line)
        return self._timed

    def _wait_for(self, what: str) -> None:
        until_s = self._take.now_s + LONGEST_WAIT_S
        while not self._take.crew.saw(what):
            if self._take.now_s > until_s or self._take.closed:
                raise ValueError(f"'{what}' did not happen by {self._take.now_s:.0f} s")
            self._take.linger(0.3)
            self._answer()

    def _answer(self) -> None:
        while not self._take.reads_back and not self._take.closed:
            waiting = self._take.crew.waiting
            lines = next((lines for lines in waiting if self._take.takes(lines[0].text)), None)
            if lines is None:
                return
            waiting.remove(lines)
            for line in lines:
                self._say(line)
            self._take.wait()

    def _say(self, line: Line) -> None:
        crew = (line.by, *(other for other in self._crew if other != line.by))
        tries = _tries(self._take, self._phrase, line.text, crew, self._render)
        self._timed.extend(tries)
        print(f"{self._phrase:3d} {self._take.now_s:7.1f} s  {len(tries)}x {tries[-1].by:9s} {line.text}", flush=True)
        self._phrase += 1


def _tries(take: Take, number: int, text: str, crew: Sequence[str], render: Render) -> list[Timed]:
    tries: list[Timed] = []
    for by in crew:
        for speed in SPEEDS:
            speech = render(Line(by, text), speed)
            take.wait()
            start = take.now_s
            taken = take.say(speech, text)
            tries.append(Timed(number, by, text, round(start, 2), round(start + len(speech) / RATE, 2)))
            if taken:
                return tries
    raise ValueError(f"'{text}' by {crew[0]} was not understood at {take.now_s:.0f} s")
