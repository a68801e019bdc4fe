"""Packs everything that training needs into one folder: texts, fast voices, people, noises, rooms.

A pack is NAME.ogg (Opus, all clips joined, 16 kHz mono) or NAME.npy (int16) with NAME.json: one row per clip,
[start sample, end sample, phones, collection, use], phones written as 'P AE N|S EH T'.
"""

from __future__ import annotations

import json
import random
import re
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import soundfile

from assistant.recipe import speech_sounds, voices
from assistant.recipe.phones import Pronunciation, pronunciations
from assistant.recipe.speakers import HUMAN_SETS, NOISE_SETS, ROOM_SETS, use_of
from assistant.recipe.texts import Text, draw_texts

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

RATE: Final = 16_000
ROOM_SAMPLES: Final = 16_000
FAST_SHARES: Final = {"hibari": 0.20, "flite": 0.32, "pico": 0.28, "festival": 0.04, "espeak": 0.16}
"""Share of clips per engine in the fast pack; Kokoro's far larger part is made on the GPU."""


def phone_text(chosen: Iterable[Pronunciation]) -> str:
    """'P AE N|S EH T' for two words."""
    return "|".join(" ".join(said) for said in chosen)


def chosen_from(text: str) -> list[Pronunciation]:
    """The inverse of `phone_text`."""
    return [tuple(part.split()) for part in text.split("|")] if text else []


def unit_row(text: Text, draw: random.Random) -> dict[str, str] | None:
    """One thing for Kokoro to say in American, British and sometimes a third accent, with what is then heard."""
    spoken = text.words.split()
    row = {"text": text.words, "kind": text.kind}
    for accent in ("us", "gb"):
        symbols = voices.symbols(text.words, accent)
        chosen = speech_sounds.said_as(spoken, symbols)
        if chosen is None:
            return None
        row[accent] = symbols
        row[accent + "_phones"] = phone_text(chosen)
    if draw.random() < 0.3:
        row["other"] = voices.symbols(text.words, draw.choice(voices.ESPEAK_ACCENTS))
    return row


def write_units(out: Path, count: int, seed: int, phrases: list[str]) -> int:
    """Write units.json for the Kokoro stage; returns how many texts could be said as listed."""
    draw = random.Random(seed)
    rows = [row for text in draw_texts(count, seed, phrases) if (row := unit_row(text, draw)) is not None]
    (out / "units.json").write_text(json.dumps(rows, ensure_ascii=False), encoding="utf-8")
    return len(rows)


def _fast_voice(draw: random.Random) -> str:
    engine = draw.choices(list(FAST_SHARES), list(FAST_SHARES.values()))[0]
    if engine == "espeak":
        accent = draw.choice(("en-us", "en-us", "en-gb", *voices.ESPEAK_ACCENTS))
        return f"espeak:{accent}+{draw.choice(voices.espeak_variants())}"
    named = {"hibari": ("heart",), "flite": ("slt", "awb", "kal16"), "pico": ("en-US",), "festival": ("ked_diphone",)}
    return f"{engine}:{draw.choice(named[engine])}"


def fast_clips(units: list[dict[str, str]], hours: float, seed: int) -> Iterator[tuple[NDArray[np.int16], list[Any]]]:
    """Clips of the quick engines until `hours` of speech are made."""
    draw, total = random.Random(seed), 0
    while total < hours * 3600 * RATE:
        unit, voice = draw.choice(units), _fast_voice(draw)
        samples = voices.speak(voice, unit["text"], draw.uniform(0.8, 1.25), draw.uniform(-3.5, 3.5))
        if 3000 < len(samples) < 14 * RATE:
            total += len(samples)
            accent = "gb" if voice.startswith("espeak:en-gb") or voice == "flite:awb" else "us"
            yield samples, [unit[accent + "_phones"], voice.partition(":")[0], "train"]


def _metadata(folder: Path) -> list[list[str]]:
    lines = (folder / "metadata.tsv").read_text(encoding="utf-8").splitlines()[1:]
    return [line.split("\t") for line in lines]


