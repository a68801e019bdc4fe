"""A live run of the program in a process of its own, typed into line by line, its screen read with the time of each line."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from assistant.errors import JournalError
from assistant.journal import History, read
from assistant.replay import rebuild
from protocol.commands import Tick
from tests.drills import VISIBLE

PROGRAM = (sys.executable, "-m", "assistant")
VICTIM = (sys.executable, "-m", "tests.faults.victim")
TYPED = ("--keyboard", "--mute", "--no-board")
ANSWER_S = 20.0
START_S = 60.0
ROOT = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True)
class Shown:
    """A line on the screen."""

    at_s: float
    text: str


class Drive:
    """One life of the program. Lines are typed in lockstep: the next waits until the last is on the screen."""

    def __init__(
        self,
        journal: Path,
        options: Sequence[str] = TYPED,
        program: Sequence[str] = PROGRAM,
        environment: Mapping[str, str] | None = None,
    ) -> None:
        self.journal = journal
        fresh = not journal.exists()
        ask = ["run", "--drill", "--journal", str(journal)] if fresh else ["resume", str(journal)]
        self.process = subprocess.Popen(
            [*program, *ask, *options],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            bufsize=0,
            cwd=ROOT,
            env={**os.environ, **(environment or {})},
        )
        self.shown: list[Shown] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def __enter__(self) -> Self:
        """The running program."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Kill what is left of it."""
        self.kill()

    def kill(self) -> None:
        """Kill -9, and read what it had still shown."""
        self.process.kill()
        self.end()

    def end(self) -> int:
        """Wait for its end; gives the exit status."""
        status = self.process.wait()
        self._reader.join(timeout=5)
        for stream in (self.process.stdin, self.process.stdout):
            if stream is not None:
                _close(stream.close)
        return status

    def pause(self, seconds: float) -> None:
        """Suspend it for a while."""
        self.process.send_signal(signal.SIGSTOP)
        nap(seconds)
        self.process.send_signal(signal.SIGCONT)

    def type(self, words: str) -> bool:
        """Type a line; False when the program is gone."""
        try:
            assert self.process.stdin is not None
            self.process.stdin.write(f"{words}\n".encode())
        except (BrokenPipeError, ValueError):
            return False
        return True

    def say(self, words: str, limit_s: float = ANSWER_S) -> float | None:
        """Type a line and wait until it is shown, which is after it is on record; gives the seconds it took."""
        mark = len(self.shown)
        if not self.type(words):
            return None
        return self.wait_for(f"keyboard: {words}", limit_s, mark)

    def wait_for(self, text: str, limit_s: float = ANSWER_S, mark: int = 0, since_s: float | None = None) -> float | None:
        """Seconds until a line with this text was shown, counting lines from `mark` on; None if it never was.

        They count from now, or from the moment `since_s`.
        """
        began = now_s()
        while True:
            found = next((line for line in self.shown[mark:] if text in line.text), None)
            if found is not None:
                return max(0.0, found.at_s - (began if since_s is None else since_s))
            if now_s() - began > limit_s or (self.process.poll() is not None and not self._reader.is_alive()):
                return None
            nap(0.002)

    def ready(self) -> bool:
        """Wait until it listens."""
        return self.wait_for("Record: ", START_S) is not None

    @property
    def screen(self) -> str:
        """Everything shown."""
        return "\n".join(line.text for line in self.shown)

    def _read(self) -> None:
        assert self.process.stdout is not None
        pending = b""
        try:
            while piece := self.process.stdout.read(65_536):
                *lines, pending = (pending + piece).split(b"\n")
                self.shown += [Shown(now_s(), line.decode(errors="replace")) for line in lines]
        except (OSError, ValueError):
            return


def drill(until: int | None = None) -> tuple[str, ...]:
    """The lines of a whole drill, or its first ones."""
    return VISIBLE if until is None else VISIBLE[:until]


def heard(history: History) -> list[str]:
    """What the crew said, as recorded, in order."""
    return [record.command.origin.heard for record in history.records if record.command.origin.heard]


@dataclass(frozen=True, slots=True)
class Check:
    """The record of a drive against what was said."""

    lost: int
    doubled: int
    problems: tuple[str, ...]


def check(journal: Path, said: Sequence[str], *, closed: bool = False) -> Check:
    """Every line said is recorded once and in order, every sentence recorded can be rebuilt, and nothing else is there."""
    try:
        history = read(journal)
        state = rebuild(history)
    except JournalError as error:
        return Check(len(said), 0, (str(error),))
    recorded = heard(history)
    lost = max(0, len(said) - len(recorded))
    doubled = max(0, len(recorded) - len(said))
    problems = [] if recorded == list(said) or lost or doubled else ["the record holds other words than were said"]
    if closed and not state.closed:
        problems.append("the incident did not come to its end")
    late = [record.at_ms for record in history.records if isinstance(record.command, Tick)]
    if late != sorted(late):
        problems.append("time went back")
    return Check(lost, doubled, tuple(problems))


def say_all(drive: Drive, lines: Sequence[str]) -> tuple[list[float], list[str]]:
    """Say lines one after another; gives the seconds each took, and those that were never taken."""
    took, missed = [], []
    for words in lines:
        seconds = drive.say(words)
        (missed.append(words) if seconds is None else took.append(seconds))
    return took, missed


def now_s() -> float:
    """A running count of seconds."""
    return time.perf_counter()


def nap(seconds: float) -> None:
    """The world's time is the subject here."""
    time.sleep(seconds)  # noqa: TID251


def _close(close: Callable[[], None]) -> None:
    try:
        close()
    except OSError:
        return  # the other end is gone, which is what was wanted
