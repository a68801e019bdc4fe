"""A loaded vosk model whose units are whole phrases, built from the shipped net and lexicon.

With words as units the recogniser's phrase list is a bigram that also hears mixtures of phrases. With each phrase as
one unit it is heard whole or not at all: at 0 dB, 97 of 100 phrases of two tuning voices against 79 (196 phrases).
"""

import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from assistant.errors import ModelError
from assistant.hearing.laid_out import Lexicon
from assistant.recipe import graph, lexicon, phrase_graph

Names = dict[str, str]
"""Unit name -> the words that it stands for."""


def has_lexicon(folder: Path) -> bool:
    """Whether whole phrases can be heard with the model in `folder`."""
    return (folder / lexicon.FILE).is_file()


def read_lexicon(folder: Path) -> Lexicon:
    """How the words that the model can hear are said."""
    return lexicon.read(folder / lexicon.FILE)


def load(vosk: Any, folder: Path, known: Lexicon, phrases: Iterable[str], words: Iterable[str]) -> tuple[Any, Names]:
    """A vosk model that hears `phrases` whole and `words` one by one, and the names of its units.

    Raises:
        ModelError: if a word is not known or the model cannot be written or loaded.
    """
    singles = sorted(set(words))
    try:
        with tempfile.TemporaryDirectory(prefix="bin-rescue-") as made:
            names = phrase_graph.write(folder, phrases, Path(made), singles, known)
            model = vosk.Model(model_path=made)
    except OSError as error:
        raise ModelError(f"No room for the phrases ({error.strerror}). Set TMPDIR to a writable folder.") from error
    return model, {**names, **{word: word for word in singles}}


def unit_name(words: str) -> str:
    """What the recogniser calls a whole phrase."""
    return graph.unit_name(words)
