"""What a loudspeaker of a private sound server gave, with the moment of every sample."""

import subprocess
import threading
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.faults.crew import boot_s
from tests.pulse import RATE_HZ, PulseServer

NEAR_S = 15.0
"""Arrivals so near in time are used to place a sample."""
CHUNK = 640
FOUND = 0.7
"""How much alike a sound and its place in the recording must be (1.0: the same but for loudness)."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """When the samples up to a number were there."""

    samples: int
    at_s: float


class TimedRecording:
    """Records a loudspeaker's monitor; each sample's moment is known, at most a recorder's delay (some 20 ms) too late."""

    def __init__(self, pulse: PulseServer, speaker: str) -> None:
        command = ["parec", f"--device={speaker}.monitor", "--format=s16le", "--channels=1", f"--rate={RATE_HZ}", "--latency-msec=10"]
        self._process = subprocess.Popen([*command, f"--server=unix:{pulse.socket}"], stdout=subprocess.PIPE, bufsize=0)
        self._pieces: list[bytes] = []
        self._arrivals: list[Arrival] = []
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    @property
    def loud(self) -> bool:
        """Whether something is being said just now."""
        tail = np.frombuffer(b"".join(self._pieces[-5:])[-CHUNK * 2 :], dtype="<i2")
        return bool(tail.size and int(np.abs(tail.astype(np.int32)).max()) > 300)

    def stop(self) -> "Recorded":
        """End it."""
        self._process.terminate()
        self._process.wait()
        self._thread.join(timeout=5)
        samples = np.frombuffer(b"".join(self._pieces), dtype="<i2")
        return Recorded(samples, np.array([[one.samples, one.at_s] for one in self._arrivals]))

    def _read(self) -> None:
        assert self._process.stdout is not None
        count, odd = 0, b""
        while piece := self._process.stdout.read(CHUNK * 2):
            at_s = boot_s()
            piece = odd + piece
            odd, piece = (piece[-1:], piece[:-1]) if len(piece) % 2 else (b"", piece)
            self._pieces.append(piece)
            count += len(piece) // 2
            self._arrivals.append(Arrival(count, at_s))


@dataclass(frozen=True, slots=True)
class Recorded:
    """A recording and its arrivals, shape (n, 2): samples so far, `boot_s`."""

    samples: NDArray[np.int16]
    arrivals: NDArray[np.float64]

    def place_of(self, at_s: float) -> int:
        """The number of the sample that was played at a moment."""
        return round((at_s - self._zero_s(at_s)) * RATE_HZ)

    def moment_of(self, place: int, near_s: float) -> float:
        """When a sample was played, given a moment not far from it."""
        return self._zero_s(near_s) + place / RATE_HZ

    def level_before(self, place: int, seconds: float) -> int:
        """The loudest sample in the stretch before a place."""
        piece = self.samples[max(0, place - round(seconds * RATE_HZ)) : max(0, place)].astype(np.int32)
        return int(np.abs(piece).max()) if piece.size else 0

    def find(self, needle: NDArray[np.int16], from_s: float, until_s: float) -> float | None:
        """When the first sound like this began between two moments; None where there is none."""
        start = max(0, self.place_of(from_s))
        hay = self.samples[start : self.place_of(until_s) + needle.size].astype(np.float64)
        if hay.size < needle.size:
            return None
        likeness = _likeness(needle.astype(np.float64), hay)
        place = int(likeness.argmax())
        return self.moment_of(start + place, from_s) if likeness[place] >= FOUND else None

    def _zero_s(self, at_s: float) -> float:
        """The moment of sample 0 as the quickest arrivals near a moment tell it."""
        zeros = self.arrivals[:, 1] - self.arrivals[:, 0] / RATE_HZ
        near = np.abs(self.arrivals[:, 1] - at_s) <= NEAR_S
        return float(zeros[near].min() if near.any() else zeros.min())


def _likeness(needle: NDArray[np.float64], hay: NDArray[np.float64]) -> NDArray[np.float64]:
    """Normalised correlation at every place."""
    size = 1 << int(np.ceil(np.log2(hay.size + needle.size)))
    match = np.fft.irfft(np.fft.rfft(hay, size) * np.conj(np.fft.rfft(needle, size)), size)[: hay.size - needle.size + 1]
    energy = np.concatenate([[0.0], np.cumsum(hay**2)])
    under = energy[needle.size :] - energy[: -needle.size]
    return np.asarray(match / np.sqrt(np.maximum(under, 1.0) * float((needle**2).sum())), dtype=np.float64)
