"""A long run with real sound: `python -m tests.faults --soak 60`. Who speaks, what is watched, and what came of it.

The program listens and speaks through a private sound server; a crew leads a drill by voice, stays in the vacuum stage
round after round until the time is nearly up, and ends the drill; a fan runs all the while, and now and then somebody
says something that is no command. A viewer watches the board.
"""

import itertools
import os
import re
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np

from assistant.errors import JournalError
from assistant.journal import History, read
from assistant.replay import rebuild, verify
from protocol.events import RepeatConfirmed, StepConfirmed, TimerExpired
from protocol.history import fold
from protocol.state import State
from tests.faults.crew import Crew, Fan, boot_s, records_of, unsaid
from tests.faults.drive import VICTIM, Drive, nap
from tests.faults.network import ADDRESS, Viewer
from tests.pulse import missing_programs, private_pulse

SAMPLE_S = 10.0
OPTIONS = ("--input", "boom", "--output", "ear", "--port", "0")
STAYS_AFTER = "canister is full"
ROUND: tuple[str, ...] = (
    "oxygen two zero decimal niner", "affirmative", "flammable gas zero", "affirmative", "carbon monoxide two", "affirmative",
    "hydrogen sulfide zero", "affirmative", "person is answering", "canister is full", "all accounted for", "time check",
    "person is answering", "grain remaining", "air status", "crew status", "canister is full",
)  # fmt: skip
END_S = 480.0
"""Kept for the rest of the drill."""
PAUSE_S = 6.0
TRIES = 3
HEARD_S = 5.0
MOST_GROWTH_MB = 20.0
BACKLOG = re.compile(r"^backlog (\d+\.\d+) s")


@dataclass(frozen=True, slots=True)
class Sample:
    """The program at a moment: its own process and its speech engine's."""

    at_s: float
    rss_mb: float
    engine_mb: float
    cpu_s: float
    threads: int
    handles: int
    load: float
    wall_s: float
    """The wall clock less the clock that the incident's is made from: it moves when the machine's time is set."""


@dataclass(slots=True)
class Soak:
    """What a long run gave."""

    samples: list[Sample] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    """Phrases said three times and not taken."""


def soak(minutes: float) -> Soak:
    """Run it; the figures are in `lines`."""
    found = Soak()
    if missing_programs():
        found.problems.append("a private sound server needs pulseaudio, pactl, paplay and parec")
        return found
    with tempfile.TemporaryDirectory() as name, private_pulse(("ear",), ("boom",)) as pulse:
        folder = Path(name)
        journal = folder / "incident.jsonl"
        with Drive(journal, OPTIONS, (*VICTIM, f"tell-backlog={SAMPLE_S:g}")) as drive:
            if not drive.ready():
                found.problems.append(f"did not start: {drive.screen[-300:]}")
                return found
            crew, fan = Crew(pulse, folder), Fan(pulse)
            viewer = _viewer(drive)
            watch = _Watch(drive.process.pid, found.samples)
            _lead(drive, crew, boot_s() + minutes * 60, found)
            nap(2.0)
            if drive.process.poll() is None:
                drive.type("/quit")
            status = drive.end()
            watch.stop()
            fan.stop()
            sound = crew.hush()
        _judge(found, read(journal), drive, crew)
        found.lines.append(f"exit status {status}; seen on the board: record {max(viewer.seen, default=0)} of {records_of(journal)}")
        loud = float(np.mean(np.abs(sound.astype(np.int32)) > 300))
        found.lines.append(f"sound recorded from the loudspeaker {sound.size / 16_000:.0f} s, loud in {100 * loud:.1f} % of its samples")
        _flat(found)
    return found


def _viewer(drive: Drive) -> Viewer:
    match = ADDRESS.search(drive.screen)
    assert match is not None, "the board did not start"
    return Viewer(match[0], urlsplit(match[0]).netloc, 0)


