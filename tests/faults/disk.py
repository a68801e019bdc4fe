"""The disk: full, read-only, slow, and a program that dies while it writes."""

import os
import resource
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from assistant.journal import read
from tests.faults.drive import PROGRAM, TYPED, VICTIM, Check, Drive, check, drill, heard, nap, now_s
from tests.faults.records import made
from tests.faults.table import Row

TOLD = "The record cannot be written"
BACK = "Record works again"
FULL_FOR_S = 3.0
NO_MOUNT = "a small disk cannot be mounted here (needs root)"


@contextmanager
def small_disk(options: str = "size=1m") -> Iterator[Path | None]:
    """A file system of its own in memory; None where that is not allowed."""
    folder = Path(tempfile.mkdtemp(prefix="small-disk"))
    mounted = not subprocess.call(
        ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)], stderr=subprocess.DEVNULL
    )
    try:
        yield folder if mounted else None
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(folder)], check=True)
        shutil.rmtree(folder, ignore_errors=True)


def full_disk() -> Row:
    """The disk fills up, and has room again some seconds later."""
    with small_disk() as folder:
        if folder is None:
            return Row("disk full", "", not_tried=NO_MOUNT)
        filler = folder / "filler"
        return _no_room("disk full", folder, lambda _: _fill(filler), lambda _: filler.unlink())


def size_limit() -> Row:
    """The record may grow no further (a quota), and later may again."""
    with tempfile.TemporaryDirectory() as folder:
        free = resource.getrlimit(resource.RLIMIT_FSIZE)

        def stop(drive: Drive) -> None:
            resource.prlimit(drive.process.pid, resource.RLIMIT_FSIZE, (drive.journal.stat().st_size + 100, free[1]))

        def go(drive: Drive) -> None:
            resource.prlimit(drive.process.pid, resource.RLIMIT_FSIZE, free)

        return _no_room("quota reached", Path(folder), stop, go)


def read_only() -> Row:
    """A folder that cannot be written: a new record and an old one are both refused at once, with a way out."""
    with small_disk() as folder:
        if folder is None:
            return Row("folder read-only", "", not_tried=NO_MOUNT)
        old = folder / "old.jsonl"
        old.write_bytes(made(folder / "made.jsonl", 5)[:-10])
        subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        problems, told = [], 0.0
        for ask in (["run", "--journal", str(folder / "new.jsonl")], ["resume", str(old)]):
            status, said, took = _refused(ask)
            told = max(told, took)
            if status != 6 or "Traceback" in said or str(folder) not in said:
                problems.append(f"{ask[0]}: status {status}: {said[-200:]}")
    return Row("folder read-only", "run and resume refused, status 6, file named", told, problems=tuple(problems))


def slow_sync(seconds: float) -> Row:
    """Each fsync takes long, as on a failing card."""
    with tempfile.TemporaryDirectory() as folder:
        journal = Path(folder) / "incident.jsonl"
        with Drive(journal, program=(*VICTIM, f"slow-sync={seconds}")) as drive:
            ready = drive.ready()
            took = [drive.say(words) for words in drill(4)]
            told = drive.wait_for("The disk took")
        found = check(journal, drill(4))
    problems = [*found.problems, *([] if ready and told is not None and None not in took else ["not told"])]
    worst = max(one or 0.0 for one in took)
    told_s = None if told is None else seconds
    return Row(f"fsync takes {seconds:g} s more", f"4 lines, slowest answer {worst:.2f} s, told as soon as it was written",
               told_s, lost=found.lost, doubled=found.doubled, problems=tuple(problems))  # fmt: skip


DEATHS: tuple[tuple[str, ...], ...] = (
    ("dies-in=9", "after=0"), ("dies-in=9", "after=1"), ("dies-in=9", "after=250"), ("dies-in=9", "after=1000000"),
    ("dies-before-sync=10",), ("dies-after-sync=10",),
)  # fmt: skip


def dies_writing() -> Row:
    """Death inside a write, before and after its fsync: the next life goes on, with or without that record."""
    lost = doubled = torn = 0
    problems: list[str] = []
    slowest = 0.0
    for death in DEATHS:
        with tempfile.TemporaryDirectory() as folder:
            found, was_torn, took = _one_death(Path(folder) / "incident.jsonl", death)
        lost, doubled, torn = lost + found.lost, doubled + found.doubled, torn + was_torn
        problems += found.problems
        slowest = max(slowest, took)
    return Row("killed while writing", f"{len(DEATHS)} places inside a record, {torn} left it torn", None, slowest, lost,
               doubled, tuple(problems))  # fmt: skip


def _one_death(journal: Path, death: Sequence[str]) -> tuple[Check, bool, float]:
    lines = drill(20)
    with Drive(journal, program=(*VICTIM, *death)) as drive:
        shown = sum(drive.say(words) is not None for words in lines)
    if shown == len(lines):
        return Check(0, 0, (f"{' '.join(death)} did not kill",)), False, 0.0
    raw = journal.read_bytes()
    began = now_s()
    with Drive(journal) as drive:
        drive.ready()
        took = now_s() - began
        told = "set aside" in drive.screen
        taken = _recorded(journal)
        for words in lines[taken:]:
            drive.say(words)
    found = check(journal, lines)
    torn = not raw.endswith(b"\n")
    problems = list(found.problems)
    if torn != told:
        problems.append(f"{' '.join(death)}: torn {torn}, told {told}")
    if not shown <= taken <= shown + 1:
        problems.append(f"{' '.join(death)}: {shown} lines shown, {taken} recorded")
    return Check(found.lost, found.doubled, tuple(problems)), torn, took


def _no_room(name: str, folder: Path, stop: object, go: object) -> Row:
    assert callable(stop)
    assert callable(go)
    journal = folder / "incident.jsonl"
    with Drive(journal) as drive:
        drive.ready()
        said = [words for words in drill(20) if drive.say(words) is not None]
        stop(drive)
        told = None
        for words in drill()[len(said) :]:
            mark, typed_s = len(drive.shown), now_s()
            if drive.say(words, 0.5) is None:
                told = drive.wait_for(TOLD, 5.0, mark, typed_s)
                break
            said.append(words)
        nap(FULL_FOR_S)
        mark = len(drive.shown)
        go(drive)
        back = drive.wait_for(BACK, 20.0, mark)
        rest = drill()[len(said) : len(said) + 30]
        said += [words for words in rest if drive.say(words) is not None]
        alive = drive.process.poll() is None
    found = check(journal, said)
    problems = list(found.problems)
    problems += [] if told is not None else ["not told"]
    problems += [] if back is not None and alive and len(rest) == 30 else ["did not come back"]
    return Row(name, f"{len(said)} lines taken, one refused meanwhile; gap on record", told, back, found.lost,
               found.doubled, tuple(problems))  # fmt: skip


def _fill(filler: Path) -> None:
    handle = os.open(filler, os.O_WRONLY | os.O_CREAT)
    try:
        while True:
            os.write(handle, bytes(4096))
    except OSError:
        os.close(handle)


def _refused(ask: Sequence[str]) -> tuple[int, str, float]:
    began = now_s()
    done = subprocess.run([*PROGRAM, *ask, *TYPED], capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL)
    return done.returncode, done.stdout + done.stderr, now_s() - began


def _recorded(journal: Path) -> int:
    return len(heard(read(journal)))
