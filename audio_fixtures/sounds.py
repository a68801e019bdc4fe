"""Machine noise made from arithmetic: an aeration fan, a vacuum, an engine."""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

RATE: Final = 16_000
Samples = NDArray[np.float64]


def fan(seconds: float, seed: int, blade_pass_hz: float = 118.0) -> Samples:
    """An axial fan: air roar falling with frequency, blade-pass tones that waver a little. RMS 1."""
    chance = np.random.default_rng(seed)
    count = int(seconds * RATE)
    roar = lfilter([1.0], [1.0, -0.92], chance.standard_normal(count)) + 0.35 * chance.standard_normal(count)
    waver = 1 + 0.004 * _slow(count, chance, 0.7)
    phase = 2 * np.pi * np.cumsum(blade_pass_hz * waver) / RATE
    tones = sum(np.sin(order * phase + chance.uniform(0, 6)) / order**0.8 for order in range(1, 9))
    return level(level(roar) + 0.6 * level(tones) * (1 + 0.15 * _slow(count, chance, 2.0)))


def vacuum(seconds: float, seed: int) -> Samples:
    """A wet and dry vacuum: broad hiss, a motor whine and its harmonics. RMS 1."""
    chance = np.random.default_rng(seed)
    count = int(seconds * RATE)
    hiss = lfilter([1.0, -0.6], [1.0, -0.55], chance.standard_normal(count))
    phase = 2 * np.pi * np.cumsum(460 * (1 + 0.01 * _slow(count, chance, 0.4))) / RATE
    whine = sum(np.sin(order * phase) / order for order in (1, 2, 3, 5, 8))
    return level(level(hiss) + 0.5 * level(whine))


def engine(seconds: float, seed: int) -> Samples:
    """A diesel at idle: firing pulses with their harmonics and a rattle. RMS 1."""
    chance = np.random.default_rng(seed)
    count = int(seconds * RATE)
    phase = np.cumsum(27 * (1 + 0.02 * _slow(count, chance, 1.0))) / RATE
    pulse = np.exp(-18 * (phase % 1.0)) * (0.8 + 0.2 * chance.standard_normal(count))
    rumble = lfilter([1.0], [1.0, -0.97], chance.standard_normal(count))
    return level(level(pulse - pulse.mean()) + 0.5 * level(rumble))


def level(samples: Samples) -> Samples:
    """The same at RMS 1."""
    return np.asarray(samples / max(1e-12, float(np.sqrt(np.mean(np.square(samples))))), dtype=np.float64)


def _slow(count: int, chance: np.random.Generator, rate_hz: float) -> Samples:
    """A smooth random wander around zero, about one turn in 1/rate_hz seconds."""
    knots = chance.standard_normal(max(4, int(count / RATE * rate_hz) + 4))
    return np.interp(np.linspace(0, len(knots) - 1, count), np.arange(len(knots)), knots)
