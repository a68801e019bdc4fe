"""What was said here: short pieces of the kept sound, inside the page, or beside it when they are many."""

import base64
from collections.abc import Mapping
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import numpy as np
import soundfile

from assistant.debrief.files import write
from assistant.debrief.tale import SoundRow, Tale
from assistant.hearing.blocks import RATE, Samples

BEFORE_MS, AFTER_MS = 5_000, 500
"""A phrase is taken less than a second after it ends, and is shorter than this."""
INSIDE_BYTES = 12_000_000
"""Sound that a page carries itself; more is put beside it."""
PIECE = 1600
"""Samples read at once: what a broken-off file loses at its end."""


@dataclass(frozen=True, slots=True)
class Clips:
    """The sounds of a report."""

    addresses: Mapping[int, str]
    """Moment in milliseconds to what a page plays."""
    sentences: tuple[str, ...]
    """What a person should know about them."""


def clips(tale: Tale, folder: Path, out: Path, stem: str) -> Clips:
    """A clip for each phrase that was heard while sound was kept.

    Args:
        tale: with its kept sounds.
        folder: where the record lies, and the sound beside it.
        out: where the report is written.
        stem: name of the report.

    Raises:
        DebriefError: if clips cannot be written beside the page.
    """
    if not tale.sounds:
        return Clips({}, ("No sound was kept: it has to be asked for at the start, with --keep-audio.",))
    there = {row: folder / row.file for row in tale.sounds if _is_beside(folder, row.file)}
    missing = [f"The sound {row.file} is not beside the record." for row in tale.sounds if row not in there]
    made: dict[int, bytes] = {}
    for line in tale.story:
        if line.sort == "heard" and line.at_ms not in made:
            sound = _cut(tale.sounds, there, line.who, line.at_ms)
            if len(sound):
                made[line.at_ms] = _flac(sound)
    if not made:
        return Clips({}, (*missing, "Nothing that was heard lies in the kept sound."))
    if sum(len(data) for data in made.values()) <= INSIDE_BYTES:
        inside = {at_ms: f"data:audio/flac;base64,{base64.b64encode(data).decode()}" for at_ms, data in made.items()}
        return Clips(inside, (*missing, f"{len(made)} sounds are inside the page."))
    beside = out / f"{stem}.sounds"
    for at_ms, data in made.items():
        write(beside / f"{at_ms}.flac", data)
    addresses = {at_ms: f"{beside.name}/{at_ms}.flac" for at_ms in made}
    return Clips(addresses, (*missing, f"{len(made)} sounds are in {beside.name}: keep that folder beside the page."))


def read_sound(path: Path, start: int, count: int) -> Samples:
    """Samples of a file, fewer where it ends; a file that was broken off is read as far as it goes.

    Args:
        path: the file, 16 kHz.
        start: first sample.
        count: how many.
    """
    pieces: list[Samples] = []
    try:
        with soundfile.SoundFile(path) as file:
            file.seek(start)
            while count > 0:
                piece: Samples = file.read(min(count, PIECE), dtype="int16")
                if not len(piece):
                    break
                pieces.append(piece)
                count -= len(piece)
    except (OSError, RuntimeError):
        pass  # past the end of a file without one
    return np.concatenate(pieces) if pieces else np.zeros(0, np.int16)


def _is_beside(folder: Path, name: str) -> bool:
    """Whether it is a plain file in that folder: a record from somebody else must not name any other."""
    return Path(name).name == name and (folder / name).is_file()


def _cut(sounds: tuple[SoundRow, ...], there: Mapping[SoundRow, Path], who: str, at_ms: int) -> Samples:
    """The sound before a moment from the file of that station that had begun last."""
    mine = [row for row in sounds if row in there and row.start_ms <= at_ms and who.startswith(f"{row.station} ")]
    if not mine:
        return np.zeros(0, np.int16)
    row = max(mine, key=lambda row: row.start_ms)
    first = max(0, at_ms - BEFORE_MS - row.start_ms) * RATE // 1000
    last = (at_ms + AFTER_MS - row.start_ms) * RATE // 1000
    return read_sound(there[row], first, last - first)


def _flac(sound: Samples) -> bytes:
    out = BytesIO()
    soundfile.write(out, sound, RATE, "PCM_16", format="FLAC")
    return out.getvalue()
