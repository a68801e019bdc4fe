"""Packs of clips, as training reads them."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.recipe import corpus

SECONDS = (1, 2, 3)


def test_a_pack_is_decoded_once_and_never_seen_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While one process writes the decoded samples, another finds no file rather than half of one."""
    rng = np.random.default_rng(1)
    clips = [(rng.integers(-3000, 3000, 16_000 * length).astype(np.int16), [f"text {length}", "set", "train"]) for length in SECONDS]
    corpus.write_pack(tmp_path, "few", clips, 0.9)
    there: list[bool] = []
    written = np.save

    def save(file: Any, samples: Any) -> None:
        written(file, samples)
        there.append((tmp_path / "few.npy").exists())

    monkeypatch.setattr(np, "save", save)
    first, rows = corpus.read_pack(tmp_path, "few")
    again, _rows = corpus.read_pack(tmp_path, "few")
    assert [False] == there
    assert len(first) == sum(SECONDS) * 16_000
    assert np.array_equal(first, again)
    assert [[0, 16_000], [16_000, 48_000], [48_000, 96_000]] == [row[:2] for row in rows]
    assert {"few.ogg", "few.json", "few.npy"} == {path.name for path in tmp_path.iterdir()}
