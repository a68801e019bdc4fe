"""The offline recogniser: a vosk model, its vocabulary, and what it says about a stretch of sound."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.errors import ModelError
from assistant.hearing import whole_phrases
from assistant.hearing.belief import Policy, read_policy
from assistant.hearing.blocks import RATE, Samples
from assistant.hearing.grammar import RADIO_FIGURES, UNKNOWN, Grammar, Part
from assistant.hearing.phone_net import PhoneNet
from assistant.recipe.net_file import read_net

if TYPE_CHECKING:
    from assistant.hearing.laid_out import Lexicon

NEEDED = ("am/final.mdl", "conf/model.conf")


@dataclass(frozen=True, slots=True)
class Piece:
    """A unit that was heard: a whole phrase, a word, or none of them."""

    words: str
    start_s: float
    """Since the recogniser was made."""
    end_s: float
    confidence: float
    """0 to 1."""

    @property
    def known(self) -> bool:
        """Whether it is anything but speech that is none of the phrases."""
        return self.words != UNKNOWN


Result = tuple[Piece, ...]


class Recogniser:
    """One stream of sound against one set of phrases and "none of them"."""

    def __init__(self, kaldi: Any, names: dict[str, str]) -> None:
        self.whole_phrases = bool(names)
        """Then `partial` names a phrase as soon as nothing else begins like it, before it has been said to its end."""
        self._kaldi = kaldi
        self._kaldi.SetWords(True)
        self._names = names

    def take(self, samples: Samples) -> Result | None:
        """Hear more; what was said, once a pause ends it."""
        if self._kaldi.AcceptWaveform(samples.tobytes()):
            return self._result(self._kaldi.Result())
        return None

    def partial(self) -> tuple[str, ...]:
        """Units that seem to be said just now, which may still change; `UNKNOWN` for what is none of the phrases."""
        said = str(json.loads(self._kaldi.PartialResult()).get("partial", ""))
        return tuple(self._names.get(unit, unit) for unit in said.split())

    def finish(self) -> Result:
        """What was said up to here."""
        return self._result(self._kaldi.FinalResult())

    def _result(self, text: str) -> Result:
        return tuple(
            Piece(self._names.get(one["word"], one["word"]), float(one["start"]), float(one["end"]), float(one["conf"]))
            for one in json.loads(text).get("result", [])
        )


class SpeechModel:
    """A model: the shipped one, which hears phrases whole, or any other English vosk model, which hears words.

    Raises:
        ModelError: if the folder is missing or holds no model.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or shipped_model()
        _check(self.path)
        self._vosk = _vosk()
        self._vosk.SetLogLevel(-2)
        self._wanted: set[Part] = set()
        self._names: dict[str, str] = {}
        self.lexicon: Lexicon = {}
        """How words are said; empty for other models, which hear words and get no second look."""
        self.net: PhoneNet | None = None
        self.policy: Policy = read_policy(self.path)
        """What is asked of a phrase heard with this model."""
        self._model: Any = None
        if whole_phrases.has_lexicon(self.path):
            self.lexicon = whole_phrases.read_lexicon(self.path)
            self.net = PhoneNet.of_file(read_net(self.path / "am/final.mdl"))
        else:
            self._model = _loaded(self._vosk, self.path)

    def missing_words(self, words: Iterable[str]) -> list[str]:
        """Words that the model does not know, sorted."""
        if self.lexicon:
            return sorted(set(words) - self.lexicon.keys())
        return sorted({word for word in words if self._model.vosk_model_find_word(word) < 0})

    def require(self, phrases: Iterable[str]) -> None:
        """Check that every word of every phrase can be recognised, and be ready for all of them.

        Raises:
            ModelError: naming the words that cannot.
        """
        parts = Grammar.of_texts(phrases).parts()
        missing = self.missing_words({word for part in parts for word in part.words.split()} - RADIO_FIGURES)
        if missing:
            raise ModelError(f"The speech model does not know: {', '.join(missing)}. Reword the phrases.")
        self._wanted |= parts

    def recogniser(self, grammar: Grammar) -> Recogniser:
        """A recogniser for these phrases and for "none of them".

        Raises:
            ModelError: if a word is not known.
        """
        if self.lexicon:
            self._build_for(grammar)
        unknown = set(self.missing_words(RADIO_FIGURES))
        sentences = [
            " ".join(self._unit(part) for part in sentence)
            for sentence in grammar.sentences()
            if not any(part.words in unknown for part in sentence)
        ]
        made = self._vosk.KaldiRecognizer(self._model, RATE, json.dumps([*sentences, UNKNOWN]))
        return Recogniser(made, self._names)

    def _unit(self, part: Part) -> str:
        return part.words if part.single or not self.lexicon else whole_phrases.unit_name(part.words)

    def _build_for(self, grammar: Grammar) -> None:
        parts = grammar.parts()
        if self._model is not None and parts <= self._wanted and all(self._unit(part) in self._names for part in parts):
            return
        self._wanted |= parts
        phrases = sorted(part.words for part in self._wanted if not part.single)
        words = sorted(part.words for part in self._wanted if part.single)
        try:
            self._model, self._names = whole_phrases.load(self._vosk, self.path, self.lexicon, phrases, words)
        except ModelError:
            self._wanted -= parts
            raise


def shipped_model() -> Path:
    """The model that comes with the program."""
    return Path(str(files("assistant") / "model"))


def _check(path: Path) -> None:
    if not path.is_dir():
        raise ModelError(f"There is no speech model at {path}. Give another with --model, or use --keyboard.")
    lacking = [name for name in NEEDED if not (path / name).is_file()]
    if lacking:
        raise ModelError(f"{path} is not a speech model: {', '.join(lacking)} is missing. Give a vosk model.")


def _vosk() -> Any:
    try:
        import vosk  # noqa: PLC0415  loading it takes time
    except OSError as error:
        raise ModelError(f"The recogniser cannot be loaded ({error}). Use --keyboard.") from error
    return vosk


def _loaded(vosk: Any, path: Path) -> Any:
    try:
        return vosk.Model(model_path=str(path))
    except Exception as error:
        raise ModelError(f"{path} cannot be loaded as a speech model ({error}).") from error
