"""A tiny random phone net, and features computed from the published definition, for the recipe's tests."""

import numpy as np
from numpy.typing import NDArray

from assistant.recipe import mel
from assistant.recipe.phone_net import Affine, PhoneNet, Residual
from assistant.recipe.phones import PDF_COUNT


def tiny_net(seed: int, hidden: int = 12, narrow: int = 6) -> PhoneNet:
    """Uneven reach to the left and right, so that a swapped offset shows."""
    draw = np.random.default_rng(seed)

    def affine(rows: int, columns: int, offsets: tuple[int, ...], scale: float = 1.0) -> Affine:
        weight = draw.normal(size=(rows, columns * len(offsets))) * scale / np.sqrt(columns * len(offsets))
        return Affine(weight, draw.normal(size=rows) * 0.1, offsets)

    front = (affine(10, mel.MEL_BINS, (-1, 0, 1), 0.1), affine(hidden, 10, (-1, 0, 1)))
    blocks = (
        Residual(affine(narrow, hidden, (-3, 0)), affine(hidden, narrow, (0, 3))),
        Residual(affine(narrow, hidden, (-6, 0)), affine(hidden, narrow, (0,))),
    )
    return PhoneNet(front, blocks, affine(PDF_COUNT, hidden, (0,), 2.0), draw.dirichlet(np.ones(PDF_COUNT)))


def cepstra(samples: NDArray[np.int16]) -> NDArray[np.float64]:
    """[frames, 40] cepstra of 16 kHz samples, frame by frame as the definition reads."""
    rows = []
    for start in range(0, len(samples) - mel.WINDOW + 1, mel.SHIFT):
        frame = samples[start : start + mel.WINDOW].astype(np.float64)
        frame -= frame.mean()
        frame -= 0.97 * np.concatenate([frame[:1], frame[:-1]])
        power = np.abs(np.fft.rfft(frame * mel.window(), mel.FFT)) ** 2
        rows.append(np.log(np.maximum(power @ mel.mel_bank(), mel.ENERGY_FLOOR)) @ mel.cosine_table())
    return np.array(rows)