def spoken_words(transcript: str) -> list[str] | None:
    """Lower-case words of a transcript, or None when some word's sound is not known."""
    text = transcript.lower().replace("\u2019", "'").replace("-", " ")
    if re.search(r"[0-9]", text):
        return None
    parts = [re.sub(r"[^a-z']", "", part).strip("'") for part in text.split()]
    found = [part for part in parts if part]
    return found if found and all(pronunciations(word) for word in found) else None


def _mono(path: Path) -> NDArray[np.int16]:
    samples, rate = soundfile.read(path, dtype="int16", always_2d=True)
    if rate != RATE:
        raise ValueError(f"{path} is at {rate} Hz, not {RATE}")
    mono: NDArray[np.int16] = samples[:, 0]
    return mono


def human_clips(audio: Path) -> Iterator[tuple[NDArray[np.int16], list[Any]]]:
    """Recordings of people for training and tuning (never the test speakers), with listed pronunciations."""
    for collection in HUMAN_SETS:
        folder = audio / "speech" / collection
        for file, transcript, speaker, *_ in _metadata(folder):
            use = use_of(collection, file, speaker)
            found = spoken_words(transcript)
            if use == "test" or found is None:
                continue
            letters = collection == "an4"
            chosen = [("EY",) if letters and word == "a" else pronunciations(word)[0] for word in found]
            yield _mono(folder / file), [phone_text(chosen), collection, use]


def noise_clips(audio: Path) -> Iterator[tuple[NDArray[np.int16], list[Any]]]:
    """Recorded noises that may shape shipped weights."""
    for collection in NOISE_SETS:
        folder = audio / "noise" / collection
        for file, label, *_ in _metadata(folder):
            yield _mono(folder / file), ["", label, "train"]


def write_rooms(audio: Path, out: Path) -> int:
    """rooms.npy: [n, ROOM_SAMPLES] float16 room responses of unit energy, direct sound near sample 16."""
    rows = []
    for collection in ROOM_SETS:
        folder = audio / "rir" / collection
        for file, *_ in _metadata(folder):
            samples = soundfile.read(folder / file, dtype="float32", always_2d=True)[0][:, 0]
            start = max(0, int(np.abs(samples).argmax()) - 16)
            piece = samples[start : start + ROOM_SAMPLES]
            piece = np.pad(piece, (0, ROOM_SAMPLES - len(piece)))
            rows.append(piece / np.sqrt((piece**2).sum() + 1e-9))
    np.save(out / "rooms.npy", np.stack(rows).astype(np.float16))
    return len(rows)


def write_pack(out: Path, name: str, clips: Iterable[tuple[NDArray[np.int16], list[Any]]], compression: float) -> float:
    """Write NAME.ogg and NAME.json; returns hours."""
    at, index = 0, []
    with soundfile.SoundFile(
        out / f"{name}.ogg", "w", RATE, 1, format="OGG", subtype="OPUS", compression_level=compression
    ) as file:
        for samples, row in clips:
            for start in range(0, len(samples), 80_000):
                file.write(samples[start : start + 80_000])
            index.append([at, at + len(samples), *row])
            at += len(samples)
    (out / f"{name}.json").write_text(json.dumps(index, ensure_ascii=False), encoding="utf-8")
    return at / RATE / 3600


def read_pack(folder: Path, name: str) -> tuple[NDArray[np.int16], list[list[Any]]]:
    """(all samples joined, rows) of a pack, decoded once into NAME.npy; several processes may do so at once."""
    cache = folder / f"{name}.npy"
    if not cache.exists():
        with soundfile.SoundFile(folder / f"{name}.ogg") as file:
            blocks = list(file.blocks(160_000, dtype="int16"))
        with tempfile.NamedTemporaryFile(dir=folder, suffix=".part", delete=False) as made:
            np.save(made, np.concatenate(blocks))
        Path(made.name).replace(cache)
    samples: NDArray[np.int16] = np.load(cache)
    rows: list[list[Any]] = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
    return samples, rows
