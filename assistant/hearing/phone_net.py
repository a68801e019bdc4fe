"""The phone net, run beside the recogniser: how likely is each phone at each moment?

The recogniser keeps these numbers to itself; the second look needs them. Same file, same answers, sound by sound.
"""

import re
from dataclasses import dataclass
from typing import Final

import numpy as np

from assistant.errors import ModelError
from assistant.hearing.blocks import Samples
from assistant.hearing.cepstra import CepstraStream, Frames
from assistant.recipe.net_file import Component, NetFile

SUBSAMPLING: Final = 3
ROW_S: Final = 0.01 * SUBSAMPLING
"""Time from one row of scores to the next."""
_KINDS: Final = frozenset(
    {"FixedAffineComponent", "RectifiedLinearComponent", "NoOpComponent", "LogSoftmaxComponent"}
)
_PART: Final = re.compile(r"Offset\(([\w.-]+), (-?\d+)\)|([\w.-]+)")


@dataclass(frozen=True, slots=True)
class Node:
    """A piece of the net and what feeds it."""

    name: str
    component: Component
    parts: tuple[tuple[str, int], ...]
    """Node and offset in frames of 10 ms."""
    added: bool
    """The parts are added, not put side by side."""


@dataclass(frozen=True, slots=True)
class PhoneNet:
    """The whole net, in the order of computing."""

    nodes: tuple[Node, ...]
    output: str
    log_priors: Frames
    left: int
    """Frames needed before the one judged."""
    right: int
    """Frames needed after the one judged."""
    strides: dict[str, int]
    """Frames from one computed value of a node to the next."""

    @classmethod
    def of_file(cls, file: NetFile) -> "PhoneNet":
        """Understand a net.

        Raises:
            ModelError: if it holds something that is not known here.
        """
        nodes = tuple(_node(line, file) for line in file.config if line.startswith("component-node"))
        output = next(line for line in file.config if line.startswith("output-node")).split("input=")[1].split()[0]
        reach = {"input": (0, 0)}
        for node in nodes:
            if any(name not in reach for name, _ in node.parts):
                raise ModelError(f"The net's {node.name} is fed by something that the second look does not know.")
            lows, highs = zip(*((reach[n][0] + o, reach[n][1] + o) for n, o in node.parts), strict=True)
            reach[node.name] = min(lows), max(highs)
        priors = np.log(file.priors) if len(file.priors) else np.zeros(1, np.float32)
        low, high = reach[output]
        return cls(nodes, output, priors.astype(np.float32), -low, high, _strides(nodes, output))


