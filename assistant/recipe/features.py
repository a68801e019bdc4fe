"""Kaldi's MFCC in torch, for whole batches: the same numbers that the recogniser computes from conf/mfcc.conf."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import torch

from assistant.recipe.mel import ENERGY_FLOOR, FFT, SHIFT, WINDOW, cosine_table, mel_bank, window

WARPS: Final = (1.0, 0.80, 0.84, 0.87, 0.90, 0.93, 0.96, 1.04, 1.07, 1.10, 1.13, 1.16, 1.20, 1.25)
"""Vocal-tract warps for training: factor by which frequencies below 4.8 kHz are read off; index 0 is none."""


class Mfcc(torch.nn.Module):
    """Samples [batch, n] at int16 scale to cepstra [batch, frames, 40]: povey window, snip edges, no dither, no energy."""

    def __init__(self) -> None:
        super().__init__()
        self.register_buffer("window", torch.from_numpy(window()).float())
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
