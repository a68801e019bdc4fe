"""Turns clean clips into what a headset in a steel bin may hear, whole batches at a time on the training device."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import torch

from assistant.recipe.machine_noise import RATE, colour_db, machines, rms, uniform, unit

TAIL: Final = 8_000
"""Samples of room tail kept beside a clip before the transform wraps round."""


def good_length(least: int) -> int:
    """The smallest 2^a 3^b 5^c at or above `least`: a fast transform size."""
    best = 1 << (least - 1).bit_length()
    for fives in (1, 5, 25, 125):
        for threes in (1, 3, 9, 27):
            size = fives * threes
            while size < least:
                size *= 2
            best = min(best, size)
    return best


@dataclass(frozen=True, slots=True)
class Sounds:
    """What clips are mixed with: joined noise recordings, where each lies (start, length), and room responses."""

    noise: Any
    spans: Any
    rooms: Any


def recorded(sounds: Sounds, rows: int, samples: int) -> Any:
    """Pieces of recorded noise, long recordings likelier, unit RMS."""
    device = sounds.noise.device
    weights = sounds.spans[:, 1].float().clamp(max=40 * RATE).sqrt()
    spans = sounds.spans[torch.multinomial(weights, rows, replacement=True)]
    starts = (torch.rand(rows, 1, device=device) * spans[:, 1:]).long()
    at = spans[:, :1] + (starts + torch.arange(samples, device=device)) % spans[:, 1:]
    return unit(sounds.noise[at].float())


def invented_rooms(rows: int, samples: int, device: str) -> Any:
    """Decaying-noise rooms from a closet to a long-ringing steel bin, unit energy, direct sound first."""
    at = torch.arange(samples, device=device) / RATE
    decay_s = 0.05 * 50 ** torch.rand(rows, 1, device=device)
    late = torch.randn(rows, samples, device=device) * torch.exp(-6.9 * at / decay_s)
    late = late * (at > uniform((rows, 1), 0.001, 0.012, device))
    wet_db = uniform((rows, 1), -24, 3, device) - 6 * (decay_s > 1).float()
    late = late / (late.pow(2).sum(1, keepdim=True).sqrt() + 1e-6) * 10 ** (wet_db / 20)
    late[:, 0] = 1
    return late / late.pow(2).sum(1, keepdim=True).sqrt()


def _speech_gain(samples: Any, active: Any) -> Any:
    return samples / ((samples.pow(2).sum(1) / active).sqrt()[:, None] + 1e-3)


def _colour_and_room(samples: Any, sounds: Sounds, strength: float) -> Any:
    """Microphone colour, dust mask, raised voice (tilt) and room, in one transform."""
    rows, count = samples.shape
    device = str(samples.device)
    size = good_length(count + TAIL)
    spectrum = torch.fft.rfft(samples, n=size)
    bins = spectrum.shape[1]
    hz = torch.linspace(0, RATE / 2, bins, device=device).clamp(min=10)
    gain = colour_db(rows, bins, 3.0, (-2, 3.0), device) * (torch.rand(rows, 1, device=device) < 0.65 * strength)
    mask = uniform((rows, 1), 3, 14, device) * torch.log2(hz / uniform((rows, 1), 700, 3000, device)).clamp(min=0)
    gain = gain - mask * (torch.rand(rows, 1, device=device) < 0.22 * strength)
    measured = sounds.rooms[torch.randint(len(sounds.rooms), (rows,), device=device), :TAIL]
    from_life = torch.rand(rows, 1, device=device) < 0.4
    room = torch.where(from_life, measured, invented_rooms(rows, TAIL, device))
    direct = torch.zeros_like(room)
    direct[:, 0] = 1
    room = torch.where(torch.rand(rows, 1, device=device) < 0.45 * strength, room, direct)
    shaped = spectrum * 10 ** (gain.clamp(-70, 30) / 20) * torch.fft.rfft(room, n=size)
    return torch.fft.irfft(shaped, n=size)[:, :count]


def _babble(clean: Any, sounds: Sounds) -> Any:
    """Other clips of the batch talking at once, few or many."""
    rows, count = clean.shape
    device = clean.device
    total = torch.zeros_like(clean)
    for _ in range(int(torch.randint(1, 8, ()))):
        order = torch.randperm(rows, device=device)
        total += clean[order].roll(int(torch.randint(count, ())), 1)
    del sounds
    return unit(total)


def noises(clean: Any, sounds: Sounds) -> Any:
    """A noise for each row, unit RMS; rows come in random order, so fixed shares of the batch are random shares."""
    rows, count = clean.shape
    device = str(clean.device)
    made, both, talk = int(0.46 * rows), int(0.14 * rows), int(0.12 * rows)
    out = torch.empty_like(clean)
    machine = machines(made + both, count, device)
    real = recorded(sounds, rows - made, count)
    spectrum = torch.fft.rfft(real)
    real = unit(torch.fft.irfft(spectrum * 10 ** (colour_db(len(real), spectrum.shape[1], 3.0, (-2, 2), device).clamp(-40, 30) / 20), n=count))
    out[:made] = machine[:made]
    out[made : made + both] = machine[made:] * 0.6 + real[:both] * uniform((both, 1), 0.2, 1.0, device)
    out[made + both :] = real[both:]
    if talk:
        babble = _babble(clean, sounds)[-talk:]
        out[-talk:] = babble + out[-talk:] * uniform((talk, 1), 0.0, 0.6, device)
    return unit(out)


def _signal_to_noise_db(rows: int, speech: Any, strength: float) -> Any:
    """Most rows noisy, a fifth nearly clean; begins at 14 dB or better and ramps down to -7 dB with `strength`."""
    device = str(speech.device)
    low = 14 - 21 * strength
    ratio = uniform(rows, low, 24, device)
    quiet = torch.rand(rows, device=device) < 0.2 + 0.4 * (1 - strength)
    ratio = torch.where(quiet, uniform(rows, 24, 60, device), ratio)
    talk = int(0.12 * rows)
    if talk:
        ratio[-talk:] = ratio[-talk:].clamp(min=4)
    return torch.where(speech, ratio, torch.zeros_like(ratio))


def _radio(samples: Any) -> Any:
    """Band-limited as a radio or telephone."""
    rows, count = samples.shape
    device = str(samples.device)
    spectrum = torch.fft.rfft(samples)
    hz = torch.linspace(0, RATE / 2, spectrum.shape[1], device=device).clamp(min=10)
    low, high = uniform((rows, 1), 120, 450, device), uniform((rows, 1), 2700, 4200, device)
    slope = uniform((rows, 1), 18, 60, device)
    lost = (slope * torch.log2(low / hz).clamp(min=0) + slope * torch.log2(hz / high).clamp(min=0)).clamp(max=70)
    return torch.fft.irfft(spectrum * 10 ** (-lost / 20), n=count)


def _companded(samples: Any) -> Any:
    """Eight-bit mu-law, there and back; input within -1..1."""
    coded = torch.sign(samples) * torch.log1p(255 * samples.abs()) / math.log(256)
    coded = (coded * 127).round() / 127
    return torch.sign(coded) * (torch.exp(coded.abs() * math.log(256)) - 1) / 255


def _channel(samples: Any, strength: float) -> Any:
    """Radio band, clipping, companding and level; returns whole numbers at int16 scale."""
    rows = samples.shape[0]
    device = str(samples.device)
    banded = int(0.24 * rows * strength)
    order = torch.randperm(rows, device=device)
    if banded:
        samples[order[:banded]] = _radio(samples[order[:banded]])
    samples = samples / (samples.abs().amax(1, keepdim=True) + 1e-6)
    clipped = torch.rand(rows, 1, device=device) < 0.14 * strength
    samples = torch.where(clipped, (samples * 10 ** (uniform((rows, 1), 2, 14, device) / 20)).clamp(-1, 1), samples)
    coded = int(0.07 * rows * strength)
    if coded:
        samples[order[-coded:]] = _companded(samples[order[-coded:]])
    level = 10 ** (uniform((rows, 1), -32, 0, device) / 20)
    return (samples * level * 32767).round()


def heard(clean: Any, active: Any, speech: Any, sounds: Sounds, strength: float) -> Any:
    """What the microphone delivers, [rows, samples] whole numbers at int16 scale.

    Args:
        clean: [rows, samples] speech with zeros round it, any scale, rows in random order.
        active: [rows] how many samples of each row are speech.
        speech: [rows] bool; False makes the row noise alone.
        sounds: noises and rooms.
        strength: 0 (almost clean) to 1 (everything).
    """
    rows, count = clean.shape
    device = str(clean.device)
    clean = _speech_gain(_colour_and_room(_speech_gain(clean, active), sounds, strength), active)
    noise = noises(clean, sounds)
    clean = clean * speech[:, None]
    ratio = _signal_to_noise_db(rows, speech, strength)
    gain = 10 ** (-ratio / 20)
    gain = torch.where(torch.rand(rows, device=device) < 0.05, torch.zeros_like(gain), gain)
    fading = 1 + 0.6 * strength * torch.rand(rows, 1, device=device) * torch.sin(
        2 * math.pi * uniform((rows, 1), 0.05, 0.8, device) * torch.arange(count, device=device) / RATE
        + uniform((rows, 1), 0, 6.28, device)
    )
    mixed = clean + noise * gain[:, None] * fading / rms(fading)
    return _channel(mixed, strength)


def restyled(log_mel: Any, strength: float) -> Any:
    """Half the rows take on part of another row's mean and spread of each mel bin over time: another room, headset and voice.

    After Zhou and others, "Domain generalization with MixStyle" (2021), by frequency; from memory.
    """
    rows = len(log_mel)
    device = str(log_mel.device)
    mean, spread = log_mel.mean(1, keepdim=True), log_mel.std(1, keepdim=True) + 1e-3
    half = torch.full((rows, 1, 1), 0.4, device=device)
    own = torch.distributions.Beta(half, half).sample()
    own = torch.where(torch.rand(rows, 1, 1, device=device) < 0.5 * strength, own, torch.ones_like(own))
    order = torch.randperm(rows, device=device)
    mixed_mean = own * mean + (1 - own) * mean[order]
    mixed_spread = own * spread + (1 - own) * spread[order]
    return (log_mel - mean) / spread * mixed_spread + mixed_mean


def _stretch(rows: int, length: int, low: float, high: float, chance: float, device: str) -> Any:
    """[rows, length] bool: in a share of the rows one stretch of `low` to `high` places."""
    at = torch.arange(length, device=device)[None]
    start, width = torch.rand(rows, 1, device=device) * length, uniform((rows, 1), low, high, device)
    return (at >= start) & (at < start + width) & (torch.rand(rows, 1, device=device) < chance)


def masked(log_mel: Any, strength: float) -> Any:
    """SpecAugment: in some rows a short stretch of time, or a few mel bins at one or two places, set to the row's mean."""
    rows, frames, bins = log_mel.shape
    device = str(log_mel.device)
    mean = log_mel.mean((1, 2), keepdim=True)
    hidden = _stretch(rows, frames, 2, 14, 0.5 * strength, device)[:, :, None]
    for _ in range(2):
        hidden = hidden | _stretch(rows, bins, 1, 8, 0.5 * strength, device)[:, None, :]
    return torch.where(hidden, mean, log_mel)
