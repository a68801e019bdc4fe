"""Listeners that are measured: ours, and two general recognisers given the same phrases."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from assistant.clock import cpu_seconds
from assistant.hearing.belief import Evidence, Policy
from assistant.hearing.blocks import BLOCK_S, RATE, Block, Samples
from assistant.hearing.grammar import Grammar
from assistant.hearing.listener import Listener, ListenPhrase
from assistant.hearing.recogniser import SpeechModel

SIZE = round(BLOCK_S * RATE)


@dataclass(frozen=True, slots=True)
class Taken:
    """A phrase that was taken, and when."""

    text: str
    at_s: float
    phrase: ListenPhrase | None = None
    evidence: Evidence | None = None


class Ear(Protocol):
    """Anything that takes phrases from sound."""

    name: str
    cpu_s: float

    def hear(self, samples: Samples) -> list[Taken]:
        """What was taken from a recording, heard from its beginning by a fresh listener."""
        ...


class OurEar:
    """The program's own, in blocks as a station hears them."""

    name = "this program"

    def __init__(self, phrases: Sequence[ListenPhrase], model: Path | None, policy: Policy | None = None) -> None:
        self._model = SpeechModel(model)
        self._phrases = phrases
        self._policy = policy
        self._model.require(phrase.text for phrase in phrases)
        self.cpu_s = 0.0

    def hear(self, samples: Samples) -> list[Taken]:
        """One recording."""
        listener = Listener(self._model, self._policy)
        listener.set_phrases(self._phrases)
        begun = cpu_seconds()
        heard = []
        for start in range(0, len(samples), SIZE):
            heard += listener.feed(Block(samples[start : start + SIZE], start / RATE))
        heard += listener.flush()
        self.cpu_s += cpu_seconds() - begun
        return [Taken(one.text, one.accepted_at_s, one.phrase, one.evidence) for one in heard]


class PocketEar:
    """pocketsphinx with a grammar of the phrases; its phone loop is the filler (keyword lists were no better)."""

    name = "pocketsphinx"

    def __init__(self, phrases: Sequence[ListenPhrase]) -> None:
        from pocketsphinx import Config, Decoder, Endpointer  # noqa: PLC0415

        self._endpointer = Endpointer
        config = Config(lm=None, loglevel="FATAL")
        self._decoder: Any = Decoder(config)
        plain = [phrase.text for phrase in phrases if "{" not in phrase.text]
        self._texts = [text for text in plain if all(self._decoder.lookup_word(word) for word in text.split())]
        rows = " | ".join(self._texts)
        self._decoder.add_jsgf_string("phrases", f"#JSGF V1.0; grammar phrases; public <phrase> = {rows};".encode())
        self._decoder.activate_search("phrases")
        self.cpu_s = 0.0

    def hear(self, samples: Samples) -> list[Taken]:
        """One recording, cut where its own endpointer hears speech."""
        begun = cpu_seconds()
        taken, open_now = [], False
        ends = self._endpointer(sample_rate=RATE)
        size = ends.frame_bytes // 2
        for start in range(0, len(samples) - size, size):
            speech = ends.process(samples[start : start + size].tobytes())
            if speech is not None and not open_now:
                self._decoder.start_utt()
                open_now = True
            if speech is not None:
                self._decoder.process_raw(speech)
            if open_now and not ends.in_speech:
                taken += self._close((start + size) / RATE)
                open_now = False
        taken += self._close(len(samples) / RATE) if open_now else []
        self.cpu_s += cpu_seconds() - begun
        return taken

    def _close(self, at_s: float) -> list[Taken]:
        self._decoder.end_utt()
        found = self._decoder.hyp()
        return [Taken(found.hypstr, at_s)] if found is not None and found.hypstr in self._texts else []


class WhisperEar:
    """faster-whisper tiny, the whole recording at once, its text mapped to the nearest phrase if near enough."""

    name = "faster-whisper tiny"

    def __init__(self, phrases: Sequence[ListenPhrase], folder: Path) -> None:
        from faster_whisper import WhisperModel  # noqa: PLC0415

        self._model: Any = WhisperModel(str(folder), device="cpu", cpu_threads=1, compute_type="int8")
        self._grammar = Grammar(phrases)
        self._texts = [phrase.text for phrase in phrases if "{" not in phrase.text]
        self._prompt = ", ".join(sorted({word for text in self._texts for word in text.split()})[:120])
        self.cpu_s = 0.0

    def hear(self, samples: Samples) -> list[Taken]:
        """One recording."""
        begun = cpu_seconds()
        wave = samples.astype(np.float32) / 32768
        parts, _info = self._model.transcribe(wave, language="en", initial_prompt=self._prompt, beam_size=1)
        said = " ".join(part.text for part in parts).lower()
        words = " ".join("".join(c if c.isalpha() else " " for c in said).split())
        self.cpu_s += cpu_seconds() - begun
        near = [(SequenceMatcher(None, words, text).ratio(), text) for text in self._texts]
        best, text = max(near, default=(0.0, ""))
        return [Taken(text, len(samples) / RATE)] if best >= 0.8 else []


def rivals(phrases: Sequence[ListenPhrase], whisper: Path | None) -> list[Ear]:
    """Those that are installed; what is missing is named."""
    ears: list[Ear] = []
    makers = [("pocketsphinx", lambda: PocketEar(phrases))]
    if whisper is not None:
        makers.append(("faster-whisper", lambda: WhisperEar(phrases, whisper)))
    for name, make in makers:
        try:
            ears.append(make())
        except ImportError as error:
            print(f"{name} is left out: {error}")
    return ears


def dumps(rows: object) -> str:
    """JSON for a file."""
    return json.dumps(rows, indent=1)