class PhoneStream:
    """Scores of every phone each 30 ms, as sound arrives."""

    def __init__(self, net: PhoneNet) -> None:
        self._net = net
        self._cepstra = CepstraStream()
        self._values: dict[str, Frames] = {}
        self._first: dict[str, int] = {}
        self._last_frame: Frames | None = None

    def feed(self, samples: Samples) -> Frames:
        """Rows of log likelihoods, shape (n, outputs), that can be computed now."""
        return self._run(self._cepstra.feed(samples))

    def finish(self) -> Frames:
        """The rows that wait for sound that will not come; the last frame stands for it, as in the recogniser."""
        if self._last_frame is None:
            return np.zeros((0, len(self._net.log_priors)), np.float32)
        return self._run(np.repeat(self._last_frame, self._net.right, axis=0))

    def _run(self, frames: Frames) -> Frames:
        if not len(frames):
            return np.zeros((0, len(self._net.log_priors)), np.float32)
        if self._last_frame is None:
            self._values["input"] = np.zeros((0, frames.shape[1]), np.float32)
            self._first["input"] = -self._net.left
            frames = np.concatenate([np.repeat(frames[:1], self._net.left, axis=0), frames])
        self._last_frame = frames[-1:]
        self._values["input"] = np.concatenate([self._values["input"], frames])
        for node in self._net.nodes:
            self._extend(node)
        rows = self._values[self._net.output]
        self._first[self._net.output] += len(rows) * SUBSAMPLING
        self._values[self._net.output] = rows[:0]
        self._forget()
        return rows - self._net.log_priors

    def _extend(self, node: Node) -> None:
        """Compute what can be computed of a node."""
        stride, done = self._net.strides[node.name], self._values.get(node.name)
        if done is None:
            earliest = max(self._first[name] - offset for name, offset in node.parts)
            self._first[node.name] = -(-earliest // stride) * stride
        start = self._first[node.name] + (0 if done is None else len(done)) * stride
        stop = min(self._end(name) - offset for name, offset in node.parts)
        count = max(0, -(-(stop - start) // stride))
        parts = [self._picked(name, start + offset, stride, count) for name, offset in node.parts]
        joined = sum(parts[1:], parts[0]) if node.added else np.concatenate(parts, axis=1)
        made = _applied(node.component, joined)
        self._values[node.name] = made if done is None else np.concatenate([done, made])

    def _end(self, name: str) -> int:
        """The first frame for which a node has no value yet (any frame between two computed ones is passed over)."""
        values = self._values[name]
        return self._first[name] + max(0, len(values) - 1) * self._stride(name) + (1 if len(values) else 0)

    def _stride(self, name: str) -> int:
        return self._net.strides.get(name, 1)

    def _picked(self, name: str, start: int, stride: int, count: int) -> Frames:
        have = self._stride(name)
        place = (start - self._first[name]) // have
        return self._values[name][place : place + (count - 1) * (stride // have) + 1 : stride // have][:count]

    def _forget(self) -> None:
        """Drop values that nothing will ask for again."""
        needs: dict[str, int] = {}
        for node in self._net.nodes:
            following = self._first[node.name] + len(self._values[node.name]) * self._net.strides[node.name]
            for name, offset in node.parts:
                needs[name] = min(needs.get(name, following + offset), following + offset)
        for name, need in needs.items():
            drop = max(0, min((need - self._first[name]) // self._stride(name), len(self._values[name])))
            self._values[name] = self._values[name][drop:]
            self._first[name] += drop * self._stride(name)


def _strides(nodes: tuple[Node, ...], output: str) -> dict[str, int]:
    """Every third frame where only every third is asked for, every frame elsewhere."""
    phases: dict[str, set[int]] = {output: {0}}
    for node in reversed(nodes):
        for name, offset in node.parts:
            phases.setdefault(name, set()).update((phase + offset) % SUBSAMPLING for phase in phases[node.name])
    return {name: SUBSAMPLING if asked == {0} else 1 for name, asked in phases.items()}


def _applied(component: Component, values: Frames) -> Frames:
    if component.weight is not None:
        result = (component.weight @ values.T).T  # as few rows as these take a third less time this way round
        return result if component.bias is None else result + component.bias
    if component.kind == "RectifiedLinearComponent":
        return np.maximum(values, 0)
    if component.kind == "LogSoftmaxComponent":
        top = values - values.max(axis=1, keepdims=True)
        return np.asarray(top - np.log(np.exp(top).sum(axis=1, keepdims=True)))
    return values


def _node(line: str, file: NetFile) -> Node:
    words, _, source = line.partition(" input=")
    fields = dict(word.split("=") for word in words.split()[1:])
    component = file.components[fields["component"]]
    if component.kind not in _KINDS:
        raise ModelError(f"The net holds a {component.kind}, which the second look does not know.")
    added = source.startswith("Sum(")
    inner = source.removeprefix("Sum(" if added else "Append(").removesuffix(")") if "(" in source else source
    inner = source if source.startswith("Offset(") else inner
    parts = tuple((offset_of or plain, int(offset or 0)) for offset_of, offset, plain in _PART.findall(inner))
    return Node(fields["name"], component, parts, added)
