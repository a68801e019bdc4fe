"""Timing under load, measured in recorded sound: timers when they are due, alarms that cut into a prompt.

Meanwhile a fan and people talking keep the recogniser busy, the speech engine makes one sentence after the other, viewers
ask for the board again and again, and a program on every core does nothing but run.
"""

import http.client
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from assistant.journal import History, read
from assistant.speaking.clips import ClipCache
from assistant.speaking.levels import Samples
from protocol.events import Said, TimerExpired, TimerStarted, Urgency
from tests.drills import VISIBLE
from tests.faults.crew import FIXTURES, Fan, boot_s
from tests.faults.drive import VICTIM, Drive, check, nap
from tests.faults.loudspeaker import Recorded, TimedRecording
from tests.faults.network import ADDRESS, Viewer
from tests.faults.sound import UNTRIED
from tests.faults.table import Row
from tests.pulse import RATE_HZ, PulseServer, missing_programs, private_pulse

TIMER_LIMIT_MS = 200.0
ALARM_LIMIT_MS = 100.0
HOUSE = """
[department]
name = "Load test"
[house]
elapsed_call_min = 0.23
person_check_min = 0.4
roll_call_min = 0.6
work_period_min = 0.7
quiet_min = 60
air_max_age_min = 100
"""
ENTERS = VISIBLE[: VISIBLE.index("team is in the bin") + 1]
EMERGENCIES = ("lifeline has gone slack", "grain is falling in", "person is slipping")
VIEWERS = 20
PAGE_EVERY_S = 0.02
"""On top of the viewers the page is loaded up to fifty times a second."""
NEEDLE_S = 0.6
QUIET_BEFORE_S = 0.35
QUIET_LEVEL = 300
SEARCH_S = 4.0
WARM_UP_S = 6.0
SILENCE_S = 0.8


@dataclass(frozen=True, slots=True)
class Load:
    """How busy the machine is made."""

    starvers: int = os.cpu_count() or 1
    engine: bool = True
    viewers: int = VIEWERS
    talk: bool = True


QUIET = Load(0, engine=False, viewers=0, talk=False)
FULL = Load()


def timers(seconds: float, load: Load = FULL) -> Row:
    """From the moment when a timer was due until its sentence begins at the loudspeaker."""
    name = f"timers spoken, {_words(load)}"
    if missing_programs():
        return Row(name, "", not_tried=UNTRIED)
    with _run(load) as run:
        for words in ENTERS:
            run.drive.say(words)
        nap(seconds)
        run.drive.type("/quit")
        run.drive.end()
        heard = run.recording.stop()
        history = read(run.drive.journal)
        found = list(_timer_lags(history, heard, run.clips))
        problems = list(check(run.drive.journal, ENTERS).problems)
    asked = sum(isinstance(event, TimerExpired) for event in history.events)
    return _row(name, found, asked, TIMER_LIMIT_MS, problems)


def alarms(trials: int, load: Load = FULL) -> Row:
    """From the moment when an alarm was decided, while a prompt is being said, until it begins at the loudspeaker."""
    name = f"alarms cut in, {_words(load)}"
    if missing_programs():
        return Row(name, "", not_tried=UNTRIED)
    said = []
    with _run(load) as run:
        for number in range(trials):
            _wait(run.recording, loud=True)
            nap(0.3 + 0.1 * (number % 5))
            said += [EMERGENCIES[number % len(EMERGENCIES)], "disregard emergency"]
            run.drive.say(said[-2])
            _wait(run.recording, loud=False)
            run.drive.say(said[-1])
        run.drive.type("/quit")
        run.drive.end()
        heard = run.recording.stop()
        found = list(_alarm_lags(read(run.drive.journal), heard, run.clips))
        problems = list(check(run.drive.journal, said).problems)
    return _row(name, found, trials, ALARM_LIMIT_MS, problems)


@dataclass(frozen=True, slots=True)
class _Run:
    drive: Drive
    recording: TimedRecording
    clips: Path


@contextmanager
def _run(load: Load) -> Iterator[_Run]:
    with tempfile.TemporaryDirectory() as name, private_pulse(("ear",), ("boom",)) as pulse:
        folder = Path(name)
        site = folder / "site.toml"
        site.write_text(HOUSE)
        options = ("--input", "boom", "--output", "ear", "--port", "0", "--site", str(site))
        program = (*VICTIM, *(["busy-engine=1"] if load.engine else []))
        with Drive(folder / "incident.jsonl", options, program, {"XDG_CACHE_HOME": str(folder)}) as drive:
            assert drive.ready(), drive.screen[-300:]
            with _busy(load, pulse, drive):
                nap(WARM_UP_S)
                yield _Run(drive, TimedRecording(pulse, "ear"), folder / "bin-rescue-assistant" / "clips")


