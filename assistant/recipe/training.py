"""Trains the phone net. All audio lives on the device; batches, augmentation, features and loss are made there too."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import torch

from assistant.recipe import augment, corpus, unfolding
from assistant.recipe.features import Mfcc
from assistant.recipe.loss import topology_loss
from assistant.recipe.network import Shape, Tdnn
from assistant.recipe.phones import PDF_COUNT
from assistant.recipe.pool import RATE, Batch, Bucket, Pool, buckets, draw_batch
from assistant.recipe.together import Ranks

if TYPE_CHECKING:
    from collections.abc import Callable

SEEDS_APART: Final = 1000
"""Between the seeds of processes that train one net."""
CALIBRATING: Final = 8
"""Batches by which the norms of a net from a model folder are set."""


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
        start: checkpoint or model folder to go on from; empty for none.
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


def _numbers(net: Tdnn) -> list[Any]:
    return [value for value in net.state_dict().values() if value.is_floating_point()]


@dataclass(slots=True)
class Trainer:
    """A net in training, its running average, and what it learns from."""

    plan: Plan
    pool: Pool
    sounds: augment.Sounds
    ranks: Ranks = field(default_factory=Ranks)
    net: Tdnn = field(init=False)
    mean_net: Tdnn = field(init=False)
    mfcc: Mfcc = field(init=False)
    optimiser: Any = field(init=False)
    sorted: list[Bucket] = field(default_factory=list)
    step: int = 0
    audio_s: float = 0.0

    def __post_init__(self) -> None:
        torch.manual_seed(self.plan.seed + SEEDS_APART * self.ranks.rank)
        device = self.pool.device
        torch.backends.cuda.matmul.allow_tf32 = True
        torch.backends.cudnn.allow_tf32 = True
        self.mfcc = Mfcc().to(device)
        self.refresh()
        self.net = self._started().to(device)
        self.ranks.take_first(_numbers(self.net))
        self.mean_net = Tdnn(self.plan.shape).to(device).eval()
        self.mean_net.load_state_dict(self.net.state_dict())
        self.net.train()
        for block in self.net.blocks:
            block.dropped = self.plan.dropped
        self.optimiser = torch.optim.AdamW(
            self.net.parameters(), self.plan.peak, betas=(0.9, 0.98), weight_decay=0.02, fused=device != "cpu"
        )

    def _started(self) -> Tdnn:
        """The net to begin with: new, from a checkpoint, or from a model folder."""
        start = Path(self.plan.start)
        if self.plan.start and start.is_dir():
            net = unfolding.unfolded(start)
            net.to(self.pool.device)
            with torch.no_grad():
                unfolding.calibrate(net, (self.draw(1.0).features for _ in range(CALIBRATING)))
            self.audio_s = 0.0
        elif self.plan.start:
            net = load_net(start)[0]
        else:
            net = Tdnn(self.plan.shape)
            with torch.no_grad():
                features = self.draw(0.5).features
                net.mean.copy_(features.mean((0, 1)))
                net.inverse_std.copy_(1 / features.std((0, 1)))
        if net.shape != self.plan.shape:
            raise ValueError(f"{start} holds a net of shape {net.shape}, not {self.plan.shape}")
        return net

    def refresh(self) -> None:
        """Sort the pool again after new clips arrived."""
        self.sorted = buckets(self.pool, self.plan.people)

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
        self.ranks.average([parameter.grad for parameter in self.net.parameters()])
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 2.0)
        self.optimiser.step()
        self.step += 1
        self._follow()
        return loss.detach()

    @torch.no_grad()
    def _follow(self) -> None:
        keep = min(self.plan.average, (1 + self.step) / (10 + self.step))
        torch._foreach_lerp_(_numbers(self.mean_net), _numbers(self.net), 1 - keep)

    @torch.no_grad()
    def meet(self) -> float:
        """Average what each process measured for itself, the norms' statistics; returns how far the weights were apart."""
        apart = self.ranks.apart(list(self.net.parameters()))
        for net in (self.net, self.mean_net):
            self.ranks.average([value for name, value in net.state_dict().items() if value.is_floating_point() and "running" in name])
        return apart

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
        story = {"steps": self.step, "audio_h": self.ranks.count * self.audio_s / 3600, "hours": self.pool.hours(), "seed": self.plan.seed}
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


def describe(trainer: Trainer) -> str:
    """One line on the net for the log."""
    shape = trainer.plan.shape
    count = sum(parameter.numel() for parameter in trainer.net.parameters())
    return json.dumps({"parameters": count, "left_frames": shape.left_frames, "right_frames": shape.right_frames})