def _lead(drive: Drive, crew: Crew, until_s: float, found: Soak) -> None:
    """The drill, with rounds in the vacuum stage until the time is nearly up; the last round and the end may overrun."""
    order = list(crew.order)
    stay = order.index(STAYS_AFTER) + 1
    for words in order[:stay]:
        _say(drive, crew, words, found)
        if boot_s() > until_s - END_S:
            return
    talk = itertools.count()
    while boot_s() < until_s - END_S:
        for words in ROUND:
            _say(drive, crew, words, found)
            nap(PAUSE_S)
            crew.wait_for_quiet()
            crew.talk(next(talk))
            nap(PAUSE_S)
    for words in order[stay:]:
        _say(drive, crew, words, found)
    nap(max(0.0, until_s - boot_s()))


def _say(drive: Drive, crew: Crew, words: str, found: Soak) -> None:
    """Say it up to three times; then it is typed, so that the drill goes on."""
    for attempt in range(TRIES):
        crew.wait_for_quiet()
        mark = len(drive.shown)
        crew.say(words, attempt)
        if drive.wait_for(f"voice: {words}", HEARD_S, mark) is not None:
            return
        if drive.process.poll() is not None:
            break
    found.missed.append(words)
    drive.say(words)


class _Watch:
    """Takes a sample every ten seconds."""

    def __init__(self, pid: int, samples: list[Sample]) -> None:
        self._pid = pid
        self._samples = samples
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """No more."""
        self._over.set()
        self._thread.join(timeout=5)

    def _work(self) -> None:
        began = boot_s()
        for number in itertools.count(1):
            try:
                self._samples.append(sample(self._pid, boot_s() - began))
            except (OSError, IndexError, KeyError):
                return  # it has ended
            if self._over.wait(max(0.0, began + number * SAMPLE_S - boot_s())):
                return


def sample(pid: int, at_s: float) -> Sample:
    """Memory, processor time, threads and open files of a process now.

    Raises:
        OSError: if it is gone.
    """
    status = dict(line.split(":", 1) for line in Path(f"/proc/{pid}/status").read_text().splitlines())
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    cpu_s = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    handles = len(list(Path(f"/proc/{pid}/fd").iterdir()))
    engine = sum(_rss_mb(child) for child in _children(pid))
    rss = int(status["VmRSS"].split()[0]) / 1024
    return Sample(at_s, rss, engine, cpu_s, int(status["Threads"]), handles, os.getloadavg()[0], time.time() - boot_s())


def _children(pid: int) -> list[int]:
    return [int(child) for task in Path(f"/proc/{pid}/task").iterdir() for child in (task / "children").read_text().split()]


def _rss_mb(pid: int) -> float:
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20


def _judge(found: Soak, history: History, drive: Drive, crew: Crew) -> None:
    """The record against what was said, and the clocks against the machine's."""
    zero_s = int(history.header.clock["zero_ms"]) / 1000
    voiced = [record for record in history.records if record.command.origin.how == "voice" and record.command.origin.heard]
    heard = [(zero_s + record.at_ms / 1000, record.command.origin.heard) for record in voiced]
    wrong = list(unsaid(heard, crew.spoken))
    false_at = {at_s for at_s, _words in wrong}
    advances = sum(
        zero_s + record.at_ms / 1000 in false_at and any(isinstance(one, StepConfirmed | RepeatConfirmed) for one in record.events)
        for record in voiced
    )
    said = [one for one in crew.spoken if one.command]
    found.lines.append(
        f"said {len(said)} phrases and {len(crew.spoken) - len(said)} sentences of talk; taken {len(heard)}, never taken "
        f"{len(found.missed)} (typed then), taken though nobody said it then {len(wrong)} {[words for _at, words in wrong]}, false advances {advances}"
    )
    found.problems += [f"false advances: {advances}"] if advances else []
    try:
        difference, state = verify(history), rebuild(history)
    except JournalError as error:
        found.problems.append(str(error))
        return
    found.problems += [f"not verified: {difference}"] if difference else []
    found.lines.append(f"record: {len(history.records)} records, verified {difference is None}, torn {bool(history.torn)}, {state.steps_confirmed} steps, closed {state.closed}")
    late = sorted(_late_ms(history))
    if late:
        found.lines.append(f"timers: {len(late)} ran out, on record p50 {late[len(late) // 2]} ms, at most {late[-1]} ms after they were due")
    found.lines.append(_drift(history, drive, zero_s))
    gone = [line.text for line in drive.shown if "** " in line.text]
    found.lines.append(f"parts that failed or came back: {gone or 'none'}")
    found.lines.append(f"times that the loudspeaker ran out of sound (underruns): {drive.screen.count('underrun occurred')}")
    waits = [float(match[1]) for line in drive.shown if (match := BACKLOG.match(line.text))]
    if waits:
        found.lines.append(f"sound that waited to be decoded, longest of each 10 s: median {statistics.median(waits):.2f} s, longest {max(waits):.2f} s")


