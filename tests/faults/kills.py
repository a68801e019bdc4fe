"""Kill -9 at random moments, then resume: same step, same counts, right clocks, nothing said that is not on record."""

import json
import random
import re
import subprocess
import sys
import tempfile
import threading
import time
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from assistant.journal import read
from assistant.replay import rebuild
from protocol.events import Said

PROGRAM = (sys.executable, "-m", "assistant")
CLOCK_TOLERANCE_MS = 1_000
SAID = re.compile(r"^\d+:\d\d:\d\d  (?:>>|--|!!|  ) to (?:inside|outside|both): (.*)$")


@dataclass(frozen=True, slots=True)
class Kill:
    """One kill and what was found afterwards."""

    after_s: float
    records: int
    step: str
    clock_error_ms: int
    torn_bytes: int
    problems: tuple[str, ...]


def drill_lines() -> list[str]:
    """What the shipped drill's crew says, in order."""
    path = Path(__file__).parents[2] / "audio_fixtures" / "drill_script.toml"
    blocks = tomllib.loads(path.read_text(encoding="utf-8"))["line"]
    return [words for block in blocks for words in block["say"]]


def kill_typed(seed: int, pace_s: float = 0.03) -> Kill:
    """Type the drill into a live run, kill it at a random moment, resume."""
    chance = random.Random(seed)
    after_s = chance.uniform(0.6, 0.6 + pace_s * len(drill_lines()) * 1.2)
    with tempfile.TemporaryDirectory() as folder:
        journal = Path(folder) / "incident.jsonl"
        command = [*PROGRAM, "run", "--keyboard", "--mute", "--no-board", "--drill", "--journal", str(journal)]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0) as process:
            typist = threading.Thread(target=_type, args=(process, pace_s), daemon=True)
            typist.start()
            time.sleep(after_s)  # noqa: TID251  the moment of the kill is real time
            process.kill()
            shown = process.stdout.read() if process.stdout else b""
            typist.join()
        return examine(journal, shown.decode().splitlines(), after_s, real_clock=True)


def kill_rehearsal(seed: int, longest_s: float) -> Kill:
    """Kill a fast rehearsal through the recogniser at a random moment, resume."""
    after_s = random.Random(seed).uniform(1.5, longest_s)
    with tempfile.TemporaryDirectory() as folder:
        journal = Path(folder) / "incident.jsonl"
        command = [*PROGRAM, "rehearse", "--fast", "--journal", str(journal)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
            lines: list[str] = []
            reader = threading.Thread(target=_collect, args=(process, lines), daemon=True)
            reader.start()
            time.sleep(after_s)  # noqa: TID251  the moment of the kill is real time
            process.kill()
            reader.join()
        return examine(journal, lines, after_s, real_clock=False)


def examine(journal: Path, shown: Sequence[str], after_s: float, *, real_clock: bool) -> Kill:
    """Compare the record as the kill left it with what `resume` says, and with what was shown."""
    if not journal.exists() or not journal.read_bytes().count(b"\n"):
        return Kill(after_s, 0, "", 0, 0, ())
    before = read(journal)
    state = rebuild(before)
    started_ms = int(before.header.clock.get("zero_ms", 0))
    asked_ms = _boot_ms()
    done = subprocess.run([*PROGRAM, "resume", str(journal), "--show"], capture_output=True, text=True, check=False)
    answered_ms = _boot_ms()
    problems = []
    if done.returncode:
        problems.append(f"resume failed: {done.stderr.strip()}")
        return Kill(after_s, len(before.records), state.step, 0, len(before.torn), tuple(problems))
    found = json.loads(done.stdout)
    wanted = {
        "step": state.step, "steps_confirmed": state.steps_confirmed, "canisters": len(state.canisters_ms),
        "closed": state.closed, "inside": [one.slot for one in state.inside],
        "timers": {f"{timer.timer}:{timer.key}": timer.due_ms for timer in state.timers},
    }  # fmt: skip
    problems += [f"{key}: {found[key]} after resuming, {value} before" for key, value in wanted.items() if found[key] != value]
    earliest, latest = (asked_ms - started_ms, answered_ms - started_ms) if real_clock else (state.at_ms, state.at_ms)
    clock_error = found["clock_ms"] - min(max(found["clock_ms"], earliest), latest)
    if abs(clock_error) > CLOCK_TOLERANCE_MS:
        problems.append(f"clock off by {clock_error} ms")
    problems += unrecorded(shown, [event.text for event in before.events if isinstance(event, Said)])
    if len(read(journal).records) != len(before.records):
        problems.append("records were lost or doubled")
    return Kill(after_s, len(before.records), state.step, clock_error, len(before.torn), tuple(problems))


def unrecorded(shown: Sequence[str], recorded: Sequence[str]) -> list[str]:
    """Sentences shown on a screen that are not on record; the last line may have been cut by the kill."""
    said = [match.group(1) for line in shown[:-1] if (match := SAID.match(line))]
    return [f"said but not on record: {text}" for text in said if text not in recorded]


def _type(process: subprocess.Popen[bytes], pace_s: float) -> None:
    if process.stdin is None:
        return
    try:
        for words in drill_lines():
            process.stdin.write(f"{words}\n".encode())
            time.sleep(pace_s)  # noqa: TID251  a typist's pace
    except (BrokenPipeError, ValueError):
        return


def _collect(process: subprocess.Popen[str], lines: list[str]) -> None:
    if process.stdout is not None:
        lines.extend(line.rstrip("\n") for line in process.stdout)


def _boot_ms() -> int:
    return time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000
