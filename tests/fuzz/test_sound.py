"""Recordings that are broken, hostile or very long."""

import io
import tracemalloc
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import AudioError
from assistant.hearing.files import FileSource

MOST_BLOCKS = 2_000


def recording(kind: str) -> bytes:
    """A third of a second of a tone."""
    held = io.BytesIO()
    tone = (8_000 * np.sin(np.arange(5_000) / 5)).astype(np.int16)
    soundfile.write(held, tone, 16_000, format=kind, subtype="PCM_16")
    return held.getvalue()


RIGHT = {kind: recording(kind) for kind in ("WAV", "FLAC")}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A place for files that are written again and again."""
    return tmp_path_factory.mktemp("sound")


def played(path: Path) -> None:
    """Play it, or be refused by a coded error; what is played is bounded."""
    try:
        source = FileSource(path)
    except AudioError:
        return
    try:
        for block in islice(source.blocks(), MOST_BLOCKS):
            assert block.samples.dtype == np.int16
    except AudioError:
        return
    finally:
        source.close()


@given(content=st.binary(max_size=500))
def test_any_bytes_are_refused_as_a_recording(folder: Path, content: bytes) -> None:
    """Random bytes give an AudioError."""
    path = folder / "bytes.wav"
    path.write_bytes(content)
    with pytest.raises(AudioError):
        FileSource(path)


@pytest.mark.parametrize("kind", RIGHT)
@settings(max_examples=300)
@given(data=st.data())
def test_a_recording_with_bytes_changed_or_lost(folder: Path, kind: str, data: st.DataObject) -> None:
    """Header bytes replaced and the end cut off: blocks or an AudioError, nothing else."""
    content = bytearray(RIGHT[kind])
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, 90))] = data.draw(st.integers(0, 255))
    path = folder / f"changed.{kind.lower()}"
    path.write_bytes(content[: data.draw(st.integers(1, len(content)))] if data.draw(st.booleans()) else content)
    played(path)


def test_two_hours_at_a_high_rate_are_streamed(folder: Path) -> None:
    """A 2 h file at 192 kHz (2.8 GB, holes for the most part) is read piece by piece in a few megabytes."""
    path = folder / "long.wav"
    size = 2 * 3_600 * 192_000 * 2
    header = io.BytesIO()
    soundfile.write(header, np.zeros(10, np.int16), 192_000, format="WAV", subtype="PCM_16")
    head = bytearray(header.getvalue()[:44])
    head[4:8] = (size + 36).to_bytes(4, "little")
    head[40:44] = size.to_bytes(4, "little")
    with path.open("wb") as file:
        file.write(head)
        file.truncate(44 + size)
    tracemalloc.start()
    source = FileSource(path)
    assert 7_200 == round(source.audio_s)
    for _ in islice(source.blocks(), 500):
        pass
    assert tracemalloc.get_traced_memory()[1] < 20_000_000
    tracemalloc.stop()
    source.close()
