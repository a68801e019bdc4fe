"""Noise, mixtures and streams of speech for the hearing measurement; every draw comes from a named seed."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from assistant.hearing.blocks import RATE, Samples

Wave = NDArray[np.float64]
LEAD_S, TAIL_S = 0.8, 1.3
"""Noise before and after a phrase."""
LEVEL_DB = (-32.0, -16.0)
"""Speech-active level of a mixture, dBFS: drawn between these."""
ACTIVE_DB = 30.0
"""A frame of 20 ms is speech when it lies less than this under the loudest."""


def read(path: Path) -> Wave:
    """A recording at 16 kHz, one channel, full scale 1."""
    samples, rate = soundfile.read(path, dtype="float64", always_2d=True)
    assert rate == RATE, f"{path}: {rate} samples a second"
    return np.asarray(samples[:, 0])


def frames_power(wave: Wave) -> Wave:
    """Power of each 20 ms."""
    return np.asarray((wave[: len(wave) // 320 * 320].reshape(-1, 320) ** 2).mean(axis=1))


def active_rms(wave: Wave) -> float:
    """RMS of the frames that are speech."""
    power = frames_power(wave)
    return float(np.sqrt(power[power > power.max() * 10 ** (-ACTIVE_DB / 10)].mean()))


def speech_end_s(wave: Wave) -> float:
    """When the last frame of speech ends."""
    power = frames_power(wave)
    return float((np.flatnonzero(power > power.max() * 10 ** (-ACTIVE_DB / 10))[-1] + 1) * 0.02)


def mixed(wave: Wave, noise: Wave | None, snr_db: float | None, rng: np.random.Generator) -> Samples:
    """Speech in noise: speech-active RMS over noise RMS is `snr_db`; None gives a quiet room (-75 dBFS)."""
    level = 10 ** (rng.uniform(*LEVEL_DB) / 20)
    voice = wave * (level / active_rms(wave))
    if noise is None or snr_db is None:
        noise = rng.standard_normal(len(wave)) * 10 ** (-75 / 20)
    else:
        noise = noise[: len(wave)] * (level * 10 ** (-snr_db / 20) / np.sqrt((noise[: len(wave)] ** 2).mean()))
    return as_int16(voice + noise)


def as_int16(wave: Wave) -> Samples:
    """Clipped at full scale."""
    return (np.clip(wave, -1, 32767 / 32768) * 32768).astype(np.int16)


def padded(wave: Wave, lead_s: float = LEAD_S, tail_s: float = TAIL_S) -> Wave:
    """Silence around it."""
    return np.concatenate([np.zeros(int(lead_s * RATE)), wave, np.zeros(int(tail_s * RATE))])


def shaped(rng: np.random.Generator, count: int, tilt_db: float, bumps: int) -> Wave:
    """Noise with a spectral tilt in dB per octave and broad bumps."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    octave = np.log2(np.maximum(np.fft.rfftfreq(count, 1 / RATE), 40) / 1000)
    gain_db = tilt_db * octave
    for _ in range(bumps):
        gain_db = gain_db + rng.uniform(-8, 8) * np.exp(-(((octave - rng.uniform(-4, 3)) / rng.uniform(0.3, 1)) ** 2))
    wave = np.fft.irfft(spectrum * 10 ** (gain_db / 20), count)
    return np.asarray(wave / wave.std())


def tones(rng: np.random.Generator, count: int, base_hz: float, harmonics: int) -> Wave:
    """A wavering fundamental with harmonics."""
    at = np.arange(count) / RATE
    waver = rng.uniform(0, 0.003) * np.sin(2 * np.pi * rng.uniform(0.1, 2) * at)
    wave = np.zeros(count)
    for harmonic in range(1, harmonics + 1):
        if base_hz * harmonic < 7500:
            part = rng.uniform(0, 1) * rng.uniform(0.5, 1) ** harmonic
            wave += part * np.sin(2 * np.pi * harmonic * base_hz * (at + waver) + rng.uniform(0, 6.28))
    return np.asarray(wave / (wave.std() + 1e-9))


def fan(rng: np.random.Generator, count: int) -> Wave:
    """Air flow with blade-pass tones, 60 to 300 Hz."""
    flow = shaped(rng, count, rng.uniform(-6, -1), 2)
    return flow + rng.uniform(0.1, 0.8) * tones(rng, count, rng.uniform(60, 300), 8)


def vacuum(rng: np.random.Generator, count: int) -> Wave:
    """A whining motor in broad noise."""
    return shaped(rng, count, rng.uniform(-3, 1), 4) + rng.uniform(0.1, 0.7) * tones(rng, count, rng.uniform(250, 900), 8)


def engine(rng: np.random.Generator, count: int) -> Wave:
    """A firing order with its harmonics in low noise."""
    flow = shaped(rng, count, rng.uniform(-7, -3), 3)
    return flow + rng.uniform(0.3, 1.2) * tones(rng, count, rng.uniform(18, 90), 20)


def rattle(rng: np.random.Generator, count: int) -> Wave:
    """Knocks that ring through a short decay, over a murmur."""
    knocks = (rng.random(count) < rng.uniform(1.5, 40) / RATE) * rng.standard_normal(count)
    ring = rng.standard_normal(1600) * np.exp(-np.arange(1600) / RATE / rng.uniform(0.003, 0.04))
    size = count + 1600
    hit = np.fft.irfft(np.fft.rfft(knocks, size) * np.fft.rfft(ring, size), size)[:count]
    return np.asarray(hit / (hit.std() + 1e-9) + 0.2 * shaped(rng, count, -3, 2))


INVENTED = {"fan": fan, "vacuum": vacuum, "engine": engine, "rattle": rattle}


def looped(clips: Sequence[Wave], rng: np.random.Generator, count: int) -> Wave:
    """A stretch of one of these recordings, from anywhere, repeated as often as needed."""
    clip = clips[rng.integers(len(clips))]
    long = np.tile(clip, count // len(clip) + 2)
    start = int(rng.integers(len(clip)))
    return np.asarray(long[start : start + count])


def joined(waves: Iterable[Wave], rng: np.random.Generator, most_s: float) -> Iterator[Wave]:
    """Recordings one after another with 0.2 to 0.6 s between them, in pieces of about a minute."""
    piece: list[Wave] = []
    total = whole = 0
    for wave in waves:
        if whole > most_s * RATE:
            break
        gap = np.zeros(int(rng.uniform(0.2, 0.6) * RATE))
        piece += [wave, gap]
        total += len(wave) + len(gap)
        whole += len(wave) + len(gap)
        if total > 60 * RATE:
            yield np.concatenate(piece)
            piece, total = [], 0
    if piece:
        yield np.concatenate(piece)
