"""What each station heard, in one WAV file: a channel for each station, on the real timeline, from the clock's zero.

The header is put right after every write, so that the file can be read at any moment, also after the program was
killed. Sounds may come in any order and may overlap; what overlaps is added and held at full scale.
"""

import struct
import threading
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Final, Self

import numpy as np

from assistant.errors import AudioError, UsageError
from assistant.speaking.levels import RATE_HZ, Samples

HEADER_BYTES: Final = 44
SAMPLE_BYTES: Final = 2
LARGEST_DATA_BYTES: Final = 0xFFFF_FFFF - HEADER_BYTES
BLOCK: Final = RATE_HZ


class Mixdown:
    """A WAV file of int16 at 16 kHz that grows; calls from several threads are fine.

    Raises:
        AudioError: the file cannot be written.
    """

    def __init__(self, path: Path, stations: Sequence[str]) -> None:
        if not stations or len(set(stations)) != len(stations):
            raise UsageError("Saved audio needs at least one station, each named once.")
        self.path = path
        self.stations = tuple(stations)
        self._frames = 0
        self._frame_bytes = SAMPLE_BYTES * len(self.stations)
        self._lock = threading.Lock()
        try:
            self._file: BinaryIO = path.open("w+b")
            self._write_header()
        except OSError as error:
            raise AudioError(f"The audio cannot be saved to {path}: {error.strerror or error}.") from error

    @property
    def seconds(self) -> float:
        """Length of the file so far."""
        return self._frames / RATE_HZ

    def add(self, station: str, at_sample: int, samples: Samples) -> None:
        """Mix mono samples into a station's channel, the first at `at_sample` since the clock's zero.

        What lies before zero or past the four-gigabyte end of a WAV file (37 hours of one station) is left out.

        Raises:
            AudioError: the file cannot be written.
            UsageError: there is no such station.
        """
        if station not in self.stations:
            raise UsageError(f"No station {station!r} in the saved audio; it has {', '.join(self.stations)}.")
        channel = self.stations.index(station)
        samples = samples[max(0, -at_sample) :]
        at_sample = max(0, at_sample)
        room = LARGEST_DATA_BYTES // self._frame_bytes - at_sample
        with self._lock:
            try:
                for start in range(0, max(0, min(samples.size, room)), BLOCK):
                    self._mix(channel, at_sample + start, samples[start : min(start + BLOCK, room)])
                self._write_header()
            except (OSError, ValueError) as error:
                raise AudioError(f"The audio cannot be saved to {self.path}: {error}.") from error

    def lengthen(self, to_sample: int) -> None:
        """Make the file at least this long, with silence.

        Raises:
            AudioError: the file cannot be written.
        """
        self.add(self.stations[0], max(0, to_sample - 1), np.zeros(1, np.int16))

    def close(self) -> None:
        """Finish the file."""
        with self._lock:
            self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _mix(self, channel: int, at_frame: int, samples: Samples) -> None:
        stations = len(self.stations)
        self._file.seek(HEADER_BYTES + at_frame * self._frame_bytes)
        there = np.frombuffer(self._file.read(samples.size * self._frame_bytes), dtype="<i2")
        block = np.zeros(samples.size * stations, np.int32)
        block[: there.size] = there
        block[channel::stations] += samples
        self._file.seek(HEADER_BYTES + at_frame * self._frame_bytes)
        self._file.write(np.clip(block, -32768, 32767).astype("<i2").tobytes())
        self._frames = max(self._frames, at_frame + samples.size)

    def _write_header(self) -> None:
        """The 44 bytes of a PCM WAV header (RIFF, 'fmt ', 'data'); written last, so that it never promises too much."""
        channels, size = len(self.stations), self._frames * self._frame_bytes
        self._file.flush()
        self._file.seek(0)
        self._file.write(struct.pack("<4sI4s4sI", b"RIFF", size + HEADER_BYTES - 8, b"WAVE", b"fmt ", 16))
        rate = (RATE_HZ, RATE_HZ * self._frame_bytes, self._frame_bytes, 8 * SAMPLE_BYTES)
        self._file.write(struct.pack("<HHIIHH4sI", 1, channels, *rate, b"data", size))
        self._file.flush()
