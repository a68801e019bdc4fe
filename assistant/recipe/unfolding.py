"""A shipped model folder back into a net that can be trained on: the same function, batch norms and input scaling set anew.

What a folder holds is folded: there is no batch norm left in it. A norm that does nothing is put after each layer; then
`calibrate` measures what goes through it on drawn batches and makes it the norm of just that, so that training, which
normalises by each batch, begins near what the folder computes.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import torch
from torch import nn

from assistant.recipe.net_file import read_net
from assistant.recipe.network import Shape, Tdnn

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from assistant.recipe.net_file import NetFile

LEAST_SPREAD: Final = 1e-3
"""A channel that moves less than this is normalised as if it moved so much."""


def _reach(net: NetFile, name: str) -> int:
    """How many steps of three frames apart the two inputs of a piece lie; 0 for one input."""
    line = next(line for line in net.config if f" component={name} " in line)
    offsets = [int(found) for found in re.findall(r", (-?\d+)\)", line)]
    return abs(offsets[0]) // 3 if offsets else 0


def unfolded(folder: Path) -> Tdnn:
    """The net of a model folder, in evaluation mode, with norms and input scaling that do nothing yet."""
    file = read_net(folder / "am/final.mdl")
    count = sum(name.endswith(".squeeze") for name in file.components)
    blocks = tuple((_reach(file, f"block{n}.squeeze"), _reach(file, f"block{n}.widen")) for n in range(1, count + 1))
    sizes = [len(_array(file, name, "bias")) for name in ("front1.affine", "front2.affine", "block1.squeeze")]
    net = Tdnn(Shape(sizes[0], sizes[1], sizes[2], blocks))
    net.eval()
    named = {"front1.affine": net.first, "front2.affine": net.second, "output.affine": net.out}
    for number, block in enumerate(net.blocks, 1):
        named |= {f"block{number}.squeeze": block.squeeze, f"block{number}.widen": block.widen}
    with torch.no_grad():
        for name, linear in named.items():
            linear.weight.copy_(torch.from_numpy(_array(file, name, "weight")))
            if linear.bias is not None:
                linear.bias.copy_(torch.from_numpy(_array(file, name, "bias")))
        for number, block in enumerate(net.blocks, 1):
            shift = torch.from_numpy(_array(file, f"block{number}.squeeze", "bias"))
            block.widen.bias += block.widen.weight @ shift.repeat(block.widen.in_features // len(shift))
        for norm in _norms(net):
            norm.running_var.fill_(1 - norm.eps)
    return net


def _array(file: NetFile, name: str, part: str) -> Any:
    found = getattr(file.components[name], part)
    if found is None:
        raise ValueError(f"{name} has no {part}")
    return np.array(found)


def _norms(net: Tdnn) -> list[nn.BatchNorm1d]:
    return [net.first_norm, net.second_norm, *(block.norm for block in net.blocks)]


def _before(net: Tdnn) -> list[nn.Linear]:
    return [net.first, net.second, *(block.widen for block in net.blocks)]


@torch.no_grad()
def calibrate(net: Tdnn, batches: Iterable[Any]) -> None:
    """Set input scaling and norms of an `unfolded` net from batches of features; what it computes stays the same.

    Each row of weights before a norm is also brought to one common size, that of the squeezing layers, which have no norm
    and so are as they were learned: a learning step then changes all layers about equally.
    """
    inputs = _Moments()
    norms, layers = _norms(net), _before(net)
    measured = [_Moments() for _ in norms]
    hooks = [norm.register_forward_pre_hook(moments.hook) for norm, moments in zip(norms, measured, strict=True)]
    for features in batches:
        padded = net.pad(features)
        inputs.add(padded)
        net(padded)
    for hook in hooks:
        hook.remove()
    size = torch.stack([block.squeeze.weight.pow(2).mean() for block in net.blocks]).mean().sqrt()
    net.mean.copy_(inputs.mean)
    net.inverse_std.copy_(1 / inputs.variance.sqrt())
    net.first.bias += net.first.weight @ net.mean.repeat(3)
    net.first.weight /= net.inverse_std.repeat(3)
    for layer, norm, moments in zip(layers, norms, measured, strict=True):
        gain = size / layer.weight.pow(2).mean(1).sqrt().clamp(min=1e-8)
        layer.weight *= gain[:, None]
        layer.bias *= gain
        mean, variance = moments.mean, moments.variance.clamp(min=LEAST_SPREAD**2)
        norm.running_mean.copy_(mean * gain)
        norm.running_var.copy_(variance * gain**2)
        norm.weight.copy_((norm.running_var + norm.eps).sqrt() / gain)
        norm.bias.copy_(mean)


class _Moments:
    """Mean and variance of each channel over all that was added."""

    def __init__(self) -> None:
        self.count = 0
        self.total: Any = 0.0
        self.squares: Any = 0.0

    def add(self, values: Any) -> None:
        flat = values.reshape(-1, values.shape[-1]).double()
        self.count += len(flat)
        self.total = self.total + flat.sum(0)
        self.squares = self.squares + flat.pow(2).sum(0)

    def hook(self, _: nn.Module, given: tuple[Any, ...]) -> None:
        self.add(given[0])

    @property
    def mean(self) -> Any:
        return (self.total / self.count).float()

    @property
    def variance(self) -> Any:
        return (self.squares / self.count - (self.total / self.count) ** 2).clamp(min=1e-12).float()
