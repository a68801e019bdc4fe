"""Kaldi's MFCC in torch, for whole batches: the same numbers that the recogniser computes from conf/mfcc.conf."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import torch

RATE: Final = 16_000
WINDOW: Final = 400
SHIFT: Final = 160
FFT: Final = 512
MEL_BINS: Final = 40
LOW_HZ: Final = 20.0
HIGH_HZ: Final = 7600.0
LIFTER: Final = 22
ENERGY_FLOOR: Final = 1.1920929e-07
WARPS: Final = (1.0, 0.87, 0.90, 0.93, 0.96, 1.04, 1.07, 1.10, 1.13, 1.16)
"""Vocal-tract warps for training: factor by which frequencies below 4.8 kHz are read off; index 0 is none."""


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


class Mfcc(torch.nn.Module):
    """Samples [batch, n] at int16 scale to cepstra [batch, frames, 40]: povey window, snip edges, no dither, no energy."""

    def __init__(self) -> None:
        super().__init__()
        at = torch.arange(WINDOW, dtype=torch.float64)
        window = (0.5 - 0.5 * torch.cos(2 * math.pi * at / (WINDOW - 1))) ** 0.85
        self.register_buffer("window", window.float())
        banks = np.stack([mel_bank(warp) for warp in WARPS])
        self.register_buffer("banks", torch.from_numpy(banks).float())
        self.register_buffer("cosines", torch.from_numpy(cosine_table()).float())

    def log_mel(self, samples: Any, warp: Any = None) -> Any:
        """Log mel energies [batch, frames, 40]; `warp` [batch] indexes WARPS."""
        frames = samples.unfold(1, WINDOW, SHIFT)
        frames = frames - frames.mean(2, keepdim=True)
        frames = frames - 0.97 * torch.cat([frames[..., :1], frames[..., :-1]], 2)
        spectrum = torch.fft.rfft(frames * self.window, n=FFT)
        power = spectrum.real**2 + spectrum.imag**2
        mel = power @ self.banks[0] if warp is None else torch.bmm(power, self.banks[warp])
        return mel.clamp(min=ENERGY_FLOOR).log()

    def forward(self, samples: Any) -> Any:
        """Cepstra of unwarped audio."""
        return self.log_mel(samples) @ self.cosines
