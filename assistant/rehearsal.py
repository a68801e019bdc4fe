"""A rehearsal from a recording: the crew's voices come from a file, everything else is as in a live run.

Time is the recording's own, so that a fast rehearsal decides exactly what a slow one would.
"""

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from assistant.clock import Clock, ManualClock, stopwatch_s
from assistant.errors import UsageError
from assistant.hearing.blocks import Block
from assistant.incident import Incident
from assistant.inputs import Input, Order, Words
from assistant.live import Post
from protocol.events import Event, RepeatConfirmed, StepConfirmed

EARLY_S = 0.3
"""A phrase may be accepted so long before the script says it ends."""
LATE_S = 2.5
"""A phrase counts as understood so long after it ended."""


class Ear(Post, Protocol):
    """A station that takes blocks of sound."""

    def hear(self, block: Block) -> Sequence[Input]:
        """What a block said."""
        ...

    def finish(self) -> Sequence[Input]:
        """What was still being said when the sound ended."""
        ...


@dataclass(frozen=True, slots=True)
class ScriptLine:
    """What is said in the recording, and when."""

    text: str
    start_s: float
    end_s: float
    by: str = ""
    phrase: int = -1
    """Lines with the same number are one phrase, said again because it was not taken."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a rehearsal went; the fields and their names are a contract."""

    completed: bool
    steps_confirmed: int
    steps_total: int
    false_advances: int | None
    """Steps advanced that the script did not say; None without a script."""
    missed: int | None
    """Script phrases not understood; None without a script."""
    audio_s: float
    wall_s: float
    journal: str

    def as_json(self) -> str:
        """One line."""
        return json.dumps(asdict(self))


class Score:
    """Which lines of the script were understood, and which words were never said."""

    def __init__(self, script: Sequence[ScriptLine] | None) -> None:
        self._waiting = None if script is None else list(script)
        self._understood: set[int] = set()
        self._false_advances = 0

    def take(self, words: str, at_s: float, events: Iterable[Event]) -> None:
        """Note accepted words and what they caused."""
        if self._waiting is None:
            return
        for line in self._waiting:
            if line.text == words and line.end_s - EARLY_S - len(words) * 0.02 <= at_s <= line.end_s + LATE_S:
                self._waiting.remove(line)
                self._understood.add(line.phrase)
                return
        if any(isinstance(event, StepConfirmed | RepeatConfirmed) for event in events):
            self._false_advances += 1

    @property
    def false_advances(self) -> int | None:
        """Steps advanced by words that were not said then."""
        return None if self._waiting is None else self._false_advances

    @property
    def missed(self) -> tuple[ScriptLine, ...]:
        """Phrases not understood so far, however often they were said; the last try of each."""
        left = {line.phrase: line for line in self._waiting or () if line.phrase not in self._understood}
        return tuple(left.values())

    @property
    def missed_count(self) -> int | None:
        """How many, or None without a script."""
        return None if self._waiting is None else len(self.missed)


def read_script(path: Path) -> list[ScriptLine]:
    """Read what is said when.

    Raises:
        UsageError: if the file is not such a script.
    """
    try:
        content: Any = json.loads(path.read_text(encoding="utf-8"))
        return [
            ScriptLine(
                str(row["text"]), float(row["start_s"]), float(row["end_s"]), str(row.get("by", "")),
                int(row.get("phrase", number)),
            )
            for number, row in enumerate(content["lines"])
        ]  # fmt: skip
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror}).") from error
    except (ValueError, KeyError, TypeError) as error:
        raise UsageError(f"{path}: is not a rehearsal script: it needs lines with text, start_s and end_s.") from error


def play(
    incident: Incident,
    ear: Ear,
    blocks: Iterable[Block],
    score: Score,
    show: Callable[[float], None],
    posts: Sequence[Post] = (),
) -> float:
    """Let the station hear the recording to its end; gives the seconds played.

    Args:
        incident: what is led.
        ear: the station.
        blocks: the recording.
        score: is told which words were understood.
        show: is told the seconds played.
        posts: others whose orders are taken before the station is heard, such as a drill's director.

    Raises:
        JournalError: if a record cannot be written.
        AudioError: if the recording breaks off.
    """
    session, clock = incident.session, incident.clock
    played_s = 0.0
    for block in blocks:
        played_s = block.start_s + block.duration_s
        _wait_until(clock, round(played_s * 1000))
        now_ms = clock.now_ms()
        session.tick(now_ms)
        for post in posts:
            _take_all(incident, post.poll(now_ms), score, played_s)
        _take_all(incident, [*ear.hear(block), *ear.poll(now_ms)], score, played_s)
        show(played_s)
    _take_all(incident, ear.finish(), score, played_s)
    return played_s


def steps_total(incident: Incident) -> int:
    """Confirmations on the straight way through the main procedure, repeats counted."""
    procedure, house = incident.session.book.procedure, incident.session.book.house
    steps = [step for step in procedure.steps[: procedure.main] if not step.final]
    return sum(house.panels if step.repeat == "panels" else 1 for step in steps)


def timed(work: Callable[[], float]) -> tuple[float, float]:
    """What `work` gives, and the wall seconds it took."""
    start = stopwatch_s()
    result = work()
    return result, stopwatch_s() - start


def _take_all(incident: Incident, found: Sequence[Input], score: Score, at_s: float) -> None:
    for item in found:
        if isinstance(item, Words):
            events = incident.session.say(item.text, incident.clock.now_ms(), item.origin) or ()
            score.take(item.text, at_s, events)
        elif isinstance(item, Order):
            incident.session.submit(replace(item.command, at_ms=incident.clock.now_ms()))


def _wait_until(clock: Clock, at_ms: int) -> None:
    if isinstance(clock, ManualClock):
        clock.move_to(max(at_ms, clock.now_ms()))
    else:
        clock.wait_ms(at_ms - clock.now_ms())
