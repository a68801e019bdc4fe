"""Numbers survive the file formats."""

import struct

import numpy as np
import pytest

from assistant.recipe.binary import Writer, one_byte_columns, two_bytes


def _columns(body: bytes) -> np.ndarray:
    """Kaldi's compressed-matrix definition, read back: each column is piecewise linear through four marks."""
    low, span, rows, columns = struct.unpack("<ffii", body[:16])
    marks = low + span * np.frombuffer(body[16 : 16 + 8 * columns], "<u2").reshape(columns, 4) / 65535
    codes = np.frombuffer(body[16 + 8 * columns :], np.uint8).reshape(columns, rows)
    return np.stack([np.interp(code, (0, 64, 192, 255), mark) for code, mark in zip(codes, marks, strict=True)], 1)


@pytest.mark.parametrize("shape", [(640, 30), (7, 3), (5, 1), (3, 4), (1, 2)])
def test_one_byte_weights_keep_within_two_percent_of_their_spread(shape: tuple[int, int]) -> None:
    """One byte a weight moves no weight by more than two percent of the matrix's range."""
    matrix = np.random.default_rng(1).normal(size=shape)
    back = _columns(one_byte_columns(matrix))
    assert back.shape == matrix.shape
    assert np.abs(back - matrix).max() <= 0.02 * max(np.ptp(matrix), 1e-9)


def test_two_byte_weights_keep_within_one_step() -> None:
    """Two bytes a weight move none by more than half a step of 65,535 in the range."""
    matrix = np.random.default_rng(2).normal(size=(40, 9))
    body = two_bytes(matrix)
    low, span, rows, columns = struct.unpack("<ffii", body[:16])
    back = low + span * np.frombuffer(body[16:], "<u2").reshape(rows, columns) / 65535
    assert np.abs(back - matrix).max() <= 0.51 * np.ptp(matrix) / 65535 + 1e-6


def test_numbers_carry_their_size() -> None:
    """Every number is written with the size byte that the reader checks."""
    out = Writer()
    out.start()
    out.token("<A>")
    out.int32(-2)
    out.float32(0.5)
    out.float64(0.25)
    out.int_vector([7])
    out.vector(np.array([1.0]))
    expected = b"\0B<A> \x04\xfe\xff\xff\xff\x04" + struct.pack("<f", 0.5) + b"\x08" + struct.pack("<d", 0.25)
    expected += b"\x04\x01\0\0\0\x07\0\0\0" + b"FV \x04\x01\0\0\0" + struct.pack("<f", 1.0)
    assert expected == out.bytes()
