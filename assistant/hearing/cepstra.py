"""The 40 cepstra that the phone net listens to, frame by frame, as Kaldi computes them (no dither, no energy)."""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from assistant.hearing.blocks import Samples
from assistant.recipe import mel

Frames = NDArray[np.float32]


class CepstraStream:
    """Turns samples into frames: one each 10 ms for which a whole window of 25 ms has come."""

    def __init__(self) -> None:
        self._left = np.zeros(0, np.int16)

    def feed(self, samples: Samples) -> Frames:
        """The frames that these samples complete, shape (n, 40)."""
        waiting = np.concatenate([self._left, samples])
        count = max(0, 1 + (len(waiting) - mel.WINDOW) // mel.SHIFT)
        self._left = waiting[count * mel.SHIFT :]
        return cepstra(waiting) if count else np.zeros((0, mel.MEL_BINS), np.float32)


def cepstra(samples: Samples) -> Frames:
    """Cepstra of a stretch of at least one window.

    Source: Kaldi feat/feature-mfcc.cc and feature-window.cc (mean removed, pre-emphasis, povey window, mel filters,
    lifter); checked in the tests against kaldi-native-fbank.
    """
    windows = np.lib.stride_tricks.sliding_window_view(samples, mel.WINDOW)[:: mel.SHIFT].astype(np.float32)
    windows -= windows.mean(axis=1, keepdims=True)
    before = np.concatenate([windows[:, :1], windows[:, :-1]], axis=1)
    window, bank, cosines = _tables()
    spectrum = np.fft.rfft((windows - np.float32(0.97) * before) * window, mel.FFT)
    power = (spectrum.real**2 + spectrum.imag**2).astype(np.float32)
    return np.asarray(np.log(np.maximum(power @ bank, np.float32(mel.ENERGY_FLOOR))) @ cosines, np.float32)


@cache
def _tables() -> tuple[Frames, Frames, Frames]:
    window, bank, cosines = mel.window(), mel.mel_bank(), mel.cosine_table()
    return window.astype(np.float32), bank.astype(np.float32), cosines.astype(np.float32)
