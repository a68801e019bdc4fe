"""Sound as it travels through the program: 16 kHz, one channel, 16 bit."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

RATE = 16_000
"""Samples a second everywhere inside."""
BLOCK_S = 0.06
"""Length of a block."""
Samples = NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of sound."""

    samples: Samples
    """Shape (n,), int16, 16 kHz."""
    start_s: float
    """Since the source was opened."""
    overflow: bool = False
    """Sound before this block was lost."""

    @property
    def duration_s(self) -> float:
        """Its length."""
        return len(self.samples) / RATE

    @property
    def end_s(self) -> float:
        """Where it ends."""
        return self.start_s + self.duration_s


class AudioSource(Protocol):
    """Where blocks come from."""

    def read(self, timeout_s: float) -> Block | None:
        """The next block; None when none came in time or the source has ended (see `ended`)."""
        ...

    @property
    def ended(self) -> bool:
        """Whether no block will come any more."""
        ...

    def close(self) -> None:
        """Let go of the device or file."""
        ...
