"""The offline recogniser: a vosk model and its vocabulary."""

import json
from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path
from typing import Any

from assistant.errors import ModelError
from assistant.hearing.blocks import RATE

NEEDED = ("am/final.mdl", "conf/model.conf")
UNKNOWN = "[unk]"


def shipped_model() -> Path:
    """The model that comes with the program."""
    return Path(str(files("assistant") / "model"))


class SpeechModel:
    """A loaded model.

    Raises:
        ModelError: if the folder is missing or holds no model.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or shipped_model()
        if not self.path.is_dir():
            raise ModelError(f"There is no speech model at {self.path}. Give another with --model, or use --keyboard.")
        lacking = [name for name in NEEDED if not (self.path / name).is_file()]
        if lacking:
            raise ModelError(f"{self.path} is not a speech model: {', '.join(lacking)} is missing. Give a vosk model.")
        try:
            import vosk  # noqa: PLC0415  loading it takes time
        except OSError as error:
            raise ModelError(f"The recogniser cannot be loaded ({error}). Use --keyboard.") from error
        self._vosk = vosk
        vosk.SetLogLevel(-1)
        try:
            self._model = vosk.Model(model_path=str(self.path))
        except Exception as error:
            raise ModelError(f"{self.path} cannot be loaded as a speech model ({error}).") from error

    def missing_words(self, words: Iterable[str]) -> list[str]:
        """Words that the model does not know, sorted."""
        return sorted({word for word in words if self._model.vosk_model_find_word(word) < 0})

    def require(self, phrases: Iterable[str]) -> None:
        """Check that every word of every phrase can be recognised.

        Raises:
            ModelError: naming the words that cannot.
        """
        words = {word for phrase in phrases for word in phrase.split() if not word.startswith("{")}
        missing = self.missing_words(words)
        if missing:
            raise ModelError(f"The speech model does not know: {', '.join(missing)}. Reword the phrases.")

    def recogniser(self, sentences: Iterable[str]) -> Any:
        """A recogniser for these sentences and for "none of them"."""
        grammar = json.dumps([*sentences, UNKNOWN])
        made = self._vosk.KaldiRecognizer(self._model, RATE, grammar)
        made.SetWords(True)
        return made
