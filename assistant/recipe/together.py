"""Several processes that train one net: one a device, gradients averaged, every decision the first one's."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import torch
from torch import distributed, multiprocessing

if TYPE_CHECKING:
    from collections.abc import Callable


@dataclass(frozen=True, slots=True)
class Ranks:
    """Which of how many processes this one is."""

    rank: int = 0
    count: int = 1

    @property
    def first(self) -> bool:
        """Whether this process decides, logs and saves."""
        return self.rank == 0

    def average(self, tensors: list[Any]) -> None:
        """Replace each tensor by its mean over all processes."""
        if self.count > 1:
            flat = torch.cat([tensor.reshape(-1) for tensor in tensors])
            distributed.all_reduce(flat)
            _laid_back(flat / self.count, tensors)

    def take_first(self, tensors: list[Any]) -> None:
        """Replace each tensor by what the first process holds."""
        if self.count > 1:
            flat = torch.cat([tensor.reshape(-1) for tensor in tensors])
            distributed.broadcast(flat, 0)
            _laid_back(flat, tensors)

    def decided(self, values: list[float]) -> list[float]:
        """What the first process gave, in every process; it goes through the CPU, so that no device has to wait."""
        if self.count == 1:
            return values
        told = torch.tensor(values, dtype=torch.float64)
        distributed.broadcast(told, 0)
        return [float(value) for value in told]

    def apart(self, tensors: list[Any]) -> float:
        """The largest distance of a number here from its mean over all processes."""
        means = [tensor.clone() for tensor in tensors]
        self.average(means)
        return max(float((tensor - mean).abs().max()) for tensor, mean in zip(tensors, means, strict=True))


def _laid_back(flat: Any, tensors: list[Any]) -> None:
    parts = flat.split([tensor.numel() for tensor in tensors])
    torch._foreach_copy_(tensors, [part.view_as(tensor) for part, tensor in zip(parts, tensors, strict=True)])


def _one(rank: int, meeting: str, devices: list[str], work: Callable[..., object], given: tuple[Any, ...]) -> None:
    device = devices[rank]
    if device == "cpu":
        torch.set_num_threads(1)
    else:
        torch.cuda.set_device(device)
    distributed.init_process_group(
        "gloo" if device == "cpu" else "cpu:gloo,cuda:nccl", init_method=f"file://{meeting}", rank=rank, world_size=len(devices)
    )
    try:
        work(Ranks(rank, len(devices)), device, *given)
    finally:
        distributed.destroy_process_group()


def on_each(devices: list[str], work: Callable[..., object], *given: Any) -> None:
    """Run `work(ranks, device, *given)` in one process a device and wait for all; one that fails ends the others."""
    if len(devices) == 1:
        work(Ranks(), devices[0], *given)
        return
    with tempfile.TemporaryDirectory() as folder:
        meeting = str(Path(folder) / "meeting")
        multiprocessing.spawn(_one, (meeting, devices, work, given), len(devices))
