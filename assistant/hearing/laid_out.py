"""Phrases as rows of phones, side by side, so that all are followed through the net's scores at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from assistant.hearing.cepstra import Frames
from assistant.recipe.phones import PDF_OF, Pronunciation

Lexicon = Mapping[str, tuple[Pronunciation, ...]]
Way = tuple[Pronunciation, ...]
"""One way of saying a phrase: a pronunciation of each of its words."""
NEVER: Final = np.float32(-1e4)
"""The score of what cannot be."""


def word_ways(phrase: str, lexicon: Lexicon, most: int) -> list[Way]:
    """The first `most` combinations of its words' pronunciations."""
    return list(islice(product(*(lexicon[word] for word in phrase.split())), most))


def phones_of(way: Way) -> Pronunciation:
    """Its phones without the gaps between words."""
    return tuple(phone for word in way for phone in word)


@dataclass(frozen=True, slots=True)
class LaidOut:
    """Ways of saying phrases; places are counts of phones that have sounded."""

    pdfs: NDArray[np.intp]
    """Shape (ways, longest): the phone that sounds next at each place."""
    lengths: NDArray[np.intp]
    """Shape (ways,): phones in each."""
    may_pause: Frames
    """Shape (ways, longest + 1): 0 where silence may stand, `NEVER` elsewhere."""
    word_length: Frames
    """The same shape: phones of the word that ends at a place; 1 elsewhere."""
    ends_word: NDArray[np.bool_]

    @classmethod
    def of(cls, ways: Sequence[Way]) -> "LaidOut":
        """Lay ways out."""
        lengths = np.array([len(phones_of(way)) for way in ways], np.intp)
        longest = int(lengths.max(initial=0))
        shape = (len(ways), longest + 1)
        made = cls(
            np.zeros((len(ways), longest), np.intp), lengths, np.full(shape, NEVER, np.float32),
            np.ones(shape, np.float32), np.zeros(shape, bool),
        )  # fmt: skip
        for number, way in enumerate(ways):
            made._lay(number, way)
        return made

    def _lay(self, number: int, way: Way) -> None:
        place = 0
        for word in way:
            self.pdfs[number, place : place + len(word)] = [PDF_OF[phone] for phone in word]
            self.may_pause[number, place] = 0
            place += len(word)
            self.word_length[number, place] = len(word)
            self.ends_word[number, place] = True
        self.may_pause[number, place] = 0
