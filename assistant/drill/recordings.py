"""Recordings of the shipped scenarios, and noise laid over what a station hears."""

import json
from collections.abc import Iterable, Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from assistant.drill.noise import noise_loop
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


def noise_of(script: Path) -> Samples | None:
    """The noise that a recording of speech alone is to be heard in, as its script says; None when it says nothing.

    Raises:
        UsageError: if the script names a noise that is none.
    """
    try:
        row: Any = json.loads(script.read_text(encoding="utf-8")).get("noise")
        if not isinstance(row, dict):
            return None
        return noise_loop(str(row["kind"]), float(row["below_voice_db"]), int(row["seed"]))
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise UsageError(f"{script}: its noise cannot be made ({error}).") from error


def mixed(samples: Samples, noise: Samples, start: int) -> Samples:
    """Samples with the part of a repeated noise that belongs to position `start`."""
    behind = noise[(start + np.arange(len(samples))) % len(noise)]
    both: Samples = np.clip(samples.astype(np.int32) + behind, -32768, 32767).astype(np.int16)
    return both


def with_noise(blocks: Iterable[Block], noise: Samples | None) -> Iterator[Block]:
    """The same blocks with a noise that goes on behind them."""
    for block in blocks:
        if noise is None:
            yield block
        else:
            yield Block(mixed(block.samples, noise, round(block.start_s * RATE)), block.start_s, block.overflow)
