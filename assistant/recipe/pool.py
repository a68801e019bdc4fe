"""Clips on the training device, sorted by length, and the batches drawn from them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import torch

from assistant.recipe import augment, corpus
from assistant.recipe.features import WARPS, Mfcc
from assistant.recipe.speakers import HUMAN_SETS
from assistant.recipe.speech_sounds import label_codes

if TYPE_CHECKING:
    from pathlib import Path

RATE: Final = 16_000
MOST_PHONES: Final = 190
BUCKETS_S: Final = (1.7, 2.2, 2.8, 3.6, 4.6, 6.0, 8.0, 10.5, 13.5)
"""Clip lengths after padding; each batch has one of them."""
SHARES: Final = {
    "an4": 0.06, "gsc_test_v002": 0.09, "gsc_v001_bed_cat_happy": 0.015, "common_voice_100": 0.03, "excerpts80": 0.025,
    "ohf_phrases": 0.01, "picovoice_wakewords": 0.012, "pocketsphinx_tests": 0.005, "misc_sentences": 0.004,
    "hibari": 0.03, "flite": 0.03, "pico": 0.03, "festival": 0.008, "espeak": 0.025, "kokoro": 0.62,
}  # fmt: skip
"""Share of clips drawn from each collection: people, who are scarce, are weighed up."""
SLOWEST: Final = 0.84
FASTEST: Final = 1.22
WAVER: Final = 0.2
"""Most that the speed of a changed clip sways round its mean, as a share of it."""
WAVER_HZ: Final = (1.0, 3.5)
CHANGED: Final = 0.65
"""Share of clips whose speed is changed."""


@dataclass(slots=True)
class Pool:
    """Clips on the device: one flat int16 buffer and, per clip, where it lies, what it says, where it comes from."""

    device: str
    capacity_h: float
    flat: Any = None
    used: int = 0
    rows: list[tuple[int, int, str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.flat = torch.zeros(int(self.capacity_h * 3600 * RATE) + 64, dtype=torch.int16, device=self.device)

    def add(self, pcm: Any, rows: list[tuple[int, int, str, str]]) -> None:
        """Append samples and their rows (start, end, phones, collection); very short or long clips are left out."""
        if self.used + len(pcm) > len(self.flat):
            return
        self.flat[self.used : self.used + len(pcm)] = torch.from_numpy(pcm).to(self.device)
        for start, end, phones, collection in rows:
            count = len(phones.replace("|", " ").split())
            fits = 2400 < end - start < BUCKETS_S[-1] * SLOWEST * RATE - 8000
            if fits and count <= min(MOST_PHONES, 25 * (end - start) / RATE):
                self.rows.append((self.used + start, self.used + end, phones, collection))
        self.used += len(pcm)

    def hours(self) -> dict[str, float]:
        """Hours per collection."""
        total: dict[str, float] = {}
        for start, end, _, collection in self.rows:
            total[collection] = total.get(collection, 0) + (end - start) / RATE / 3600
        return {name: round(value, 2) for name, value in total.items()}


@dataclass(slots=True)
class Bucket:
    """All clips that fit one batch length, with their labels padded to one width."""

    samples: int
    share: float
    starts: Any
    lengths: Any
    weights: Any
    phones: Any
    silence_ok: Any
    counts: Any


def buckets(pool: Pool, people: float = 1.0) -> list[Bucket]:
    """Sort the pool into buckets; a clip goes where it fits at its slowest with a third of a second to spare."""
    hours: dict[str, int] = {}
    for *_, collection in pool.rows:
        hours[collection] = hours.get(collection, 0) + 1
    sizes = [int(length * RATE) for length in BUCKETS_S]
    sorted_rows: list[list[tuple[int, int, str, str]]] = [[] for _ in sizes]
    for row in pool.rows:
        needed = (row[1] - row[0]) / SLOWEST + 0.33 * RATE
        sorted_rows[next(i for i, size in enumerate(sizes) if size >= needed or i == len(sizes) - 1)].append(row)
    made = []
    for size, rows in zip(sizes, sorted_rows, strict=True):
        if len(rows) >= 2:
            shares = [SHARES[row[3]] * (people if row[3] in HUMAN_SETS else 1.0) / hours[row[3]] for row in rows]
            weights = torch.tensor(shares, device=pool.device)
            made.append(_bucket(size, rows, weights, pool.device))
    return made


def _bucket(size: int, rows: list[tuple[int, int, str, str]], weights: Any, device: str) -> Bucket:
    coded = [label_codes(corpus.chosen_from(row[2])) for row in rows]
    most = max(len(codes) for codes, _ in coded)
    phones = np.full((len(rows), most), 2, np.int32)
    allowed = np.zeros((len(rows), most + 1), np.int8)
    for index, (codes, silence_after) in enumerate(coded):
        phones[index, : len(codes)] = codes
        allowed[index, : len(silence_after)] = silence_after
    starts = torch.tensor([row[0] for row in rows], device=device)
    lengths = torch.tensor([row[1] - row[0] for row in rows], device=device)
    counts = torch.tensor([len(codes) for codes, _ in coded], dtype=torch.int32, device=device)
    share = float(weights.sum())
    return Bucket(
        size, share, starts, lengths, weights, torch.from_numpy(phones).to(device), torch.from_numpy(allowed).to(device), counts
    )


def _at_speed(pool: Pool, starts: Any, lengths: Any, lead: Any, ratio: Any, samples: int) -> Any:
    """Clips laid at `lead` in [rows, samples], played `ratio` times as fast (pitch moves too), by an 8-tap windowed sinc.

    The speed sways round `ratio` by up to WAVER of it, at a rate of its own for each clip.
    """
    rows = len(starts)
    after = torch.arange(samples, device=pool.device, dtype=torch.float64)[None] - lead[:, None]
    low, high = WAVER_HZ
    turning = 2 * math.pi / RATE * (low + (high - low) * torch.rand(rows, 1, device=pool.device, dtype=torch.float64))
    phase = 2 * math.pi * torch.rand(rows, 1, device=pool.device, dtype=torch.float64)
    depth = WAVER * torch.rand(rows, 1, device=pool.device, dtype=torch.float64)
    swayed = after + depth / turning * (torch.sin(turning * after + phase) - torch.sin(phase))
    place = swayed * ratio[:, None].double()
    whole = place.floor()
    part = (place - whole).float()
    base = whole.long()
    sine = torch.sin(math.pi * part) / math.pi
    total = torch.zeros(place.shape, device=pool.device)
    for tap in range(-3, 5):
        away = part - tap
        kernel = torch.where(away.abs() < 1e-4, torch.ones_like(away), sine * (-1.0) ** tap / away)
        window = torch.cos(math.pi / 9 * away) ** 2
        total += _fetch(pool, starts, lengths, base + tap) * kernel * window
    return total


def _fetch(pool: Pool, starts: Any, lengths: Any, at: Any) -> Any:
    inside = (at >= 0) & (at < lengths[:, None])
    return pool.flat[(starts[:, None] + at).clamp(0, len(pool.flat) - 1)].float() * inside


@dataclass(slots=True)
class Batch:
    """One batch of features with its labels."""

    features: Any
    phones: Any
    silence_ok: Any
    counts: Any


def draw_batch(
    pool: Pool, bucket: Bucket, rows: int, sounds: augment.Sounds, mfcc: Mfcc, strength: float
) -> Batch:
    """Draw clips, place them in time, change speed and vocal tract, mix noise, and take features."""
    chosen = torch.multinomial(bucket.weights, rows, replacement=True)
    starts, lengths = bucket.starts[chosen], bucket.lengths[chosen]
    device = pool.device
    changed = int(CHANGED * rows)
    ratio = torch.ones(rows, device=device)
    ratio[:changed] = SLOWEST * (FASTEST / SLOWEST) ** torch.rand(changed, device=device)
    active = lengths / ratio
    room = (bucket.samples - active).clamp(min=0)
    lead = (room * (0.04 + 0.86 * torch.rand(rows, device=device))).clamp(max=1.2 * RATE).floor()
    clean = torch.empty(rows, bucket.samples, device=device)
    clean[:changed] = _at_speed(pool, starts[:changed], lengths[:changed], lead[:changed], ratio[:changed], bucket.samples)
    plain = torch.arange(bucket.samples, device=device)[None] - lead[changed:, None].long()
    clean[changed:] = _fetch(pool, starts[changed:], lengths[changed:], plain)
    order = torch.randperm(rows, device=device)
    clean, active, chosen = clean[order], active[order], chosen[order]
    speech = torch.rand(rows, device=device) > 0.06
    heard = augment.heard(clean, active, speech, sounds, strength)
    warp = torch.randint(len(WARPS), (rows,), device=device) * (torch.rand(rows, device=device) < 0.7 * strength)
    features = augment.masked(augment.restyled(mfcc.log_mel(heard, warp), strength), strength) @ mfcc.cosines
    counts = bucket.counts[chosen] * speech.int()
    return Batch(features, bucket.phones[chosen].contiguous(), bucket.silence_ok[chosen].contiguous(), counts)


def add_pack(pool: Pool, folder: Path, name: str, use: str = "train") -> None:
    """Put one pack's clips of one use into the pool."""
    pcm, rows = corpus.read_pack(folder, name)
    pool.add(pcm, [(row[0], row[1], row[2], row[3]) for row in rows if row[4] == use])


def add_shard(pool: Pool, path: Path) -> None:
    """Put one file of Kokoro speech into the pool."""
    with np.load(path) as shard:
        ends = [0, *shard["ends"].tolist()]
        rows = [(ends[i], ends[i + 1], phones, "kokoro") for i, phones in enumerate(shard["phones"].tolist())]
        pool.add(shard["pcm"], rows)
