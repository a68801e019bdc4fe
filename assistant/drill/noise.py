"""Background noise for a drill, made from arithmetic: a fan, a vacuum, people shouting. No recording is behind it."""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from assistant.hearing.blocks import RATE, Samples

LOOP_S: Final = 20.0
VOICE_DBFS: Final = -20.0
"""Level of the program's own voice, and of a recording at the usual level."""
Floats = NDArray[np.float64]


def fan(count: int, chance: np.random.Generator) -> Floats:
    """Air roar that falls with frequency, and the tones of the blades."""
    at = np.arange(count) / RATE
    tones = sum(np.sin(2 * np.pi * 118 * order * at + chance.uniform(0, 6)) / order for order in range(1, 8))
    return _unit(_roar(count, chance, 900.0)) + 0.6 * _unit(np.asarray(tones))


def vacuum(count: int, chance: np.random.Generator) -> Floats:
    """A broad hiss and the whine of a motor."""
    at = np.arange(count) / RATE
    phase = 2 * np.pi * 460 * (at + 0.004 * np.sin(2 * np.pi * 0.35 * at))
    whine = sum(np.sin(order * phase) / order for order in (1, 2, 3, 5, 8))
    return _unit(_roar(count, chance, 5000.0)) + 0.5 * _unit(np.asarray(whine))


def shouting(count: int, chance: np.random.Generator) -> Floats:
    """Three people calling out at once: voiced sounds that glide, in bursts like syllables; no words."""
    return _unit(sum((_caller(count, chance) for _ in range(3)), np.zeros(count)))


NOISES: Mapping[str, Callable[[int, np.random.Generator], Floats]] = MappingProxyType({
    "fan": fan, "vacuum": vacuum, "shouting": shouting,
})  # fmt: skip
"""Every kind of noise by its name."""


def noise_loop(kind: str, below_voice_db: float, seed: int = 7) -> Samples:
    """Twenty seconds of noise that can be repeated without a click.

    Args:
        kind: a key of NOISES.
        below_voice_db: how far its RMS lies under the voice; negative is louder.
        seed: the same seed gives the same noise.
    """
    fade = RATE // 4
    count = round(LOOP_S * RATE)
    made = _unit(NOISES[kind](count + fade, np.random.default_rng(seed)))
    ramp = np.sqrt(np.linspace(0.0, 1.0, fade))
    made[:fade] = made[:fade] * ramp + made[count:] * ramp[::-1]
    level = 10 ** ((VOICE_DBFS - below_voice_db) / 20)
    return (np.clip(_unit(made[:count]) * level, -1.0, 32767 / 32768) * 32768).astype(np.int16)


def _roar(count: int, chance: np.random.Generator, corner_hz: float) -> Floats:
    spectrum = np.fft.rfft(chance.standard_normal(count))
    hz = np.fft.rfftfreq(count, 1 / RATE)
    return np.asarray(np.fft.irfft(spectrum / np.sqrt(1 + (hz / corner_hz) ** 2), n=count))


def _caller(count: int, chance: np.random.Generator) -> Floats:
    voice = np.zeros(count)
    place = int(chance.uniform(0, RATE))
    while place < count:
        length = int(chance.uniform(0.12, 0.4) * RATE)
        voice[place : place + length] += _syllable(length, chance)[: max(0, count - place)]
        place += length + int(chance.exponential(0.25) * RATE)
    return voice


def _syllable(length: int, chance: np.random.Generator) -> Floats:
    at = np.arange(length) / RATE
    pitch_hz = chance.uniform(150, 330) * (1 + chance.uniform(-0.3, 0.3) * at / max(at[-1], 1e-3))
    phase = 2 * np.pi * np.cumsum(pitch_hz) / RATE
    first_hz, second_hz = chance.uniform(350, 900), chance.uniform(1000, 2300)
    sound = np.zeros(length)
    for order in range(1, 16):
        hz = order * float(pitch_hz.mean())
        near = np.exp(-(((hz - first_hz) / 200) ** 2)) + 0.5 * np.exp(-(((hz - second_hz) / 300) ** 2)) + 0.02
        sound += near * np.sin(order * phase)
    return np.asarray(sound * np.hanning(length))


def _unit(samples: Floats) -> Floats:
    return np.asarray(samples / max(1e-12, float(np.sqrt(np.mean(np.square(samples))))))
