"""Kaldi's binary conventions: little-endian tokens, sized numbers, vectors and (compressed) matrices."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray



class Writer:
    """Collects the bytes of one binary file."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def start(self) -> None:
        """The mark of a binary file."""
        self.raw(b"\0B")

    def raw(self, data: bytes) -> None:
        """Bytes as they are."""
        self._parts.append(data)

    def token(self, *names: str) -> None:
        """ASCII words, each followed by a space."""
        self.raw("".join(name + " " for name in names).encode())

    def int32(self, value: int) -> None:
        """A sized 32-bit whole number."""
        self.raw(b"\x04" + struct.pack("<i", value))

    def float32(self, value: float) -> None:
        """A sized single-precision number."""
        self.raw(b"\x04" + struct.pack("<f", value))

    def float64(self, value: float) -> None:
        """A sized double-precision number."""
        self.raw(b"\x08" + struct.pack("<d", value))

    def int_vector(self, values: list[int]) -> None:
        """Whole numbers: one size byte, a bare count, then the numbers."""
        self.raw(b"\x04" + struct.pack("<i", len(values)) + np.asarray(values, "<i4").tobytes())

    def vector(self, values: NDArray[np.floating]) -> None:
        """Single-precision vector."""
        self.token("FV")
        self.int32(len(values))
        self.raw(np.asarray(values, "<f4").tobytes())

    def matrix(self, values: NDArray[np.floating], storage: int = 4) -> None:
        """A matrix in 4 bytes a number (exact), 2 (one scale for all) or 1 (a scale per column)."""
        if storage == 1:
            self.token("CM")
            self.raw(one_byte_columns(values))
        elif storage == 2:
            self.token("CM2")
            self.raw(two_bytes(values))
        else:
            self.token("FM")
            self.int32(values.shape[0])
            self.int32(values.shape[1])
            self.raw(np.ascontiguousarray(values, "<f4").tobytes())

    def bytes(self) -> bytes:
        """Everything written so far."""
        return b"".join(self._parts)


def one_byte_columns(matrix: NDArray[np.floating]) -> bytes:
    """Body of a Kaldi matrix of one byte per number ("CM "): each column has its own four-point scale."""
    rows, columns = matrix.shape
    low = float(matrix.min())
    span = max(float(matrix.max()) - low, 1e-9)
    ordered = np.sort(matrix, axis=0)
    quarter = rows // 4
    picks = [0, quarter, 3 * quarter, rows - 1] if rows >= 5 else [0, min(1, rows - 1), min(2, rows - 1), rows - 1]
    scaled = np.clip(np.round((ordered[picks] - low) / span * 65535), 0, 65535).astype(np.int64)
    scaled = np.minimum(scaled, 65532 + np.arange(4)[:, None])
    for point in range(1, 4):
        scaled[point] = np.maximum(scaled[point], scaled[point - 1] + 1)
    marks = low + span * scaled / 65535
    coded = np.empty(matrix.shape, np.uint8)
    for first, (start, steps) in enumerate(((0, 64), (64, 128), (192, 63))):
        lower, upper = marks[first], marks[first + 1]
        value = start + np.clip(np.floor((matrix - lower) / (upper - lower) * steps + 0.5), 0, steps)
        inside = (matrix >= lower) | (first == 0)
        coded = np.where(inside, value, coded).astype(np.uint8)
    head = struct.pack("<ffii", low, span, rows, columns)
    return head + scaled.T.astype("<u2").tobytes() + coded.T.tobytes()


def two_bytes(matrix: NDArray[np.floating]) -> bytes:
    """Body of a Kaldi matrix of two bytes per number ("CM2 "): one scale for the whole matrix."""
    low = float(matrix.min())
    span = max(float(matrix.max()) - low, 1e-9)
    coded = np.clip(np.round((matrix - low) / span * 65535), 0, 65535).astype("<u2")
    return struct.pack("<ffii", low, span, *matrix.shape) + coded.tobytes()
