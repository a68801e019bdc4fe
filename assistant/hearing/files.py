"""Recordings as a source of blocks: WAV or FLAC of any rate and channel count, read piece by piece."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile
import soxr

from assistant.errors import AudioError
from assistant.hearing.blocks import BLOCK_S, RATE, Block, Samples

KINDS = frozenset({"WAV", "WAVEX", "FLAC", "RF64"})
LOWEST_RATE, HIGHEST_RATE = 4_000, 384_000
MOST_CHANNELS = 32
PIECE_S = 0.5


class FileSource:
    """One recording, resampled to 16 kHz and mixed to one channel."""

    def __init__(self, path: Path) -> None:
        self._file = _open(path)
        self._path = path
        self._blocks = self._read_all()
        self.ended = False

    @property
    def audio_s(self) -> float:
        """Length by the file's own header."""
        return float(self._file.frames / self._file.samplerate)

    def read(self, timeout_s: float = 0.0) -> Block | None:
        """The next block, or None at the end.

        Raises:
            AudioError: if the recording breaks off.
        """
        del timeout_s
        block = next(self._blocks, None)
        self.ended = block is None
        return block

    def blocks(self) -> Iterator[Block]:
        """All blocks that are left."""
        return self._blocks

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def _read_all(self) -> Iterator[Block]:
        size = round(BLOCK_S * RATE)
        waiting = np.zeros(0, np.int16)
        position = 0
        for piece in self._pieces():
            waiting = np.concatenate([waiting, piece])
            while len(waiting) >= size:
                yield Block(waiting[:size], position / RATE)
                waiting = waiting[size:]
                position += size
        if len(waiting):
            yield Block(waiting, position / RATE)

    def _pieces(self) -> Iterator[Samples]:
        rate = self._file.samplerate
        resampler = soxr.ResampleStream(rate, RATE, 1, dtype="float32") if rate != RATE else None
        count = max(1, round(PIECE_S * rate))
        while True:
            try:
                piece = self._file.read(count, dtype="float32", always_2d=True)
            except (RuntimeError, soundfile.LibsndfileError) as error:
                raise AudioError(f"{self._path}: breaks off in the middle ({error}). Copy it again.") from error
            last = len(piece) < count
            mono = piece.mean(axis=1, dtype=np.float32) if piece.size else np.zeros(0, np.float32)
            if resampler is not None:
                mono = resampler.resample_chunk(mono, last=last)
            if len(mono):
                yield (np.clip(mono, -1.0, 32767 / 32768) * 32768).astype(np.int16)
            if last:
                return


def _open(path: Path) -> soundfile.SoundFile:
    if not path.exists():
        raise AudioError(f"{path}: there is no such file. Check the name.")
    if path.is_dir():
        raise AudioError(f"{path}: is a folder. Name the recordings in it.")
    try:
        file = soundfile.SoundFile(path)
    except (RuntimeError, soundfile.LibsndfileError, OSError) as error:
        raise AudioError(f"{path}: is not a recording that can be read. Give a WAV or FLAC file.") from error
    problem = _problem(file, path)
    if problem:
        file.close()
        raise AudioError(f"{path}: {problem}")
    return file


def _problem(file: soundfile.SoundFile, path: Path) -> str:
    if file.format not in KINDS:
        return f"is {file.format}. Convert it to WAV or FLAC."
    if file.frames == 0:
        return "holds no sound. Record it again."
    if not LOWEST_RATE <= file.samplerate <= HIGHEST_RATE:
        return f"has {file.samplerate} samples a second. Record it at 8000 to 192000."
    if file.channels > MOST_CHANNELS:
        return f"has {file.channels} channels. Use one or two."
    if file.format in {"WAV", "WAVEX"} and _is_cut(file, path):
        return "is cut short: its header promises more sound than it holds. Copy or record it again."
    return ""


def _is_cut(file: soundfile.SoundFile, path: Path) -> bool:
    """Whether a plain WAV's data chunk is shorter than its header says (libsndfile reads on in silence)."""
    with path.open("rb") as raw:
        head = raw.read(65_536)
    place = head.find(b"data", 12)
    if place < 0:
        return False
    promised = int.from_bytes(head[place + 4 : place + 8], "little")
    held = path.stat().st_size - place - 8
    return promised not in {0, 0xFFFFFFFF} and held < promised - file.channels * 8
