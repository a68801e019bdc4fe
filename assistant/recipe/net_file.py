"""Reading `am/final.mdl`: the phone net's pieces as arrays. Only nets as this project writes them.

Format: Kaldi binary files; a token is text and a space, numbers carry a size byte, "FM"/"CM"/"CM2" are matrices of
four, one and two bytes a number, "FV" is a vector.
"""

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from assistant.errors import ModelError

Array = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Component:
    """One computation of the net."""

    kind: str
    weight: Array | None
    """Shape (out, in), for an affine."""
    bias: Array | None


@dataclass(frozen=True, slots=True)
class NetFile:
    """What `final.mdl` holds."""

    config: tuple[str, ...]
    """Lines that say which node feeds which."""
    components: dict[str, Component]
    priors: Array


def read_net(path: Path) -> NetFile:
    """Read a net.

    Raises:
        ModelError: if the file is not such a net.
    """
    try:
        return _read(_Reader(path.read_bytes()))
    except (OSError, ValueError, IndexError, struct.error) as error:
        raise ModelError(f"{path}: the second look cannot read this net ({error}).") from error


_FIELDS = {
    "<LinearParams>": "M", "<BiasParams>": "V", "<Dim>": "n", "<ValueAvg>": "V", "<DerivAvg>": "V", "<Count>": "n",
    "<OderivRms>": "V", "<OderivCount>": "n", "<NumDimsSelfRepaired>": "n", "<NumDimsProcessed>": "n",
    "<BackpropScale>": "n",
}  # fmt: skip
"""What follows each token inside a component: n number, V vector, M matrix."""
_COLUMN_MARKS = (0, 64, 192, 255)
"""A one-byte column is coded piecewise between four marks: its quartiles."""
_BETWEEN_MARKS = np.array([np.interp(np.arange(256), _COLUMN_MARKS, one) for one in np.eye(4)])
"""How much of each mark is in each code."""


class _Reader:
    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def until(self, mark: bytes) -> str:
        end = self._data.index(mark, self._at)
        found = self._data[self._at : end].decode("ascii")
        self._at = end + 1
        return found

    def token(self) -> str:
        return self.until(b" ")

    def expect(self, token: str) -> None:
        found = self.token()
        if found != token:
            raise ValueError(f"{found[:40]} where {token} was expected")

    def take(self, count: int) -> bytes:
        found = self._data[self._at : self._at + count]
        if len(found) < count:
            raise ValueError("it ends too soon")
        self._at += count
        return found

    def skip_past(self, token: bytes) -> None:
        self._at = self._data.index(token, self._at) + len(token)

    def number(self) -> float:
        size = self.take(1)
        return float(struct.unpack("<d" if size == b"\x08" else "<f", self.take(size[0]))[0])

    def integer(self) -> int:
        if self.take(1) != b"\x04":
            raise ValueError(f"no number at byte {self._at}")
        return int(struct.unpack("<i", self.take(4))[0])

    def vector(self) -> Array:
        self.expect("FV")
        return np.frombuffer(self.take(4 * self.integer()), "<f4")

    def matrix(self) -> Array:
        kind = self.token()
        if kind == "FM":
            rows, columns = self.integer(), self.integer()
            return np.frombuffer(self.take(4 * rows * columns), "<f4").reshape(rows, columns)
        low, span, rows, columns = struct.unpack("<ffii", self.take(16))
        if kind == "CM2":
            coded = np.frombuffer(self.take(2 * rows * columns), "<u2").reshape(rows, columns)
            return np.asarray(low + coded * (span / 65535), np.float32)
        if kind != "CM":
            raise ValueError(f"{kind[:40]} is no kind of matrix")
        marks = low + np.frombuffer(self.take(8 * columns), "<u2").reshape(columns, 4) * (span / 65535)
        return _columns(np.frombuffer(self.take(rows * columns), np.uint8).reshape(columns, rows), marks)


def _columns(coded: NDArray[np.uint8], marks: NDArray[np.float64]) -> Array:
    """One-byte columns decoded, as an array of shape (rows, columns), column after column in memory."""
    table = (marks @ _BETWEEN_MARKS).astype(np.float32)
    places = coded + np.arange(0, table.size, table.shape[1], dtype=np.intp)[:, None]
    decoded: Array = table.ravel().take(places)
    return decoded.T


def _read(reader: _Reader) -> NetFile:
    if reader.take(2) != b"\0B":
        raise ValueError("it is not a binary Kaldi file")
    reader.skip_past(b"</TransitionModel> ")
    reader.expect("<Nnet3>")
    reader.until(b"\n")
    config = []
    while line := reader.until(b"\n"):
        config.append(line)
    reader.expect("<NumComponents>")
    components = dict(_component(reader) for _ in range(reader.integer()))
    for token in ("</Nnet3>", "<LeftContext>"):
        reader.expect(token)
    reader.integer()
    reader.expect("<RightContext>")
    reader.integer()
    reader.expect("<Priors>")
    return NetFile(tuple(config), components, reader.vector())


def _component(reader: _Reader) -> tuple[str, Component]:
    reader.expect("<ComponentName>")
    name, kind = reader.token(), reader.token()[1:-1]
    arrays: dict[str, Array] = {}
    while (token := reader.token()) != f"</{kind}>":
        if token not in _FIELDS:
            raise ValueError(f"{kind} holds {token[:40]}, which is not known")
        if _FIELDS[token] == "n":
            reader.number()
        else:
            arrays[token] = reader.vector() if _FIELDS[token] == "V" else reader.matrix()
    return name, Component(kind, arrays.get("<LinearParams>"), arrays.get("<BiasParams>"))
