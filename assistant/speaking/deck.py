"""What the audio callback plays: one track at a time, exchanged within a block, with a 5 ms fade. No device here."""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from assistant.clock import Clock
from assistant.speaking.levels import FADE_S, RATE_HZ, Samples

FADE: Final = int(FADE_S * RATE_HZ)


@dataclass(slots=True, eq=False)
class Track:
    """A sound on its way to the loudspeaker. The callback moves `position`, the player may lengthen `samples`."""

    samples: Samples
    position: int = 0
    done: threading.Event = field(default_factory=threading.Event)

    @property
    def left(self) -> int:
        """Samples not yet handed to the device."""
        return max(0, self.samples.size - self.position)


@dataclass(frozen=True, slots=True)
class Tap:
    """A block as it went to the loudspeaker."""

    at_sample: int
    "Position at 16 kHz since the clock's zero."
    samples: Samples


class Deck:
    """Hands the device its blocks. `fill` runs in the audio thread: it never waits, opens or allocates much."""

    def __init__(self, clock: Clock, keep: Callable[[Tap], None] | None = None) -> None:
        self.filled_at_ms = clock.now_ms()
        "When the device last asked for a block."
        self.latency_ms = 0
        "From handing over a sample to hearing it, as the device states it."
        self._clock = clock
        self._keep = keep
        self._playing: Track | None = None
        self._wanted: Track | None = None
        self._at_sample = -1

    def put(self, track: Track | None) -> None:
        """Play this from the next block on, and nothing else; None means silence."""
        self._wanted = track

    def fill(self, out: Samples) -> None:
        """Write the next block, mono, into `out`."""
        self.filled_at_ms = self._clock.now_ms()
        out.fill(0)
        wanted, old = self._wanted, self._playing
        if wanted is not None and wanted.done.is_set():
            wanted = None
        sounded = old is not None or wanted is not None
        if old is not None and old is not wanted:
            _fade_out(old, out)
        if wanted is not None:
            _copy(wanted, out)
        self._playing = wanted if wanted is not None and wanted.left else None
        self._keep_block(out, sounded=sounded)

    def _keep_block(self, out: Samples, *, sounded: bool) -> None:
        if not sounded:
            self._at_sample = -1
            return
        if self._at_sample < 0:
            self._at_sample = (self.filled_at_ms + self.latency_ms) * (RATE_HZ // 1000)
        if self._keep is not None:
            self._keep(Tap(self._at_sample, out.copy()))
        self._at_sample += out.size


def _copy(track: Track, out: Samples) -> None:
    samples, start = track.samples, track.position
    piece = samples[start : start + out.size]
    np.add(out[: piece.size], piece, out=out[: piece.size])
    track.position = start + piece.size
    if track.position >= track.samples.size:
        track.done.set()


def _fade_out(track: Track, out: Samples) -> None:
    piece = track.samples[track.position : track.position + min(FADE, out.size)]
    track.position += piece.size
    ramp = np.linspace(1.0, 0.0, piece.size, endpoint=False)
    out[: piece.size] = np.rint(piece * ramp).astype(np.int16)
    track.done.set()
