"""Writes am/final.mdl, the file that holds the transition model and the phone net, as Kaldi's online decoder reads it.

Weights may be stored in four bytes a number (exact), two, or one (a scale per column): the reader takes all three.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from assistant.recipe.binary import Writer
from assistant.recipe.phones import transition_pdfs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.recipe.phone_net import Affine, PhoneNet

Storage = Literal[1, 2, 4]
HALF: Final = 0.5
CEPSTRA: Final = 40


def write_transitions(out: Writer, pdfs: list[tuple[int, int]]) -> None:
    """One-state topology for every phone: transition id 2p-1 stays (self-loop pdf), 2p enters (forward pdf)."""
    count = len(pdfs)
    out.token("<TransitionModel>", "<Topology>")
    out.int_vector(list(range(1, count + 1)))
    out.int_vector([-1] + [0] * count)
    out.int32(-1)  # says that self-loops have pdfs of their own
    out.int32(1)
    out.int32(2)
    for number in (0, 1, 2):  # state 0: forward class 0, self-loop class 1, two arcs
        out.int32(number)
    for target in (0, 1):
        out.int32(target)
        out.float32(HALF)
    for number in (-1, -1, 0):  # the final state emits nothing and has no arcs
        out.int32(number)
    out.token("</Topology>", "<Tuples>")
    out.int32(count)
    for phone, (forward, stay) in enumerate(pdfs, 1):
        for number in (phone, 0, forward, stay):
            out.int32(number)
    out.token("</Tuples>", "<LogProbs>")
    log_probabilities = np.full(2 * count + 1, np.log(HALF))
    log_probabilities[0] = 0
    out.vector(log_probabilities)
    out.token("</LogProbs>", "</TransitionModel>")


def _spliced(source: str, offsets: tuple[int, ...]) -> str:
    parts = [source if offset == 0 else f"Offset({source}, {offset})" for offset in offsets]
    return parts[0] if len(parts) == 1 else f"Append({', '.join(parts)})"


class _Net:
    """Collects configuration lines and components in order."""

    def __init__(self, storage: Storage) -> None:
        self.lines = [f"input-node name=input dim={CEPSTRA}"]
        self.body = Writer()
        self.count = 0
        self.storage = storage

    def _component(self, name: str, kind: str, source: str) -> None:
        self.lines.append(f"component-node name={name} component={name} input={source}")
        self.body.token("<ComponentName>", name, f"<{kind}>")
        self.count += 1

    def affine(self, name: str, piece: Affine, source: str) -> str:
        """An affine of spliced frames; returns the node's name."""
        self._component(name, "FixedAffineComponent", _spliced(source, piece.offsets))
        self.body.token("<LinearParams>")
        self.body.matrix(piece.weight, self.storage)
        self.body.token("<BiasParams>")
        self.body.vector(piece.bias)
        self.body.token("</FixedAffineComponent>")
        return name

    def nonlinear(self, name: str, kind: str, size: int, source: str) -> str:
        """A component without weights: rectifier or log-softmax."""
        self._component(name, kind, source)
        empty = np.zeros(0)
        self.body.token("<Dim>")
        self.body.int32(size)
        for token in ("<ValueAvg>", "<DerivAvg>"):
            self.body.token(token)
            self.body.vector(empty)
        self.body.token("<Count>")
        self.body.float64(0.0)
        self.body.token("<OderivRms>")
        self.body.vector(empty)
        for token in ("<OderivCount>", "<NumDimsSelfRepaired>", "<NumDimsProcessed>"):
            self.body.token(token)
            self.body.float64(0.0)
        self.body.token(f"</{kind}>")
        return name

    def summed(self, name: str, size: int, first: str, second: str) -> str:
        """A node that holds the sum of two others, so that later pieces can splice it."""
        self._component(name, "NoOpComponent", f"Sum({first}, {second})")
        self.body.token("<Dim>")
        self.body.int32(size)
        self.body.token("<BackpropScale>")
        self.body.float32(1.0)
        self.body.token("</NoOpComponent>")
        return name


def _assembled(net: PhoneNet, storage: Storage) -> _Net:
    made = _Net(storage)
    node = "input"
    for number, piece in enumerate(net.front, 1):
        wide = made.affine(f"front{number}.affine", piece, node)
        node = made.nonlinear(f"front{number}.relu", "RectifiedLinearComponent", len(piece.bias), wide)
    for number, block in enumerate(net.residuals, 1):
        narrow = made.affine(f"block{number}.squeeze", block.squeeze, node)
        wide = made.affine(f"block{number}.widen", block.widen, narrow)
        size = len(block.widen.bias)
        rectified = made.nonlinear(f"block{number}.relu", "RectifiedLinearComponent", size, wide)
        node = made.summed(f"block{number}.sum", size, node, rectified)
    logits = made.affine("output.affine", net.output, node)
    final = made.nonlinear("output.log-softmax", "LogSoftmaxComponent", len(net.output.bias), logits)
    made.lines.append(f"output-node name=output input={final} objective=linear")
    return made


def model_bytes(
    net: PhoneNet,
    prior_scale: float,
    storage: Storage = 1,
    pdfs: list[tuple[int, int]] | None = None,
) -> bytes:
    """The whole of am/final.mdl.

    Args:
        net: folded weights and mean posteriors.
        prior_scale: the decoder subtracts this share of the log mean posteriors; 0 writes none.
        storage: bytes per weight.
        pdfs: (entering, staying) pdf of each phone id; by default this project's phones.
    """
    out = Writer()
    out.start()
    write_transitions(out, transition_pdfs() if pdfs is None else pdfs)
    made = _assembled(net, storage)
    out.token("<Nnet3>")
    out.raw(("\n" + "".join(line + "\n" for line in made.lines) + "\n").encode())
    out.token("<NumComponents>")
    out.int32(made.count)
    out.raw(made.body.bytes())
    out.token("</Nnet3>")
    left, right = net.reach
    out.token("<LeftContext>")
    out.int32(left)
    out.token("<RightContext>")
    out.int32(right)
    out.token("<Priors>")
    priors: NDArray[np.float64] = np.maximum(net.priors, 1e-6) ** prior_scale if prior_scale else np.zeros(0)
    out.vector(priors)
    return out.bytes()
