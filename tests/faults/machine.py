"""The machine: clock jumps, suspension, starvation, a second program, a terminal that goes, rubbish on the keyboard."""

import itertools
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from assistant.journal import read
from assistant.replay import rebuild
from tests.faults.drive import PROGRAM, TYPED, Drive, check, drill, heard, nap, now_s, say_all
from tests.faults.table import Row

FAKETIME = ("/usr/lib/x86_64-linux-gnu/faketime/libfaketimeMT.so.1", "/usr/lib/aarch64-linux-gnu/faketime/libfaketimeMT.so.1")
"""Debian's package `faketime`."""
JUMP_H = 6
CLOCK_TOLERANCE_MS = 3_000


def clock_jumps() -> Row:
    """The wall clock jumps six hours forward and then twelve back, while running and between two lives."""
    library = next((path for path in FAKETIME if Path(path).exists()), "")
    if not library:
        return Row("wall clock jumps", "", not_tried="Debian's faketime is not installed")
    with tempfile.TemporaryDirectory() as folder:
        journal, offset = Path(folder) / "incident.jsonl", Path(folder) / "offset"
        environment = {
            "LD_PRELOAD": library, "FAKETIME_TIMESTAMP_FILE": str(offset), "FAKETIME_NO_CACHE": "1",
            "DONT_FAKE_MONOTONIC": "1", "FAKETIME_DONT_FAKE_MONOTONIC": "1",
        }  # fmt: skip
        offset.write_text("+0")
        began = now_s()
        said: list[str] = []
        missed: list[str] = []
        for jumps in (("+0", f"+{JUMP_H}h"), (f"-{JUMP_H}h", "+0")):
            with Drive(journal, environment=environment) as drive:
                drive.ready()
                for jump in jumps:
                    offset.write_text(jump)
                    nap(0.1)
                    lines = drill()[len(said) : len(said) + 5]
                    missed += say_all(drive, lines)[1]
                    said += lines
        found = check(journal, said)
        worst_ms = rebuild(read(journal)).at_ms - (now_s() - began) * 1000
        shifted = _python_date(environment, offset)
    problems = [*found.problems, *(f"not taken: {words}" for words in missed)]
    problems += [] if shifted else ["the clock was not shifted"]
    problems += [] if -CLOCK_TOLERANCE_MS < worst_ms <= 0 else [f"the incident's clock is off by {worst_ms:.0f} ms"]
    return Row(f"wall clock +{JUMP_H} h, then -{2 * JUMP_H} h", f"{len(said)} lines in two lives, incident clock off by less than"
               f" {CLOCK_TOLERANCE_MS / 1000:.0f} s", None, None, found.lost, found.doubled, tuple(problems))  # fmt: skip


def suspended(seconds: float) -> Row:
    """The process stands still, as when the lid is closed."""
    with tempfile.TemporaryDirectory() as folder:
        journal = Path(folder) / "incident.jsonl"
        with Drive(journal) as drive:
            drive.ready()
            say_all(drive, drill(10))
            mark = len(drive.shown)
            drive.pause(seconds)
            woken = now_s()
            told = drive.wait_for("** listening:", 3.0, mark, woken) if seconds >= 5.0 else None
            back = drive.say(drill()[10])
            say_all(drive, drill()[11:20])
            gap_ms = _largest_gap_ms(journal)
        found = check(journal, drill(20))
    problems = list(found.problems)
    problems += [] if gap_ms >= seconds * 1000 else [f"the clock lost time: {gap_ms} ms"]
    problems += [] if back is not None else ["did not come back"]
    problems += ["not told"] if seconds >= 5.0 and told is None else []
    return Row(f"suspended for {seconds:g} s", f"incident clock went on: gap {gap_ms / 1000:.1f} s", told, back, found.lost,
               found.doubled, tuple(problems))  # fmt: skip


