"""Recordings of the shipped scenarios, and noise laid over what a station hears."""

from collections.abc import Iterable, Iterator
from importlib.resources import files
from pathlib import Path

import numpy as np

from assistant.errors import UsageError
from assistant.hearing.blocks import RATE, Block, Samples


def shipped_recording(scenario: str) -> Path:
    """The recording that comes with a scenario.

    Raises:
        UsageError: if there is none.
    """
    path = Path(str(files("audio_fixtures") / "scenarios" / f"{scenario}.flac"))
    if not path.exists():
        raise UsageError(f"No recording comes with '{scenario}'. Name one: --audio FILE.wav")
    return path


def with_noise(blocks: Iterable[Block], noise: Samples | None) -> Iterator[Block]:
    """The same blocks with a noise that goes on behind them."""
    for block in blocks:
        if noise is None:
            yield block
            continue
        start = round(block.start_s * RATE)
        behind = noise[(start + np.arange(len(block.samples))) % len(noise)]
        mixed = np.clip(block.samples.astype(np.int32) + behind, -32768, 32767).astype(np.int16)
        yield Block(mixed, block.start_s, block.overflow)
