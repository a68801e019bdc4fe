"""Every other phrase in force against what was heard: a phrase that was said fits far better than all of them.

In noise every phrase fits worse, and so do the others; what remains is by how much one stands out. Source of the idea:
cohort normalisation in speaker verification (Rosenberg et al., ICSLP 1992), from memory.
"""

from collections.abc import Iterable
from itertools import islice, product
from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from assistant.hearing.cepstra import Frames
from assistant.hearing.second_look import Lexicon
from assistant.recipe.phones import BLANK, PDF_OF, SILENCE, Pronunciation

WAYS: Final = 2
"""So many combinations of pronunciations of each phrase are tried."""
_NEVER: Final = np.float32(-1e4)


class Others:
    """All phrases side by side."""

    def __init__(self, texts: Iterable[str], lexicon: Lexicon) -> None:
        said = [(text, way) for text in texts for way in _ways(text, lexicon)]
        self._texts = tuple(text for text, _ in said)
        self._lengths = np.array([sum(map(len, way)) for _, way in said], np.intp)
        longest = int(self._lengths.max(initial=0))
        self._pdfs = np.zeros((len(said), longest), np.intp)
        self._may_pause = np.full((len(said), longest + 1), _NEVER, np.float32)
        for number, (_, way) in enumerate(said):
            self._lay(number, way)

    def _lay(self, number: int, way: tuple[Pronunciation, ...]) -> None:
        place = 0
        for word in way:
            self._pdfs[number, place : place + len(word)] = [PDF_OF[phone] for phone in word]
            self._may_pause[number, place] = 0
            place += len(word)
        self._may_pause[number, place] = 0

    def nearest(self, rows: Frames, text: str) -> float:
        """Mean loss per phone of the best phrase that is not `text`, nor begins it or begins with it; infinite if none.

        Args:
            rows: log likelihoods of every phone, shape (n, outputs), about as long as `text` took.
            text: the phrase that is thought to be heard.
        """
        apart = [number for number, other in enumerate(self._texts) if not _one_begins_the_other(other, text)]
        return float(self._losses(rows)[apart].min()) if apart else inf

    def _losses(self, rows: Frames) -> NDArray[np.float32]:
        sounding = np.full(self._may_pause.shape, _NEVER, np.float32)
        paused = sounding.copy()
        best = np.full(len(self._texts), _NEVER, np.float32)
        every = np.arange(len(self._texts))
        for row in rows - rows.max(axis=1, keepdims=True):
            paused[:, 0], sounding[:, 0] = 0, _NEVER
            before = np.maximum(paused, sounding)
            sounding += row[BLANK]
            sounding[:, 1:] = np.maximum(sounding[:, 1:], before[:, :-1] + row[self._pdfs])
            paused = before + row[SILENCE] + self._may_pause
            best = np.maximum(best, sounding[every, self._lengths])
        return np.asarray(-best / self._lengths, np.float32)


def _ways(text: str, lexicon: Lexicon) -> list[tuple[Pronunciation, ...]]:
    return list(islice(product(*(lexicon[word] for word in text.split())), WAYS))


def _one_begins_the_other(one: str, other: str) -> bool:
    return one.startswith(other) or other.startswith(one)