@contextmanager
def _busy(load: Load, pulse: PulseServer, drive: Drive) -> Iterator[None]:
    over = threading.Event()
    starvers = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(load.starvers)]
    fan = Fan(pulse) if load.talk else None
    workers = [threading.Thread(target=_talk, args=(pulse, over), daemon=True)] if load.talk else []
    match = ADDRESS.search(drive.screen)
    assert match is not None
    viewers = [Viewer(match[0], urlsplit(match[0]).netloc, 0) for _ in range(load.viewers)]
    workers += [threading.Thread(target=_ask, args=(match[0], over), daemon=True)] if viewers else []
    for worker in workers:
        worker.start()
    try:
        yield
    finally:
        over.set()
        for starver in starvers:
            starver.kill()
            starver.wait()
        if fan is not None:
            fan.stop()
        for worker in workers:
            worker.join(timeout=10)


def _talk(pulse: PulseServer, over: threading.Event) -> None:
    clips = sorted((FIXTURES / "oov").glob("*.flac"))
    while not over.is_set():
        for clip in clips:
            if not over.is_set():
                pulse.play("boom", clip).wait()


def _ask(address: str, over: threading.Event) -> None:
    """Load the page again and again."""
    parts = urlsplit(address)
    while not over.is_set():
        line = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=10)
        try:
            line.request("GET", "/", headers={"Host": parts.netloc})
            line.getresponse().read()
        except (OSError, http.client.HTTPException):
            nap(0.1)
        finally:
            line.close()
        over.wait(PAGE_EVERY_S)


def _wait(recording: TimedRecording, *, loud: bool, limit_s: float = 30.0) -> None:
    """Until something is being said, or nothing has been said for a while."""
    until = boot_s() + limit_s
    since = boot_s()
    while boot_s() < until:
        if recording.loud:
            since = boot_s()
            if loud:
                return
        elif not loud and boot_s() - since > SILENCE_S:
            return
        nap(0.02)


def _timer_lags(history: History, heard: Recorded, clips: Path) -> Iterator[float]:
    """Milliseconds late, for every timer whose sentence met a silent loudspeaker and no other timer's."""
    before_s = 0.0
    for due_s, event in _said_by_timers(history):
        alone, before_s = due_s - before_s > QUIET_BEFORE_S, due_s
        needle = _needle(clips, event.text)
        if heard.level_before(heard.place_of(due_s), QUIET_BEFORE_S) > QUIET_LEVEL or needle is None or not alone:
            continue
        at_s = heard.find(needle, due_s - 0.2, due_s + SEARCH_S)
        yield float("inf") if at_s is None else (at_s - due_s) * 1000


def _said_by_timers(history: History) -> Iterator[tuple[float, Said]]:
    zero_s = int(history.header.clock["zero_ms"]) / 1000
    due_ms: dict[tuple[str, str], int] = {}
    for record in history.records:
        for event in record.events:
            if isinstance(event, TimerStarted):
                due_ms[event.timer, event.key] = event.due_ms
        expired = [event for event in record.events if isinstance(event, TimerExpired)]
        said = [event for event in record.events if isinstance(event, Said)]
        if len(expired) == 1 and len(said) == 1:
            yield zero_s + due_ms[expired[0].timer, expired[0].key] / 1000, said[0]
        for one in expired:
            if one.next_due_ms is not None:
                due_ms[one.timer, one.key] = one.next_due_ms


def _alarm_lags(history: History, heard: Recorded, clips: Path) -> Iterator[float]:
    """Milliseconds from record to sound, for every alarm that met something being said."""
    zero_s = int(history.header.clock["zero_ms"]) / 1000
    for event in history.events:
        if isinstance(event, Said) and event.urgency is Urgency.ALARM:
            decided_s = zero_s + event.at_ms / 1000
            needle = _needle(clips, event.text)
            if heard.level_before(heard.place_of(decided_s), 0.1) <= QUIET_LEVEL or needle is None:
                continue
            at_s = heard.find(needle, decided_s - 0.2, decided_s + SEARCH_S)
            yield float("inf") if at_s is None else (at_s - decided_s) * 1000


def _needle(folder: Path, text: str) -> Samples | None:
    clips = ClipCache(folder)
    try:
        clip = clips.clip(text, 5_000)
    finally:
        clips.close()
    return None if clip is None else clip.samples[: round(NEEDLE_S * RATE_HZ)]


def _row(name: str, lags: Sequence[float], asked: int, limit_ms: float, problems: Sequence[str]) -> Row:
    lags = sorted(lags)
    if not lags:
        return Row(name, f"{asked} tried", problems=(*problems, "nothing was measured"))
    p50, p95, most = (lags[min(len(lags) - 1, int(share * len(lags)))] for share in (0.5, 0.95, 1.0))
    words = f"{len(lags)} of {asked} measured (the others met speech or silence); p50 {p50:.0f}, p95 {p95:.0f}, most {most:.0f} ms"
    slow = [] if p95 <= limit_ms else [f"p95 over {limit_ms:.0f} ms"]
    return Row(name, words, most / 1000 if most != float("inf") else None, None, 0, 0, (*problems, *slow))


def _words(load: Load) -> str:
    return "all busy" if load == FULL else "machine quiet" if load == QUIET else "partly busy"
