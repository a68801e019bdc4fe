"""Clips on disk: WAV files named by a digest of all that shapes the sound, each carrying a checksum of its samples."""

import os
import tempfile
import zlib
from pathlib import Path

import numpy as np
import soundfile

from assistant.speaking.levels import RATE_HZ, Samples

LIMIT_BYTES = 200_000_000
TRIM_TO = 0.8


class ClipStore:
    """A bounded folder of clips; the ones not used for longest go first."""

    def __init__(self, folder: Path, limit_bytes: int = LIMIT_BYTES) -> None:
        self.folder = folder
        self._limit_bytes = limit_bytes

    def has(self, key: str) -> bool:
        """Whether a clip is there; says nothing about whether it is whole."""
        return self._path(key).is_file()

    def load(self, key: str) -> Samples | None:
        """The clip, or None when it is missing or damaged; a damaged one is removed."""
        path = self._path(key)
        try:
            with soundfile.SoundFile(path) as file:
                whole = file.samplerate == RATE_HZ and file.channels == 1
                samples: Samples = file.read(dtype="int16") if whole else np.zeros(0, np.int16)
                told = file.comment
        except (soundfile.LibsndfileError, RuntimeError, OSError):
            samples, told = np.zeros(0, np.int16), "unreadable"
        if samples.size == 0 or told != _checksum(samples):
            self._remove(path)
            return None
        self._touch(path)
        return samples

    def save(self, key: str, samples: Samples) -> None:
        """Write a clip so that it is there whole or not at all.

        Raises:
            OSError: the folder cannot be written.
        """
        self.folder.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(suffix=".part", dir=self.folder)
        os.close(handle)
        part = Path(name)
        try:
            with soundfile.SoundFile(part, "w", RATE_HZ, 1, subtype="PCM_16", format="WAV") as file:
                file.comment = _checksum(samples)
                file.write(samples)
            part.replace(self._path(key))
        except (soundfile.LibsndfileError, OSError) as error:
            self._remove(part)
            raise OSError(str(error)) from error

    def trim(self) -> int:
        """Bring the folder under its limit and give the number of clips removed.

        Raises:
            OSError: the folder cannot be read.
        """
        if not self.folder.is_dir():
            return 0
        facts = [(entry.stat(), Path(entry.path)) for entry in os.scandir(self.folder) if entry.name.endswith(".wav")]
        total = sum(stat.st_size for stat, _ in facts)
        removed = 0
        if total > self._limit_bytes:
            for stat, path in sorted(facts, key=lambda fact: fact[0].st_mtime):
                if total <= TRIM_TO * self._limit_bytes:
                    break
                self._remove(path)
                total -= stat.st_size
                removed += 1
        return removed

    def remembered_engine(self) -> str:
        """The engine that made the clips here, as last written by `remember_engine`; empty when unknown."""
        try:
            return (self.folder / "engine.txt").read_text("utf-8")
        except (OSError, UnicodeDecodeError):
            return ""

    def remember_engine(self, engine: str) -> None:
        """Keep the engine's name for a start at which the engine does not answer.

        Raises:
            OSError: the folder cannot be written.
        """
        self.folder.mkdir(parents=True, exist_ok=True)
        part = self.folder / f"engine.{os.getpid()}.part"
        part.write_text(engine, "utf-8")
        part.replace(self.folder / "engine.txt")

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.wav"

    def _touch(self, path: Path) -> None:
        try:
            os.utime(path)
        except OSError:
            return  # a folder that may only be read still serves; only the order of removal suffers

    def _remove(self, path: Path) -> None:
        try:
            path.unlink(missing_ok=True)
        except OSError:
            return  # it will fail its checksum again next time


def _checksum(samples: Samples) -> str:
    return f"crc32={zlib.crc32(samples.astype('<i2').tobytes()):08x} samples={samples.size}"
