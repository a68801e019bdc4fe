"""What the hearing measurement and the tuning listen to: phrases in noise, talk, machines, single words of people.

Measured on: the never-train voices, ESC-50 vacuum, engine and washing machine, an invented fan, test speakers. Tuned on:
the two tuning voices, invented machines and the training noise, train and tune speakers. Nothing is in both.
"""

import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from assistant.hearing.blocks import RATE, Samples
from assistant.hearing.listener import ListenPhrase
from assistant.library import load_book
from assistant.recipe.speakers import use_of
from assistant.recipe.voices import NEVER_TRAIN, TUNING
from protocol.phrases import (
    CORRECTION_PHRASE,
    DISREGARD_PHRASE,
    HOLD_PHRASE,
    NEGATIVE_PHRASE,
    NUMBER_SLOT,
    PERSON_PHRASE,
    QUERY_PHRASES,
    Strictness,
    every_phrase,
)  # fmt: skip
from tests.bench import hearing_sound as sound
from tests.bench.hearing_sound import Wave

SNRS_DB: tuple[float | None, ...] = (None, 20, 10, 5, 0)
MACHINES = ("vacuum_cleaner", "engine", "washing_machine")
TEN_WORDS = ["yes", "no", "up", "down", "left", "right", "on", "off", "stop", "go"]
TUNING_TALK = ("an4", "common_voice_100", "excerpts80", "ohf_phrases", "picovoice_wakewords")
TEST_TALK = ("an4", "common_voice_100", "picovoice_s2i")
TUNING_NOISE = (
    "gsc_background/doing_the_dishes", "gsc_background/exercise_bike", "gsc_background/running_tap",
    "ambient_apps/construction", "ambient_apps/farm", "ambient_apps/blanket_train",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Utterance:
    """A phrase in noise."""

    voice: str
    text: str
    snr_db: float | None
    noise: str
    samples: Samples
    ends_s: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """Sound in which no phrase is said."""

    kind: str
    samples: Samples


def shipped_phrases() -> list[ListenPhrase]:
    """Every phrase of the shipped procedure with its strictness."""
    book = load_book()
    loose = {text for row in book.procedure.interruptions for text in row.say} | {HOLD_PHRASE}
    normal = {text for text, _query in QUERY_PHRASES}
    normal |= {NEGATIVE_PHRASE, DISREGARD_PHRASE, CORRECTION_PHRASE, PERSON_PHRASE}

    def strictness(text: str) -> Strictness:
        if text in loose:
            return Strictness.LOOSE
        return Strictness.NORMAL if text in normal or NUMBER_SLOT in text else Strictness.STRICT

    return [ListenPhrase(text, strictness(text)) for text in every_phrase(book)]


def folder_of(voice: str) -> str:
    """Where a voice's clips lie: `kokoro:af_nova` in `kokoro_af_nova`."""
    return voice.replace(":", "_")


class Material:
    """Where everything lies."""

    def __init__(self, audio: Path, clips: Path, *, tuning: bool, seed: int = 1) -> None:
        self._audio = audio
        self._clips = clips
        self._tuning = tuning
        self._rng = np.random.default_rng(seed)
        self._noise: dict[str, list[Wave]] = {}

    def utterances(self, per_cell: int, snrs_db: Iterable[float | None] = SNRS_DB) -> Iterator[Utterance]:
        """`per_cell` phrases of every voice at every signal to noise ratio; kinds of noise in turn."""
        for snr_db in snrs_db:
            for voice in TUNING if self._tuning else sorted(NEVER_TRAIN):
                files = sorted((self._clips / folder_of(voice)).glob("*.wav"))
                chosen = self._rng.choice(len(files), min(per_cell, len(files)), replace=False)
                for place, number in enumerate(chosen):
                    yield self._utterance(voice, files[number], snr_db, place)

    def _utterance(self, voice: str, path: Path, snr_db: float | None, place: int) -> Utterance:
        wave = sound.padded(sound.read(path))
        kinds = self._kinds()
        kind = kinds[place % len(kinds)]
        noise = None if snr_db is None else self._stretch_of(kind, len(wave))
        samples = sound.mixed(wave, noise, snr_db, self._rng)
        text = path.stem.replace("_", " ")
        return Utterance(voice, text, snr_db, "none" if snr_db is None else kind, samples, sound.speech_end_s(wave))

    def _kinds(self) -> tuple[str, ...]:
        return (*sound.INVENTED, "recorded") if self._tuning else (*MACHINES, "fan")

    def _stretch_of(self, kind: str, count: int) -> Wave:
        if kind in sound.INVENTED:
            return sound.INVENTED[kind](self._rng, count)
        return sound.looped(self._recorded(kind), self._rng, count)

    def _recorded(self, kind: str) -> list[Wave]:
        if kind not in self._noise:
            noise = self._audio / "noise"
            paths = sorted((noise / "esc50_16k" / kind).glob("*.flac"))
            paths = [noise / f"{name}.flac" for name in TUNING_NOISE] if kind == "recorded" else paths
            self._noise[kind] = [sound.read(path) for path in paths]
        return self._noise[kind]

    def people(self, collection: str) -> list[tuple[str, Path]]:
        """(text, file) of the people who may be used here, in a drawn order."""
        folder = self._audio / "speech" / collection
        with (folder / "metadata.tsv").open(encoding="utf-8") as table:
            rows = list(csv.DictReader(table, delimiter="\t"))
        wanted = [row for row in rows if (use_of(collection, row["file"], row["speaker"]) != "test") == self._tuning]
        order = self._rng.permutation(len(wanted))
        return [(wanted[i]["text_or_label"].lower(), folder / wanted[i]["file"]) for i in order]

    def talk(self, most_s: float) -> Iterator[Stretch]:
        """Talk in a quiet room and at 10 dB, single words, babble, radio, coughs; `most_s` of each set of talk."""
        for kind, snr_db in (("talk, quiet", None), ("talk at 10 dB", 10.0)):
            for collection in TUNING_TALK if self._tuning else TEST_TALK:
                yield from self._joined(kind, self.people(collection), snr_db, most_s)
        others = [row for row in self.people("gsc_test_v002") if row[0] not in TEN_WORDS]
        yield from self._joined("single words", others, None, most_s)
        for name in ("babble_4talkers", "babble_8talkers", "babble_20talkers", "radio_chatter"):
            kind = "radio" if name.startswith("radio") else "babble"
            yield Stretch(kind, self._levelled(sound.read(self._audio / f"noise/derived_babble_radio/{name}.flac")))
        if not self._tuning:
            for kind in ("coughing", "laughing", "breathing"):
                yield Stretch("coughs", self._levelled(np.concatenate(self._recorded(kind))))

    def _joined(self, kind: str, rows: list[tuple[str, Path]], snr_db: float | None, most_s: float) -> Iterator[Stretch]:
        waves = (wave for wave in (sound.read(path) for _text, path in rows) if wave.std() > 1e-4)
        for wave in sound.joined(waves, self._rng, most_s):
            yield Stretch(kind, self.noisy(wave, snr_db))

    def machines(self, hours: float) -> Iterator[Stretch]:
        """Machines alone, a minute each, at -40 to -14 dBFS."""
        kinds = (*self._kinds(), *(() if self._tuning else ("chainsaw", "helicopter", "hand_saw", "siren", "wind", "rattle")))
        for number in range(round(60 * hours)):
            wave = self._stretch_of(kinds[number % len(kinds)], 60 * RATE)
            yield Stretch("machines alone", self._levelled(wave))

    def _levelled(self, wave: Wave) -> Samples:
        return sound.as_int16(wave / (wave.std() + 1e-9) * 10 ** (self._rng.uniform(-40, -14) / 20))

    def words(self, most: int, snr_db: float | None) -> Iterator[tuple[str, Samples]]:
        """(word, sound) of Google Speech Commands: `most` of the ten words and as many of others."""
        rows = self.people("gsc_test_v002")
        ten = [row for row in rows if row[0] in TEN_WORDS][:most]
        others = [row for row in rows if row[0] not in TEN_WORDS][:most]
        for word, path in [*ten, *others]:
            yield word, self.noisy(sound.padded(sound.read(path)), snr_db)

    def noisy(self, wave: Wave, snr_db: float | None) -> Samples:
        """A recording in a noise of any kind; as it is without a ratio."""
        kinds = self._kinds()
        noise = None if snr_db is None else self._stretch_of(kinds[self._rng.integers(len(kinds))], len(wave))
        return sound.mixed(wave, noise, snr_db, self._rng)
