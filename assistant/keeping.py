"""Keeping what a microphone hears: FLAC beside the record, on the incident's clock, only when asked for at the start.

The record is worth more than the sound: keeping stops while there is still room on the disk, and whatever goes wrong
with it is told once and never holds up the incident. Writing happens in a thread of its own.
"""

import os
import re
import shutil
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from queue import Empty, Full, Queue, SimpleQueue
from typing import Any, Protocol

import numpy as np
import soundfile

from assistant.errors import AudioError
from assistant.hearing.blocks import RATE, Block, Samples
from assistant.inputs import Part

RESERVE_BYTES = 256_000_000
"""Left free for the record: keeping stops before the disk is fuller than this."""
LOOK_EVERY = 10 * RATE
"""Samples between two looks at the free space."""
TOLERANCE = RATE // 50
"""A block may lie this many samples beside where it belongs before silence is put in or an overlap is cut."""
MOST_WAITING = 500
"""Blocks (half a minute) that wait while the disk is slow; more are lost, and stand as silence in the file."""
LONGEST_GAP = 24 * 3600 * RATE
PART = "audio keeping"
CLOSE_S = 5.0


class Microphone(Protocol):
    """What is listened to."""

    def poll(self, now_ms: int) -> tuple[Sequence[Block], Sequence[Part]]:
        """Blocks that wait, and what happened to the device."""
        ...

    def close(self) -> None:
        """Let go of the device."""
        ...


def free_bytes(folder: Path) -> int:
    """Room left on the disk of a folder."""
    return shutil.disk_usage(folder).free


class FlacFile:
    """One file that grows; where nothing was heard it is silent, so that its time is the incident's time.

    Raises:
        AudioError: if it cannot be begun, or there is too little room.
    """

    def __init__(self, path: Path, start_ms: int, room: Callable[[Path], int] = free_bytes) -> None:
        self.path = path
        self._room = room
        self._zero = start_ms * RATE // 1000
        self._written = 0
        self._look_at = LOOK_EVERY
        self._look()
        try:
            os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
            self._file: Any = soundfile.SoundFile(path, "w", RATE, 1, "PCM_16", format="FLAC")
        except (OSError, RuntimeError) as error:
            raise AudioError(f"{path.name} cannot be begun ({error}). No sound is kept.") from error

    def add(self, block: Block) -> None:
        """Write one block where it belongs.

        Raises:
            AudioError: if the disk takes no more; nothing more is to be written then.
        """
        samples: Samples = block.samples
        gap = round(block.start_s * RATE) - self._zero - self._written
        if gap < -TOLERANCE:
            samples = samples[-gap:]
        try:
            if gap > TOLERANCE:
                self._silence(min(gap, LONGEST_GAP))
            self._write(samples)
        except (OSError, RuntimeError, AssertionError) as error:
            raise AudioError(f"{self.path.name}: the disk takes no more. The sound so far is kept.") from error
        if self._written >= self._look_at:
            self._look_at = self._written + LOOK_EVERY
            self._look()

    def close(self) -> None:
        """Finish the file.

        Raises:
            AudioError: if its end cannot be written.
        """
        try:
            self._file.close()
        except (OSError, RuntimeError) as error:
            raise AudioError(f"{self.path.name} could not be finished ({error}). Most of it can be played.") from error

    def _silence(self, count: int) -> None:
        while count > 0:
            self._write(np.zeros(min(count, RATE), np.int16))
            count -= RATE

    def _write(self, samples: Samples) -> None:
        self._file.write(samples)
        self._written += len(samples)

    def _look(self) -> None:
        try:
            room = self._room(self.path.parent)
        except OSError as error:
            raise AudioError(f"{self.path.parent} cannot be looked at ({error.strerror}). No sound is kept.") from error
        if room < RESERVE_BYTES:
            raise AudioError(f"The disk has only {room // 1_000_000} MB left, which the record needs. No more is kept.")


class Keeper:
    """Writes in the background; what goes wrong is asked for with `failure`."""

    def __init__(self, file: FlacFile) -> None:
        self._sound = file
        self._waiting: Queue[Block | None] = Queue(MOST_WAITING)
        self._failures: SimpleQueue[str] = SimpleQueue()
        self._thread = threading.Thread(target=self._work, name="audio keeping", daemon=True)
        self._thread.start()

    def add(self, block: Block) -> None:
        """Hand over a block; one that finds no place is left out, and stands as silence."""
        try:
            self._waiting.put_nowait(block)
        except Full:
            return  # the next block that is written brings the silence with it

    def failure(self) -> str | None:
        """Why no more is kept, once; otherwise None."""
        try:
            return self._failures.get_nowait()
        except Empty:
            return None

    def close(self) -> None:
        """Write what waits and finish the file; a disk that hangs is not waited for."""
        try:
            self._waiting.put(None, timeout=CLOSE_S)
        except Full:
            return  # the disk hangs: the file stays without its end, which readers can do without
        self._thread.join(CLOSE_S)

    def _work(self) -> None:
        failed = False
        while (block := self._waiting.get()) is not None:
            if not failed:
                failed = self._try(lambda block=block: self._sound.add(block))  # type: ignore[misc]
        self._try(self._sound.close)

    def _try(self, work: Callable[[], None]) -> bool:
        try:
            work()
        except AudioError as error:
            self._failures.put(str(error))
            return True
        return False


class KeptMicrophone:
    """A microphone whose blocks are kept too, as they are heard.

    Args:
        inner: the microphone.
        keeper: where its blocks go.
        behind_ms: how far the incident's clock is behind the one that dates the blocks, because a drill was paused;
            what is heard while it stands still lies before the end of the file, and is not kept.
    """

    def __init__(self, inner: Microphone, keeper: Keeper, behind_ms: Callable[[], int] = lambda: 0) -> None:
        self._inner = inner
        self._keeper = keeper
        self._behind_ms = behind_ms

    def poll(self, now_ms: int) -> tuple[Sequence[Block], Sequence[Part]]:
        """Blocks that wait, and what happened to the device or to the keeping."""
        blocks, parts = self._inner.poll(now_ms)
        behind_s = self._behind_ms() / 1000
        for block in blocks:
            self._keeper.add(replace(block, start_s=block.start_s - behind_s))
        failure = self._keeper.failure()
        if failure is None:
            return blocks, parts
        return blocks, [*parts, Part(PART, works=False, detail=f"{failure} Everything else goes on.")]

    def close(self) -> None:
        """Let go of the device, then finish the file."""
        self._inner.close()
        self._keeper.close()


def free_name(record: Path, station: str) -> Path:
    """A name for a new file beside a record: RECORD.STATION-1.flac, or the next number after a resume."""
    number, plain = 1, re.sub(r"[^\w-]", "_", station)
    while (path := record.with_name(f"{record.stem}.{plain}-{number}.flac")).exists():
        number += 1
    return path
