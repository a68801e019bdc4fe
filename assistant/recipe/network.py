"""The phone net: a factored time-delay network whose every piece the recogniser's file format can hold.

Two full-rate layers see frames t-1, t, t+1; then residual blocks run at every third frame. A block squeezes frames
t-left and t to a bottleneck, widens it from t and t+right, normalises, rectifies, and adds its input.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import torch
from torch import nn
from torch.nn import functional

from assistant.recipe.mel import MEL_BINS
from assistant.recipe.phone_net import Affine, PhoneNet, Residual
from assistant.recipe.phones import PDF_COUNT


@dataclass(frozen=True, slots=True)
class Shape:
    """Sizes of a net. `blocks` holds (left, right) reach of each block in steps of three frames (30 ms)."""

    front: int = 256
    hidden: int = 512
    bottleneck: int = 128
    blocks: tuple[tuple[int, int], ...] = ((1, 1),) * 6 + ((1, 0),) * 2 + ((2, 0),) * 5

    @property
    def left_frames(self) -> int:
        """Frames of 10 ms seen before the one judged."""
        return 2 + 3 * sum(left for left, _ in self.blocks)

    @property
    def right_frames(self) -> int:
        """Frames of 10 ms that must arrive after the one judged."""
        return 2 + 3 * sum(right for _, right in self.blocks)

    def as_dict(self) -> dict[str, Any]:
        """Plain data for a checkpoint."""
        return asdict(self)


def _spliced(frames: Any, offsets: tuple[int, ...]) -> Any:
    """[batch, time, n] to [batch, time - span, n * len(offsets)]: frames at each offset (first is 0) side by side."""
    length = frames.shape[1] - offsets[-1]
    if len(offsets) == 1:
        return frames
    return torch.cat([frames[:, offset : offset + length] for offset in offsets], 2)


def _offsets(reach: int) -> tuple[int, ...]:
    return (0, reach) if reach else (0,)


class Block(nn.Module):
    """One factored residual block."""

    def __init__(self, hidden: int, bottleneck: int, left: int, right: int) -> None:
        super().__init__()
        self.left, self.right = left, right
        self.squeeze = nn.Linear(hidden * len(_offsets(left)), bottleneck, bias=False)
        self.widen = nn.Linear(bottleneck * len(_offsets(right)), hidden)
        self.norm = nn.BatchNorm1d(hidden)
        self.dropped = 0.0
        """In training: share of outputs left out, the same ones for a whole clip."""

    def forward(self, frames: Any) -> Any:
        """[batch, time, hidden] to [batch, time - left - right, hidden]."""
        squeezed = self.squeeze(_spliced(frames, _offsets(self.left)))
        wide = _normed(self.norm, self.widen(_spliced(squeezed, _offsets(self.right))))
        kept = frames[:, self.left : frames.shape[1] - self.right]
        added = functional.relu(wide)
        if self.training and self.dropped:
            left_in = functional.dropout(torch.ones_like(added[:, :1]), self.dropped)
            added = added * left_in
        return kept + added


def _normed(norm: nn.BatchNorm1d, frames: Any) -> Any:
    return norm(frames.reshape(-1, frames.shape[-1])).reshape(frames.shape)


class Tdnn(nn.Module):
    """Cepstra padded by `pad` to logits over pdfs at every third frame."""

    def __init__(self, shape: Shape) -> None:
        super().__init__()
        self.shape = shape
        self.register_buffer("mean", torch.zeros(MEL_BINS))
        self.register_buffer("inverse_std", torch.ones(MEL_BINS))
        self.first = nn.Linear(3 * MEL_BINS, shape.front)
        self.first_norm = nn.BatchNorm1d(shape.front)
        self.second = nn.Linear(3 * shape.front, shape.hidden)
        self.second_norm = nn.BatchNorm1d(shape.hidden)
        self.blocks = nn.ModuleList(
            Block(shape.hidden, shape.bottleneck, left, right) for left, right in shape.blocks
        )
        self.out = nn.Linear(shape.hidden, PDF_COUNT)

    def pad(self, cepstra: Any) -> Any:
        """Repeat the first and last frame as the recogniser does, for ceil(frames / 3) outputs."""
        frames = cepstra.shape[1]
        right = 3 * ((frames + 2) // 3 - 1) + self.shape.right_frames - (frames - 1)
        before = cepstra[:, :1].expand(-1, self.shape.left_frames, -1)
        return torch.cat([before, cepstra, cepstra[:, -1:].expand(-1, right, -1)], 1)

    def forward(self, padded: Any) -> Any:
        """[batch, left + 3k - 2 + right, 40] to logits [batch, k, PDF_COUNT]."""
        frames = (padded - self.mean) * self.inverse_std
        frames = functional.relu(_normed(self.first_norm, self.first(_spliced(frames, (0, 1, 2)))))
        count = (frames.shape[1] - 3) // 3 + 1
        triples = frames[:, : 3 * count].reshape(frames.shape[0], count, -1)
        frames = functional.relu(_normed(self.second_norm, self.second(triples)))
        for block in self.blocks:
            frames = block(frames)
        return self.out(frames)


def _numpy(tensor: Any) -> Any:
    return tensor.detach().double().cpu().numpy()


def _folded(linear: nn.Linear, norm: nn.BatchNorm1d | None) -> tuple[Any, Any]:
    """(weight, bias) in float64 with batch normalisation folded in."""
    weight = _numpy(linear.weight)
    bias = np.zeros(weight.shape[0]) if linear.bias is None else _numpy(linear.bias)
    if norm is None:
        return weight, bias
    gain = _numpy(norm.weight) / np.sqrt(_numpy(norm.running_var) + norm.eps)
    return weight * gain[:, None], (bias - _numpy(norm.running_mean)) * gain + _numpy(norm.bias)


def folded(net: Tdnn, priors: Any) -> PhoneNet:
    """The net as plain affine pieces for the file writer; input normalisation and batch norms are folded in.

    Args:
        net: a trained net.
        priors: [PDF_COUNT] mean posterior of each pdf.
    """
    weight, bias = _folded(net.first, net.first_norm)
    scale, mean = np.tile(_numpy(net.inverse_std), 3), np.tile(_numpy(net.mean), 3)
    weight = weight * scale[None]
    bias = bias - weight @ mean
    front = (Affine(weight, bias, (-1, 0, 1)), Affine(*_folded(net.second, net.second_norm), (-1, 0, 1)))
    residuals = []
    for block in net.blocks:
        squeeze = Affine(*_folded(block.squeeze, None), (-3 * block.left, 0) if block.left else (0,))
        widen = Affine(*_folded(block.widen, block.norm), (0, 3 * block.right) if block.right else (0,))
        residuals.append(Residual(squeeze, widen))
    return PhoneNet(front, tuple(residuals), Affine(*_folded(net.out, None), (0,)), np.asarray(priors, np.float64))
