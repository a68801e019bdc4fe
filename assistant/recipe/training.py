"""Trains the phone net on one device. All audio lives there; batches, augmentation, features and loss are made there too."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import torch

from assistant.recipe import augment, corpus
from assistant.recipe.features import WARPS, Mfcc
from assistant.recipe.loss import topology_loss
from assistant.recipe.network import Shape, Tdnn
from assistant.recipe.phones import PDF_COUNT
from assistant.recipe.speakers import HUMAN_SETS
from assistant.recipe.speech_sounds import label_codes

if TYPE_CHECKING:
    from collections.abc import Callable
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
    """Clips laid at `lead` in [rows, samples], played `ratio` times as fast (pitch moves too), by an 8-tap windowed sinc."""
    place = (torch.arange(samples, device=pool.device, dtype=torch.float64)[None] - lead[:, None]) * ratio[:, None].double()
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
    changed = rows // 2
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
    features = augment.masked(mfcc.log_mel(heard, warp), strength) @ mfcc.cosines
    counts = bucket.counts[chosen] * speech.int()
    return Batch(features, bucket.phones[chosen].contiguous(), bucket.silence_ok[chosen].contiguous(), counts)


@dataclass(frozen=True, slots=True)
class Plan:
    """How a training run goes.

    Args:
        shape: the net.
        batch_s: seconds of audio in a batch.
        peak: highest learning rate, reached after `warm_up` steps and let down by a cosine to nothing.
        clean_steps: steps before noise begins to ramp; `ramp_steps`: steps until it is all there.
        average: decay of the running average that is kept as the result.
        seed: of all draws on the device.
        people: factor on the shares of recorded people.
        dropped: share of every block's outputs that a clip is learned without.
        start: checkpoint to go on from; empty for none.
    """

    shape: Shape
    batch_s: float = 1000.0
    peak: float = 2.5e-3
    warm_up: int = 300
    clean_steps: int = 800
    ramp_steps: int = 2500
    average: float = 0.999
    seed: int = 0
    people: float = 1.0
    dropped: float = 0.0
    start: str = ""


def loss_for(device: str) -> Callable[..., Any]:
    """The kernel on a GPU, the plain recursion elsewhere."""
    if device == "cpu":
        return lambda log_posteriors, phones, allowed, counts: topology_loss(
            log_posteriors, phones.long(), allowed.bool(), counts.long()
        )
    from assistant.recipe.loss_gpu import topology_loss_gpu

    return topology_loss_gpu


@dataclass(slots=True)
class Trainer:
    """A net in training, its running average, and what it learns from."""

    plan: Plan
    pool: Pool
    sounds: augment.Sounds
    net: Tdnn = field(init=False)
    mean_net: Tdnn = field(init=False)
    mfcc: Mfcc = field(init=False)
    optimiser: Any = field(init=False)
    sorted: list[Bucket] = field(default_factory=list)
    step: int = 0
    audio_s: float = 0.0

    def __post_init__(self) -> None:
        torch.manual_seed(self.plan.seed)
        device = self.pool.device
        torch.backends.cuda.matmul.allow_tf32 = True
        torch.backends.cudnn.allow_tf32 = True
        self.mfcc = Mfcc().to(device)
        self.net = Tdnn(self.plan.shape).to(device)
        self.mean_net = Tdnn(self.plan.shape).to(device).eval()
        for block in self.net.blocks:
            block.dropped = self.plan.dropped
        self.optimiser = torch.optim.AdamW(
            self.net.parameters(), self.plan.peak, betas=(0.9, 0.98), weight_decay=0.02, fused=device != "cpu"
        )
        self.refresh()
        if self.plan.start:
            saved = torch.load(self.plan.start, map_location="cpu", weights_only=True)["state"]
            for net in (self.net, self.mean_net):
                net.load_state_dict({name: value.float() for name, value in saved.items()})
        else:
            self._normalise()

    def refresh(self) -> None:
        """Sort the pool again after new clips arrived."""
        self.sorted = buckets(self.pool, self.plan.people)

    def _normalise(self) -> None:
        with torch.no_grad():
            features = self.draw(0.5).features
            for net in (self.net, self.mean_net):
                net.mean.copy_(features.mean((0, 1)))
                net.inverse_std.copy_(1 / features.std((0, 1)))

    def draw(self, strength: float) -> Batch:
        """A random batch: a bucket by its share of clips, then as many rows as make `batch_s` seconds."""
        shares = torch.tensor([bucket.share for bucket in self.sorted])
        bucket = self.sorted[int(torch.multinomial(shares * torch.tensor([b.samples for b in self.sorted]), 1))]
        rows = max(4, int(self.plan.batch_s * RATE / bucket.samples))
        self.audio_s += rows * bucket.samples / RATE
        return draw_batch(self.pool, bucket, rows, self.sounds, self.mfcc, strength)

    def advance(self, progress: float) -> Any:
        """One step; `progress` 0..1 sets the learning rate. Returns the loss per phone, still on the device."""
        plan = self.plan
        rate = plan.peak * min(1.0, (self.step + 1) / plan.warm_up) * max(0.002, 0.5 * (1 + math.cos(math.pi * progress)))
        for group in self.optimiser.param_groups:
            group["lr"] = rate
        strength = min(1.0, max(0.0, (self.step - plan.clean_steps) / plan.ramp_steps))
        with torch.no_grad():
            batch = self.draw(strength)
        device = self.pool.device
        with torch.autocast("cuda", torch.bfloat16, enabled=device != "cpu"):
            logits = self.net(self.net.pad(batch.features))
        posteriors = logits.float().log_softmax(2)
        each = loss_for(device)(posteriors, batch.phones, batch.silence_ok, batch.counts)
        fits = (each < 4000) & (batch.counts + 2 < posteriors.shape[1])
        weight = torch.where(batch.counts > 0, 1.0, 0.4)
        loss = torch.where(fits, each * weight, torch.zeros_like(each)).sum() / batch.counts.sum().clamp(min=1)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 2.0)
        self.optimiser.step()
        self.step += 1
        self._follow()
        return loss.detach()

    @torch.no_grad()
    def _follow(self) -> None:
        keep = min(self.plan.average, (1 + self.step) / (10 + self.step))
        mine = [value for value in self.net.state_dict().values() if value.is_floating_point()]
        theirs = [value for value in self.mean_net.state_dict().values() if value.is_floating_point()]
        torch._foreach_lerp_(theirs, mine, 1 - keep)

    @torch.no_grad()
    def priors(self, batches: int = 16) -> Any:
        """[PDF_COUNT] mean posterior of the averaged net over augmented audio."""
        total, count = torch.zeros(PDF_COUNT, device=self.pool.device), 0
        for _ in range(batches):
            posterior = self.mean_net(self.mean_net.pad(self.draw(1.0).features)).softmax(2)
            total += posterior.sum((0, 1))
            count += posterior.shape[0] * posterior.shape[1]
        return total / count

    def save(self, path: Path, batches: int = 16) -> None:
        """Checkpoint the averaged net (half precision), its priors, and how it came about."""
        state = {
            name: value.half() if "running" not in name and name not in ("mean", "inverse_std") else value
            for name, value in self.mean_net.state_dict().items()
        }
        story = {"steps": self.step, "audio_h": self.audio_s / 3600, "hours": self.pool.hours(), "seed": self.plan.seed}
        partial = path.with_suffix(".part")
        torch.save(
            {"state": {k: v.cpu() for k, v in state.items()}, "shape": self.plan.shape.as_dict(),
             "priors": self.priors(batches).cpu(), "story": story}, partial,
        )  # fmt: skip
        partial.replace(path)


def load_net(path: Path) -> tuple[Tdnn, Any, dict[str, Any]]:
    """(net, priors, story) of a checkpoint."""
    saved = torch.load(path, map_location="cpu", weights_only=True)
    shape = saved["shape"]
    shape["blocks"] = tuple(tuple(block) for block in shape["blocks"])
    net = Tdnn(Shape(**shape))
    net.load_state_dict({name: value.float() for name, value in saved["state"].items()})
    return net.eval(), saved["priors"], saved["story"]


def load_sounds(folder: Path, device: str) -> augment.Sounds:
    """Noise recordings and rooms of a corpus folder."""
    noise, rows = corpus.read_pack(folder, "noise")
    spans = torch.tensor([[row[0], row[1] - row[0]] for row in rows], device=device)
    rooms = torch.from_numpy(np.load(folder / "rooms.npy").astype("f4")).to(device)
    return augment.Sounds(torch.from_numpy(noise).to(device), spans, rooms)


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


def describe(trainer: Trainer) -> str:
    """One line on the net for the log."""
    shape = trainer.plan.shape
    count = sum(parameter.numel() for parameter in trainer.net.parameters())
    return json.dumps({"parameters": count, "left_frames": shape.left_frames, "right_frames": shape.right_frames})
