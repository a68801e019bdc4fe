"""Invented machine noise on the training device: fans with blade-pass tones, vacuums, engines, augers, impacts, hum.

Every function returns [count, samples] of unit RMS. No recording stands behind them; ranges are common practice, no source.
"""

from __future__ import annotations

import math
from typing import Any, Final

import torch

RATE: Final = 16_000
ANCHORS: Final = 14


def uniform(count: tuple[int, ...] | int, low: float, high: float, device: str) -> Any:
    """Uniform draws on the device."""
    return torch.rand(count, device=device) * (high - low) + low


def rms(samples: Any) -> Any:
    """[rows, 1] root mean square."""
    return samples.pow(2).mean(1, keepdim=True).sqrt() + 1e-6


def unit(samples: Any) -> Any:
    """Scaled to unit RMS."""
    return samples / rms(samples)


def colour_db(rows: int, bins: int, spread_db: float, tilt: tuple[float, float], device: str) -> Any:
    """[rows, bins] smooth random gain in dB over 0..8 kHz: noise at 14 log-spaced anchors plus a tilt in dB/octave."""
    hz = torch.linspace(0, RATE / 2, bins, device=device).clamp(min=40)
    position = (torch.log2(hz / 40) / math.log2(200) * (ANCHORS - 1)).clamp(0, ANCHORS - 1.001)
    index = position.long()
    part = position - index
    anchors = torch.randn(rows, ANCHORS, device=device) * spread_db
    tilts = uniform((rows, 1), *tilt, device)
    return anchors[:, index] * (1 - part) + anchors[:, index + 1] * part + tilts * torch.log2(hz / 1000)


def coloured(white: Any, spread_db: float, tilt: tuple[float, float]) -> Any:
    """Noise with a random smooth spectrum."""
    rows, samples = white.shape
    spectrum = torch.fft.rfft(white)
    gain = colour_db(rows, spectrum.shape[1], spread_db, tilt, str(white.device)).clamp(-60, 45)
    return unit(torch.fft.irfft(spectrum * 10 ** (gain / 20), n=samples))


def tones(rows: int, samples: int, low_hz: float, high_hz: float, device: str, harmonics: int = 16) -> Any:
    """A wavering fundamental between the limits (log-uniform) with harmonics: blade pass, motor whine, firing order, hum."""
    at = torch.arange(samples, device=device) / RATE
    base = low_hz * (high_hz / low_hz) ** torch.rand(rows, 1, device=device)
    waver = uniform((rows, 1), 0.1, 4, device)
    depth = uniform((rows, 1), 0, 0.004, device)
    run_up = uniform((rows, 1), -0.03, 0.03, device)
    phase = 2 * math.pi * base * (at + depth * torch.sin(2 * math.pi * waver * at) + run_up * at**2 / 8)
    fall = uniform((rows, 1), 0.45, 1.0, device)
    total = torch.zeros(rows, samples, device=device)
    for harmonic in range(1, harmonics + 1):
        strength = torch.rand(rows, 1, device=device) ** 2 * fall**harmonic * (harmonic * base < 7500)
        total += strength * torch.sin(harmonic * phase + 2 * math.pi * torch.rand(rows, 1, device=device))
    return unit(total)


def impacts(rows: int, samples: int, device: str) -> Any:
    """Random or near-periodic knocks and rattle: sparse pulses ringing through short coloured decays."""
    rate = 1.5 * 40 ** torch.rand(rows, 1, device=device)
    pulses = (torch.rand(rows, samples, device=device) < rate / RATE).float()
    pulses = pulses * torch.randn(rows, samples, device=device)
    at = torch.arange(samples, device=device) / RATE
    ringing = torch.randn(rows, samples, device=device) * torch.exp(-at / uniform((rows, 1), 0.002, 0.06, device))
    ring = torch.fft.rfft(ringing)
    gain = colour_db(rows, ring.shape[1], 8.0, (-5, 3), device).clamp(-50, 40)
    out = torch.fft.irfft(torch.fft.rfft(pulses) * ring * 10 ** (gain / 20), n=samples)
    return unit(out + 1e-4 * torch.randn(rows, samples, device=device))


def _beating(samples: Any, base_hz: Any, depth: Any) -> Any:
    """Amplitude beating: slow surges times a faster flutter, as of blades, pistons or a drum."""
    rows, count = samples.shape
    device = str(samples.device)
    at = torch.arange(count, device=device) / RATE
    slow = 1 + 0.5 * depth * torch.sin(2 * math.pi * uniform((rows, 1), 0.1, 2, device) * at + base_hz)
    wave = torch.sin(2 * math.pi * base_hz * at)
    return samples * slow * (1 + depth * wave * wave.abs())


def machines(rows: int, samples: int, device: str) -> Any:
    """A random machine in each row: airflow or grinding noise, tones, knocks, beating, in random proportions."""
    third = rows // 3
    low = tones(third, samples, 18, 140, device, harmonics=20)
    middle = tones(third, samples, 90, 420, device)
    high = tones(rows - 2 * third, samples, 200, 1600, device, harmonics=8)
    tonal = torch.cat([low, middle, high])
    flow = coloured(torch.randn(rows, samples, device=device), 6.0, (-7, 2))
    flow = _beating(flow, uniform((rows, 1), 0.5, 60, device), uniform((rows, 1), 0, 0.7, device) ** 2)
    knocks = impacts(rows, samples, device)
    tone_gain = 10 ** (uniform((rows, 1), -30, 4, device) / 20)
    knock_gain = 10 ** (uniform((rows, 1), -40, 3, device) / 20)
    mixed = flow + tonal * tone_gain + knocks * knock_gain
    return unit(mixed[torch.randperm(rows, device=device)])
