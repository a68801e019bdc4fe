"""The whole road from recordings and voices to a model directory."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Final

from assistant.recipe import corpus, kokoro_weights, model_files, texts, words
from assistant.recipe.graph import GraphSettings

if TYPE_CHECKING:
    import argparse
    from pathlib import Path

UNITS: Final = 22_000
SHIPPED: Final = model_files.Decoding(costs=GraphSettings(unknown_phone=3.0))
"""How the shipped model decodes: the cost of `[unk]` was chosen on tuning speakers, the rest as first tried."""


def collect(audio: Path, voices: Path, procedures: Path, data: Path, fast_hours: float, seed: int) -> None:
    """Fill `data` with everything that training reads.

    Args:
        audio: folder of recordings (speech/, noise/, rir/, each set with its metadata.tsv).
        voices: folder of the voices' packages.
        procedures: folder of procedure files, whose phrases join the texts.
        data: where to put it.
        fast_hours: hours of speech from the quick engines.
        seed: of the texts and of who says them.
    """
    data.mkdir(parents=True, exist_ok=True)
    phrases = texts.procedure_phrases(procedures)
    print(corpus.write_units(data, UNITS, seed, phrases), "texts")
    kokoro_weights.write_styles(voices, data / "styles.npz")
    kokoro_weights.to_float(kokoro_weights.joined(voices), data / "kokoro.onnx")
    units = json.loads((data / "units.json").read_text(encoding="utf-8"))
    print(corpus.write_pack(data, "fast1", corpus.fast_clips(units, fast_hours, seed), 0.92), "h quick voices")
    print(corpus.write_pack(data, "human", corpus.human_clips(audio), 0.85), "h people")
    print(corpus.write_pack(data, "noise", corpus.noise_clips(audio), 0.7), "h noise")
    print(corpus.write_rooms(audio, data), "rooms")


def export(checkpoint: Path, out: Path) -> int:
    """Write the model directory of a checkpoint; returns how many words it knows."""
    from assistant.recipe.network import folded
    from assistant.recipe.training import load_net

    net, priors, _ = load_net(checkpoint)
    return model_files.write_model(folded(net, priors), words.vocabulary(), out, SHIPPED)


def everything(given: argparse.Namespace) -> None:
    """Collect, speak, train, export. The voices finish before training starts, since both want the whole GPU."""
    from assistant.recipe import stages

    devices = given.device.split(",")
    collect(given.audio, given.voices, given.procedures, given.work, given.fast_hours, given.seed)
    stages.speak(given.work, given.work / "kokoro.onnx", given.workers, given.speak_s, devices, given.seed)
    stages.train(given.work, given.work / "run", given.train_s, stages.plan(given), devices, given.capacity_h)
    print(export(given.work / "run/final.pt", given.out), "words in", given.out)