def _late_ms(history: History) -> Iterator[int]:
    """From when a timer was due until the record that it ran out."""
    state = State()
    for record in history.records:
        due = {(timer.timer, timer.key): timer.due_ms for timer in state.timers if timer.due_ms is not None}
        yield from (record.at_ms - due[event.timer, event.key] for event in record.events if isinstance(event, TimerExpired))
        state = fold(record.events, state)


def _drift(history: History, drive: Drive, zero_s: float) -> str:
    """The incident's clock against the wall clock when each heard line was shown: an offset that grows would be drift."""
    wall_zero_s = time.time() - boot_s() + zero_s
    to_wall_s = time.time() - time.perf_counter()
    shown = iter(drive.shown)
    lags = []
    for record in history.records:
        words = record.command.origin.heard
        line = next((one for one in shown if f" voice: {words} (" in one.text), None) if words else None
        if line is not None:
            lags.append(line.at_s + to_wall_s - wall_zero_s - record.at_ms / 1000)
    tenth = max(1, len(lags) // 10)
    first, last = statistics.median(lags[:tenth]), statistics.median(lags[-tenth:])
    return (
        f"wall clock when a line was shown, less the incident's clock on record: first tenth {first * 1000:.0f} ms, last tenth "
        f"{last * 1000:.0f} ms (drift {(last - first) * 1000:+.0f} ms), longest {max(lags) * 1000:.0f} ms"
    )


def _flat(found: Soak) -> None:
    """Memory, threads and files after the first quarter against the end."""
    samples = found.samples
    if len(samples) < 8:
        return
    early, late = samples[len(samples) // 4 : len(samples) // 2], samples[-len(samples) // 4 :]
    for name, values in _columns(samples):
        found.lines.append(f"{name}: start {values[0]:.1f}, median {statistics.median(values):.1f}, most {max(values):.1f}, end {values[-1]:.1f}")
    set_ms = (samples[-1].wall_s - samples[0].wall_s) * 1000
    found.lines.append(f"the machine's wall clock was moved against its running clock by {set_ms:+.1f} ms meanwhile")
    span_s = samples[-1].at_s - samples[0].at_s
    found.lines.append(f"processor: {(samples[-1].cpu_s - samples[0].cpu_s) / span_s:.3f} of a core over {span_s:.0f} s")
    growth = _median_rss(late) - _median_rss(early)
    found.lines.append(f"memory, last quarter against second quarter: {growth:+.1f} MB")
    found.problems += [f"memory grew by {growth:.0f} MB"] if growth > MOST_GROWTH_MB else []
    for name in ("threads", "handles"):
        grown = max(getattr(one, name) for one in late) - max(getattr(one, name) for one in early)
        found.problems += [f"{name} grew by {grown}"] if grown > 3 else []


def _columns(samples: Sequence[Sample]) -> Iterator[tuple[str, list[float]]]:
    for name in ("rss_mb", "engine_mb", "threads", "handles", "load"):
        yield name, [float(getattr(one, name)) for one in samples]


def _median_rss(samples: Sequence[Sample]) -> float:
    return statistics.median(one.rss_mb for one in samples)


def main(minutes: float) -> int:
    """Run and print; 0 when nothing was wrong."""
    found = soak(minutes)
    for one in found.samples[:: max(1, len(found.samples) // 60)]:
        print(f"{one.at_s:7.0f} s  {one.rss_mb:6.1f} MB  engine {one.engine_mb:5.1f} MB  {one.cpu_s:7.1f} s cpu  {one.threads:3d} threads"
              f"  {one.handles:3d} files  load {one.load:.1f}")  # fmt: skip
    for line in (*found.lines, *(f"PROBLEM {problem}" for problem in found.problems)):
        print(line)
    print(f"soak of {minutes:g} minutes: {'held' if not found.problems else 'FAILED'}")
    return 1 if found.problems else 0
