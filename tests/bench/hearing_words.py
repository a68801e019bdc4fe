"""Word errors in AN4: any of its words may follow any other; no phrase list, no second look, no language model."""

import json
from pathlib import Path

from rapidfuzz.distance import Levenshtein

from assistant.hearing import whole_phrases
from assistant.hearing.blocks import RATE, Samples
from assistant.hearing.recogniser import Recogniser, SpeechModel
from assistant.recipe.corpus import spoken_words
from tests.bench import hearing_sound as sound
from tests.bench.hearing_material import Material

COLLECTION = "an4"


def an4(material: Material, model: Path | None, snr_db: float | None, most: int) -> tuple[int, int]:
    """(word errors, words said) of the people who may be used."""
    rows = [(words, path) for text, path in material.people(COLLECTION) if (words := spoken_words(text))]
    loop = _WordLoop(model, {word for words, _path in rows for word in words})
    errors = said = 0
    for words, path in rows[:most]:
        heard = loop.hear(material.noisy(sound.padded(sound.read(path)), snr_db))
        errors += Levenshtein.distance(words, heard)
        said += len(words)
    return errors, said


class _WordLoop:
    def __init__(self, path: Path | None, words: set[str]) -> None:
        model = SpeechModel(path)
        self._vosk = model._vosk
        self._words = sorted(set(words) - set(model.missing_words(words)))
        self._model, self._names = whole_phrases.load(model._vosk, model.path, model.lexicon, (), self._words)

    def hear(self, samples: Samples) -> list[str]:
        made = self._vosk.KaldiRecognizer(self._model, RATE, json.dumps(self._words))
        recogniser = Recogniser(made, self._names)
        pieces = [recogniser.take(samples) or (), recogniser.finish()]
        return [piece.words for result in pieces for piece in result]
