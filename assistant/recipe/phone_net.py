"""A trained phone net as plain arrays: what is written to disk, and the reference for what the recogniser computes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Affine:
    """weight @ (frames at `offsets`, one after another) + bias.

    Args:
        weight: [out, in * len(offsets)].
        bias: [out].
        offsets: frames of 10 ms relative to the one computed, ascending.
    """

    weight: NDArray[np.float64]
    bias: NDArray[np.float64]
    offsets: tuple[int, ...]

    def at(self, frames: dict[int, NDArray[np.float64]], when: int) -> NDArray[np.float64]:
        """The output at frame `when` from a table of input frames."""
        joined = np.concatenate([frames[when + offset] for offset in self.offsets])
        out: NDArray[np.float64] = self.weight @ joined + self.bias
        return out


@dataclass(frozen=True, slots=True)
class Residual:
    """A block: squeeze, widen, rectify, add the input."""

    squeeze: Affine
    widen: Affine


@dataclass(frozen=True, slots=True)
class PhoneNet:
    """Two rectified front layers, residual blocks at every third frame, an output layer, and the mean posteriors."""

    front: tuple[Affine, Affine]
    residuals: tuple[Residual, ...]
    output: Affine
    priors: NDArray[np.float64]

    def pieces(self) -> list[tuple[str, Affine]]:
        """(name, affine) of every piece in file order."""
        named = [("front1", self.front[0]), ("front2", self.front[1])]
        for number, block in enumerate(self.residuals, 1):
            named += [(f"block{number}.squeeze", block.squeeze), (f"block{number}.widen", block.widen)]
        return [*named, ("output", self.output)]

    @property
    def reach(self) -> tuple[int, int]:
        """Frames of 10 ms needed before and after the one judged."""
        affines = [affine for _, affine in self.pieces()]
        return -sum(min(0, a.offsets[0]) for a in affines), sum(max(0, a.offsets[-1]) for a in affines)

    @property
    def parameter_count(self) -> int:
        """How many numbers the net holds."""
        return sum(affine.weight.size + affine.bias.size for _, affine in self.pieces())

    def log_posteriors(self, cepstra: NDArray[np.float64]) -> NDArray[np.float64]:
        """[frames, 40] to [ceil(frames / 3), pdfs], the slow reference; edge frames are repeated as the recogniser does."""
        count = len(cepstra)
        before, after = self.reach
        wanted = range(0, count, 3)
        frames = {t: cepstra[min(max(t, 0), count - 1)] for t in range(-before, wanted[-1] + after + 1)}
        for affine in self.front:
            frames = {t: np.maximum(affine.at(frames, t), 0) for t in frames if _covered(frames, affine, t)}
        frames = {t: value for t, value in frames.items() if t % 3 == 0}
        for block in self.residuals:
            narrow = {t: block.squeeze.at(frames, t) for t in frames if _covered(frames, block.squeeze, t)}
            frames = {
                t: frames[t] + np.maximum(block.widen.at(narrow, t), 0) for t in narrow if _covered(narrow, block.widen, t)
            }
        logits = np.stack([self.output.at(frames, t) for t in wanted])
        top = logits.max(1, keepdims=True)
        out: NDArray[np.float64] = logits - top - np.log(np.exp(logits - top).sum(1, keepdims=True))
        return out

    def save(self, path: Path) -> None:
        """Write all arrays, as float32, to one .npz file."""
        arrays: dict[str, Any] = {"priors": self.priors.astype("f4"), "blocks": np.array(len(self.residuals))}
        for name, affine in self.pieces():
            arrays[f"{name}/weight"] = affine.weight.astype("f4")
            arrays[f"{name}/bias"] = affine.bias.astype("f4")
            arrays[f"{name}/offsets"] = np.array(affine.offsets, "i4")
        np.savez(path, **arrays)


def _covered(frames: dict[int, Any], affine: Affine, when: int) -> bool:
    return all(when + offset in frames for offset in affine.offsets)


def load(path: Path) -> PhoneNet:
    """Read what `PhoneNet.save` wrote."""
    with np.load(path) as arrays:

        def affine(name: str) -> Affine:
            offsets = tuple(int(offset) for offset in arrays[f"{name}/offsets"])
            return Affine(arrays[f"{name}/weight"].astype("f8"), arrays[f"{name}/bias"].astype("f8"), offsets)

        blocks = range(1, int(arrays["blocks"]) + 1)
        residuals = tuple(Residual(affine(f"block{n}.squeeze"), affine(f"block{n}.widen")) for n in blocks)
        front = (affine("front1"), affine("front2"))
        return PhoneNet(front, residuals, affine("output"), arrays["priors"].astype("f8"))