def second_program() -> Row:
    """Another program on the same record is refused, and the first does not notice."""
    with tempfile.TemporaryDirectory() as folder:
        journal = Path(folder) / "incident.jsonl"
        with Drive(journal) as drive:
            drive.ready()
            say_all(drive, drill(5))
            began = now_s()
            done = subprocess.run([*PROGRAM, "resume", str(journal), *TYPED], capture_output=True, text=True, check=False)
            told = now_s() - began
            say_all(drive, drill()[5:10])
        found = check(journal, drill(10))
    refused = done.returncode == 6 and "in use" in done.stderr
    problems = [*found.problems, *([] if refused else [f"status {done.returncode}: {done.stderr}"])]
    return Row("second program on the record", "refused with status 6 and why", told, None, found.lost, found.doubled,
               tuple(problems))  # fmt: skip


def starved(lines: int) -> Row:
    """Two busy programs on every core."""
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(2 * (os.cpu_count() or 1))]
    try:
        with tempfile.TemporaryDirectory() as folder:
            journal = Path(folder) / "incident.jsonl"
            with Drive(journal) as drive:
                drive.ready()
                took, missed = say_all(drive, drill(lines))
            found = check(journal, drill(lines))
    finally:
        for one in busy:
            one.kill()
            one.wait()
    problems = [*found.problems, *(f"not taken: {words}" for words in missed)]
    worst = max(took, default=0.0)
    problems += [] if worst < 1.0 else [f"an answer took {worst:.2f} s"]
    return Row("starved: 2 busy loops a core", f"{len(took)} answers, slowest {worst * 1000:.0f} ms", None, None, found.lost,
               found.doubled, tuple(problems))  # fmt: skip


def terminal_gone() -> Row:
    """Whoever reads the screen is gone: the incident goes on."""
    with tempfile.TemporaryDirectory() as folder:
        journal = Path(folder) / "incident.jsonl"
        with subprocess.Popen(
            [*PROGRAM, "run", "--drill", "--journal", str(journal), *TYPED],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, bufsize=0,
        ) as process:  # fmt: skip
            assert process.stdin is not None
            assert process.stdout is not None
            process.stdout.read(50)
            process.stdout.close()
            nap(0.5)
            for words in drill(10):
                process.stdin.write(f"{words}\n".encode())
            began = now_s()
            while now_s() - began < 10 and len(heard(read(journal))) < 10:
                nap(0.02)
            process.kill()
        found = check(journal, drill(10))
    return Row("terminal gone", "10 lines typed blind are on record", None, None, found.lost, found.doubled, found.problems)


def rubbish_typed() -> Row:
    """Bytes that are no text, control characters and a line of a million letters; then words as usual."""
    with tempfile.TemporaryDirectory() as folder:
        journal = Path(folder) / "incident.jsonl"
        with Drive(journal, environment={"PYTHONIOENCODING": "utf-8:strict"}) as drive:
            drive.ready()
            assert drive.process.stdin is not None
            for rubbish in (b"\xff\xfe\x80\n", b"\x00\x1b[2J\n", b"/note \xff\n", b"x" * 1_000_000 + b"\n", b"/override\n", b"/answer\n"):
                drive.process.stdin.write(rubbish)
            back = drive.say(drill(1)[0])
            say_all(drive, drill(10)[1:])
        found = check(journal, ("/note \ufffd", *drill(10)))
    problems = [*found.problems, *([] if back is not None else ["the keyboard is dead"])]
    return Row("rubbish on the keyboard", "not text, control characters, a million letters", None, back, found.lost,
               found.doubled, tuple(problems))  # fmt: skip


def _largest_gap_ms(journal: Path) -> int:
    moments = [record.at_ms for record in read(journal).records]
    return max(later - earlier for earlier, later in itertools.pairwise(moments))


def _python_date(environment: dict[str, str], offset: Path) -> bool:
    """Whether the library really moves a program's wall clock."""
    offset.write_text(f"+{JUMP_H}h")
    ask = [sys.executable, "-c", "import time; print(time.time())"]
    faked = subprocess.run(ask, env={**os.environ, **environment}, capture_output=True, text=True, check=True).stdout
    plain = subprocess.run(ask, capture_output=True, text=True, check=True).stdout
    return abs(float(faked) - float(plain) - JUMP_H * 3600) < 60
