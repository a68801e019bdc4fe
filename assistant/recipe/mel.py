"""The tables behind the features: conf/mfcc.conf in numbers. Source: Kaldi's feature extraction, whose reader is used."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np

RATE: Final = 16_000
WINDOW: Final = 400
SHIFT: Final = 160
FFT: Final = 512
MEL_BINS: Final = 40
LOW_HZ: Final = 20.0
HIGH_HZ: Final = 7600.0
LIFTER: Final = 22
ENERGY_FLOOR: Final = 1.1920929e-07


def _mel(hz: Any) -> Any:
    return 1127.0 * np.log(1 + hz / 700.0)


def mel_bank(warp: float = 1.0) -> np.ndarray[Any, np.dtype[np.float64]]:
    """[FFT/2+1, MEL_BINS] triangular weights, even in mel; with `warp` the frequency axis is stretched first."""
    hz = np.arange(FFT // 2 + 1) * RATE / FFT
    knee = 4800.0
    top = RATE / 2
    warped = np.where(hz < knee, hz * warp, knee * warp + (hz - knee) * (top - knee * warp) / (top - knee))
    low, high = _mel(LOW_HZ), _mel(HIGH_HZ)
    step = (high - low) / (MEL_BINS + 1)
    bank = np.zeros((FFT // 2 + 1, MEL_BINS))
    for index in range(MEL_BINS):
        left, centre, right = low + index * step, low + (index + 1) * step, low + (index + 2) * step
        mel = _mel(warped)
        rising, falling = (mel - left) / (centre - left), (right - mel) / (right - centre)
        bank[:, index] = np.where((mel > left) & (mel < right), np.minimum(rising, falling), 0)
    bank[-1] = 0
    return bank


def cosine_table() -> np.ndarray[Any, np.dtype[np.float64]]:
    """[MEL_BINS, MEL_BINS]: log mel energies times this give liftered cepstra."""
    k, m = np.arange(MEL_BINS)[:, None], np.arange(MEL_BINS)[None]
    table = np.sqrt(2.0 / MEL_BINS) * np.cos(math.pi / MEL_BINS * (m + 0.5) * k)
    table[0] = np.sqrt(1.0 / MEL_BINS)
    lift = 1 + 0.5 * LIFTER * np.sin(math.pi * np.arange(MEL_BINS) / LIFTER)
    out: np.ndarray[Any, np.dtype[np.float64]] = (table * lift[:, None]).T.copy()
    return out


def window() -> np.ndarray[Any, np.dtype[np.float64]]:
    """[WINDOW] the "povey" window."""
    at = np.arange(WINDOW)
    out: np.ndarray[Any, np.dtype[np.float64]] = (0.5 - 0.5 * np.cos(2 * math.pi * at / (WINDOW - 1))) ** 0.85
    return out
