"""How loud it is: level, clipping, noise floor, signal to noise, and a plain verdict before a run."""

from collections import deque
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from assistant.hearing.blocks import Block

FULL_SCALE = 32768.0
SILENCE_DBFS = -120.0
FLOOR_SHARE = 0.15
"""The noise floor is the level that the quietest 15 of 100 blocks stay under: minimum statistics, common practice."""
SPEECH_SHARE = 0.9
"""Speech is the level of the loudest tenth of the blocks."""
CLIPPED_SHARE = 0.001
QUIET_DBFS = -45.0
ENOUGH_DB = 10.0
LITTLE_DB = 3.0
"""With less than 3 dB of speech over noise about a fifth of the phrases must be said again (tuning voices, fan)."""


class Verdict(StrEnum):
    """What to do with this headset here."""

    GOOD = "good"
    CLIPPING = "too loud: move the microphone away from the mouth or turn it down"
    QUIET = "too quiet: is this the right microphone? Raise the boom to the mouth"
    RAISE = "raise the boom to the corner of the mouth and speak up"
    NOISY = "too noisy for voice: use the board or the keyboard"


@dataclass(frozen=True, slots=True)
class LevelReport:
    """What was measured."""

    speech_dbfs: float
    floor_dbfs: float
    peak_dbfs: float
    clipped_share: float
    verdict: Verdict

    @property
    def snr_db(self) -> float:
        """Speech over noise, in decibels."""
        return self.speech_dbfs - self.floor_dbfs

    def in_words(self) -> str:
        """One line."""
        return (
            f"Speech {self.speech_dbfs:.0f} dBFS, noise floor {self.floor_dbfs:.0f} dBFS, "
            f"{self.snr_db:.0f} dB between, peak {self.peak_dbfs:.0f} dBFS. Verdict: {self.verdict.value}."
        )


class LevelMeter:
    """Levels of the blocks that it was given."""

    def __init__(self, keep_blocks: int = 2000) -> None:
        self._levels: deque[float] = deque(maxlen=keep_blocks)
        self._peak = 0
        self._clipped = 0
        self._samples = 0

    def feed(self, block: Block) -> None:
        """Take a block."""
        wide = block.samples.astype(np.float64)
        if not wide.size:
            return
        self._levels.append(dbfs(float(np.sqrt(np.mean(wide**2)))))
        self._peak = max(self._peak, int(np.abs(wide).max()))
        self._clipped += int(np.count_nonzero(np.abs(wide) >= FULL_SCALE - 2))
        self._samples += wide.size

    def report(self) -> LevelReport:
        """What was measured so far; silence when nothing was."""
        if not self._levels:
            return LevelReport(SILENCE_DBFS, SILENCE_DBFS, SILENCE_DBFS, 0.0, Verdict.QUIET)
        floor, speech = (float(np.quantile(list(self._levels), share)) for share in (FLOOR_SHARE, SPEECH_SHARE))
        clipped = self._clipped / self._samples
        return LevelReport(speech, floor, dbfs(self._peak), clipped, _verdict(speech, floor, clipped))


def dbfs(rms: float) -> float:
    """An amplitude in decibels of full scale."""
    return SILENCE_DBFS if rms < 1e-3 else max(SILENCE_DBFS, 20 * float(np.log10(rms / FULL_SCALE)))


def _verdict(speech: float, floor: float, clipped: float) -> Verdict:
    if clipped > CLIPPED_SHARE:
        return Verdict.CLIPPING
    if speech < QUIET_DBFS:
        return Verdict.QUIET
    if speech - floor >= ENOUGH_DB:
        return Verdict.GOOD
    return Verdict.RAISE if speech - floor >= LITTLE_DB else Verdict.NOISY
