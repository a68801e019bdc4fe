"""The file itself damaged: cut and changed at every byte of its end, and sectors that never reached the disk."""

import random
import tempfile
from collections.abc import Callable
from pathlib import Path

from assistant.clock import ManualClock
from assistant.errors import JournalError
from assistant.incident import begin, open_incident, resume_incident
from assistant.journal import History, read
from assistant.library import source_for
from assistant.replay import rebuild
from protocol.commands import Origin, Role
from tests.faults.drive import drill
from tests.faults.table import Row

CREW = Origin("crew", Role.BOTH, "keyboard")
SECTOR = 512
CHANGES: tuple[Callable[[int], int], ...] = (lambda byte: byte ^ 1, lambda byte: byte ^ 0x80, lambda _: 0, lambda _: 10)
"""A bit flipped, the highest bit flipped, zero, an end of line."""


def made(path: Path, lines: int) -> bytes:
    """A record of the first lines of a drill, as bytes."""
    incident = open_incident(source_for(), path, "drill", ManualClock())
    begin(incident, "drill")
    for second, words in enumerate(drill(lines), start=1):
        incident.session.say(words, second * 1000, Origin("crew", Role.BOTH, "keyboard", words))
    incident.journal.close()
    return path.read_bytes()


def cut_everywhere(tail: int) -> Row:
    """Cut at every byte of the last part: all whole records are read, the remains are set aside, nothing else."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "incident.jsonl"
        data = made(path, 40)
        problems = []
        for length in range(len(data) - tail, len(data)):
            path.write_bytes(data[:length])
            history = read(path)
            whole = data[:length].count(b"\n") - 1
            if len(history.records) != whole or history.good_bytes + len(history.torn) != length:
                problems.append(f"cut at byte {length}: {len(history.records)} records of {whole}")
        path.write_bytes(data[: len(data) - tail])
        problems += _goes_on(path)
    return Row("cut at every byte of the tail", f"{tail} cuts; every whole record read, the rest set aside and told",
               problems=tuple(problems[:3]))  # fmt: skip


def changed_everywhere(tail: int) -> Row:
    """Change every byte of the last part in four ways: the last record is set aside, an earlier one is named."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "incident.jsonl"
        data = made(path, 40)
        whole = _records(path, data)
        last = data[:-1].rindex(b"\n") + 1
        problems, aside, named = [], 0, 0
        for place in range(len(data) - tail, len(data)):
            for change in CHANGES:
                if change(data[place]) == data[place]:
                    continue
                changed = bytearray(data)
                changed[place] = change(data[place])
                path.write_bytes(changed)
                try:
                    history = read(path)
                except JournalError:
                    named += 1
                    continue
                aside += 1
                if place < last - 1 or len(history.records) != whole - 1 or not history.torn:
                    problems.append(f"byte {place} changed unnoticed")
    return Row("changed at every byte of the tail", f"{aside + named} changes: {named} refused by line, {aside} set aside",
               problems=tuple(problems[:3]))  # fmt: skip


def power_lost(losses: int, seed: int) -> Row:
    """Any sectors of the last record missing, in any order, its length already on disk or not."""
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "incident.jsonl"
        data = made(path, 1)
        last = data[:-1].rindex(b"\n") + 1
        records = _records(path, data)
        problems = []
        for number in range(losses):
            path.write_bytes(_image(data, last, chance))
            history = read(path)
            expected = records if path.read_bytes() == data else records - 1
            if len(history.records) != expected:
                problems.append(f"image {number}: {len(history.records)} records, not {expected}")
        problems += _goes_on(path)
    return Row("power lost: sectors missing", f"{losses} disk images of a torn last record, each read to the one before",
               problems=tuple(problems[:3]))  # fmt: skip


def _image(data: bytes, last: int, chance: random.Random) -> bytes:
    """What the disk may hold: sectors that belong to the last record are there or zero; the end may be missing."""
    image = bytearray(data)
    for start in range(last // SECTOR * SECTOR, len(data), SECTOR):
        if chance.random() < 0.5:
            begin_at, end_at = max(start, last), min(start + SECTOR, len(data))
            image[begin_at:end_at] = bytes(end_at - begin_at)
    if chance.random() < 0.5:
        del image[chance.randrange(last, len(data)) :]
    return bytes(image)


def _records(path: Path, data: bytes) -> int:
    path.write_bytes(data)
    return len(read(path).records)


def _goes_on(path: Path) -> list[str]:
    """Whether the damaged record can be resumed and written to."""
    resumed = resume_incident(path)
    before: History = read(path)
    resumed.session.say("hold all work", resumed.clock.now_ms(), CREW)
    resumed.journal.close()
    after = read(path)
    same = rebuild(after) == resumed.session.state and len(after.records) == len(before.records) + 1
    return [] if same and not after.torn else ["the record could not be gone on with"]
