"""How loud it is: level, clipping, noise floor and signal to noise, of a phrase or of all that was heard."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from assistant.hearing.blocks import RATE, Block
from protocol.headset import SILENCE_DBFS, Sound

FULL_SCALE = 32768.0
FLOOR_SHARE = 0.15
"""The noise floor is the level that the quietest 15 of 100 blocks stay under: minimum statistics, common practice."""
SPEECH_SHARE = 0.9
"""Where nothing says which blocks are speech, it is the level of the loudest tenth."""
FLOOR_S = 5.0
"""The noise floor of a phrase is looked for in so much sound before it."""
LEAST_FLOOR_S = 0.5
KEPT_BLOCKS = 200
"""Twelve seconds: the floor's and the longest phrase."""


@dataclass(frozen=True, slots=True)
class _Row:
    middle_s: float
    samples: int
    power: float
    peak: int
    clipped: int


class LevelMeter:
    """Levels of the last blocks that it was given."""

    def __init__(self, keep_blocks: int = KEPT_BLOCKS) -> None:
        self._rows: deque[_Row] = deque(maxlen=keep_blocks)
        self.heard_s = 0.0
        """Of sound so far."""

    def feed(self, block: Block) -> None:
        """Take a block."""
        count = len(block.samples)
        if not count:
            return
        loud = np.abs(block.samples.astype(np.float32))
        power, clipped = float(loud @ loud) / count, int(np.count_nonzero(loud >= FULL_SCALE - 2))
        self._rows.append(_Row(block.start_s + block.duration_s / 2, count, power, int(loud.max()), clipped))
        self.heard_s += block.duration_s

    def phrase(self, start_s: float, end_s: float) -> Sound | None:
        """What was measured while a phrase was said and in the quiet before it; None if that is not kept any more."""
        said = [row for row in self._rows if start_s <= row.middle_s <= end_s]
        before = [row for row in self._rows if start_s - FLOOR_S <= row.middle_s < start_s]
        if not said:
            return None
        enough = sum(row.samples for row in before) >= LEAST_FLOOR_S * RATE
        power = sum(row.power * row.samples for row in said) / sum(row.samples for row in said)
        return _sound(said, power, _share(before, FLOOR_SHARE) if enough else None)

    def report(self) -> Sound:
        """What was measured in all that is kept; silence when nothing is."""
        if not self._rows:
            return Sound(SILENCE_DBFS, None, SILENCE_DBFS, 0.0)
        rows = list(self._rows)
        return _sound(rows, _share(rows, SPEECH_SHARE), _share(rows, FLOOR_SHARE))


def dbfs(rms: float) -> float:
    """An amplitude in decibels of full scale, to a tenth."""
    return SILENCE_DBFS if rms < 1e-3 else round(min(0.0, 20 * float(np.log10(rms / FULL_SCALE))), 1) + 0.0


def _share(rows: Sequence[_Row], share: float) -> float:
    return float(np.quantile([row.power for row in rows], share))


def _sound(rows: Sequence[_Row], power: float, floor: float | None) -> Sound:
    samples = sum(row.samples for row in rows)
    return Sound(
        speech_dbfs=dbfs(power**0.5),
        floor_dbfs=None if floor is None else dbfs(floor**0.5),
        peak_dbfs=dbfs(max(row.peak for row in rows)),
        clipped_share=round(sum(row.clipped for row in rows) / samples, 5),
    )
