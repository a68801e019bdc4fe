"""One net from several that were trained from the same beginning: the mean of their weights, its norms measured anew."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import torch

from assistant.recipe import pool as clips
from assistant.recipe import stages, training

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.recipe.network import Tdnn

MEASURING: Final = 60
"""Batches by which the norms are measured."""


def averaged(nets: list[Tdnn], shares: list[float]) -> Tdnn:
    """A net of the weighted mean of the weights; `shares` sum to 1.

    Raises:
        ValueError: the nets have not one shape.
    """
    if len({net.shape for net in nets}) != 1:
        raise ValueError("nets of several shapes have no mean")
    mean = type(nets[0])(nets[0].shape)
    states = [net.state_dict() for net in nets]
    for name, value in mean.state_dict().items():
        if value.is_floating_point():
            value.copy_(torch.stack([share * state[name] for share, state in zip(shares, states, strict=True)]).sum(0))
    return mean


@torch.no_grad()
def measure_norms(net: Tdnn, trainer: training.Trainer, batches: int) -> None:
    """Set the statistics of every norm to those of `batches` drawn batches; the net ends in evaluation mode."""
    norms = [module for module in net.modules() if isinstance(module, torch.nn.BatchNorm1d)]
    for norm in norms:
        norm.reset_running_stats()
        norm.momentum = None
    net.train()
    for _ in range(batches):
        net(net.pad(trainer.draw(1.0).features))
    net.eval()


def blend(
    folder: Path, checkpoints: list[Path], shares: list[float], out: Path, device: str, capacity_h: float, batch_s: float
) -> dict[float, float]:
    """Write the blend of `checkpoints`; returns its loss per phone on tuning speakers, clean (0.0) and in noise (1.0)."""
    nets = [training.load_net(path)[0] for path in checkpoints]
    pool, _ = stages.load_pool(folder, device, capacity_h)
    plan = training.Plan(nets[0].shape, batch_s=batch_s, start=str(checkpoints[0]))
    trainer = training.Trainer(plan, pool, training.load_sounds(folder, device))
    trainer.mean_net = averaged(nets, shares).to(device)
    measure_norms(trainer.mean_net, trainer, MEASURING)
    trainer.save(out)
    tuning = clips.Pool(device, 3.0)
    clips.add_pack(tuning, folder, "human", "tune")
    return {level: stages.held_out_loss(trainer, clips.buckets(tuning), tuning, level) for level in (0.0, 1.0)}
