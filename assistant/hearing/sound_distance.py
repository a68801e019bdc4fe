"""How far apart two phrases sound: the least that must go wrong, phone by phone, for one to become the other.

Weighted edit distance (Wagner and Fischer, J. ACM 21 (1974), from memory) between the listed pronunciations, weights
from the measured confusions. The total is what counts, not the total over the length: two long phrases that differ in
one phone are as easily taken for each other as two short ones, for all the rest of both fits either.
"""

from collections.abc import Callable, Iterable, Sequence
from itertools import islice, product
from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from assistant.errors import ModelError
from assistant.hearing.confusions import CODE_OF, NOTHING, SYMBOLS, Costs
from assistant.hearing.laid_out import Lexicon
from assistant.recipe.phones import Pronunciation, pronunciations
from protocol.numbers import NUMBER_WORDS
from protocol.phrases import NUMBER_SLOT

MOST_WAYS: Final = 64
"""So many combinations of pronunciations of one phrase are compared; no shipped phrase has more than 8."""
SLOT_COST: Final = 100.0
"""A number can stand only where a number stands."""
SPOKEN_NUMBERS: Final = tuple(sorted(NUMBER_WORDS - {"point", "decimal", "hundred", "thousand"}))
"""Words that are a number by themselves."""
_AT_ONCE: Final = 20_000
_GAP: Final = CODE_OF[NOTHING]
_SLOT: Final = len(SYMBOLS)
_ANY: Final = _SLOT + 1
"""Stands for any phones at all, at no cost."""

Codes = tuple[int, ...]
"""A way of saying something, by the codes of its phones."""


class SoundDistance:
    """Distances between phrases, in average mistakes of one phone for another."""

    def __init__(self, costs: Costs, lexicon: Lexicon) -> None:
        self._costs = _with_slot(costs)
        self._lexicon = lexicon
        self._ways: dict[str, tuple[Codes, ...]] = {}

    def require(self, texts: Iterable[str]) -> None:
        """Check that it is known how every word is said.

        Raises:
            ModelError: naming the words that are not known.
        """
        words = {word for text in texts for word in text.split()} - {NUMBER_SLOT}
        missing = sorted(word for word in words if word not in self._lexicon)
        if missing:
            raise ModelError(f"The speech model does not know: {', '.join(missing)}. Reword the phrases.")

    def between(self, pairs: Sequence[tuple[str, str]], up_to: float = inf) -> list[float]:
        """The distance of each pair of phrases, the least over all their pronunciations; infinite beyond `up_to`.

        {number} stands against {number} at no cost; against a phrase without one it is the number word that comes
        nearest.
        """
        rows = [(place, *ways) for place, pair in enumerate(pairs) for ways in self._ways_apart(*pair)]
        found = self._least(rows, up_to)
        spelt = [place for place, pair in enumerate(pairs) if _one_slot(*pair) and found.pop(place, inf) <= up_to]
        found |= self._least([(place, *ways) for place in spelt for ways in self._spelt_apart(*pairs[place])], up_to)
        distances = (found.get(place, inf) for place in range(len(pairs)))
        return [distance if distance <= up_to else inf for distance in distances]

    def _least(self, rows: list[tuple[int, Codes, Codes]], up_to: float) -> dict[int, float]:
        """The least distance by place; left out where the lengths alone put it beyond `up_to`."""
        gap = float(self._costs[:_GAP, _GAP].min())
        near = [row for row in rows if _ANY in row[1] or abs(len(row[1]) - len(row[2])) * gap <= up_to]
        near.sort(key=lambda row: (len(row[1]), len(row[2])))
        found: dict[int, float] = {}
        for start in range(0, len(near), _AT_ONCE):
            some = near[start : start + _AT_ONCE]
            distances = edit_distances([(a, b) for _, a, b in some], self._costs)
            for (place, _, _), distance in zip(some, distances, strict=True):
                found[place] = min(found.get(place, inf), float(distance))
        return found

    def _ways_apart(self, one: str, other: str) -> Iterable[tuple[Codes, Codes]]:
        """What is laid side by side; where one alone has a number, it comes first and anything may be said there."""
        if not _one_slot(one, other):
            return product(self._said(one), self._said(other))
        slotted, plain = (one, other) if NUMBER_SLOT in one else (other, one)
        free = (tuple(_ANY if code == _SLOT else code for code in way) for way in self._said(slotted))
        return product(free, self._said(plain))

    def _spelt_apart(self, one: str, other: str) -> Iterable[tuple[Codes, Codes]]:
        """The same with every number word in its place."""
        slotted, plain = (one, other) if NUMBER_SLOT in one else (other, one)
        words = [word for word in SPOKEN_NUMBERS if word in self._lexicon]
        ways = dict.fromkeys(way for word in words for way in self._said(slotted.replace(NUMBER_SLOT, word)))
        return product(ways, self._said(plain))

    def _said(self, text: str) -> tuple[Codes, ...]:
        if text not in self._ways:
            self._ways[text] = ways_of(text.split(), self._lexicon.__getitem__)
        return self._ways[text]


def _one_slot(one: str, other: str) -> bool:
    return (NUMBER_SLOT in one) != (NUMBER_SLOT in other)


def ways_of(words: Iterable[str], say: Callable[[str], Sequence[Pronunciation]] = pronunciations) -> tuple[Codes, ...]:
    """Every way of saying some words one after another, each once, MOST_WAYS at most.

    Args:
        words: lower case.
        say: how a word is said.
    """
    ways = product(*((((_SLOT,),) if word == NUMBER_SLOT else map(_coded, say(word))) for word in words))
    joined = (tuple(code for part in way for code in part) for way in islice(ways, MOST_WAYS))
    return tuple(dict.fromkeys(joined))


def _coded(said: Pronunciation) -> Codes:
    return tuple(CODE_OF[phone] for phone in said)


def edit_distances(pairs: Sequence[tuple[Codes, Codes]], costs: Costs) -> NDArray[np.float64]:
    """Weighted edit distance of each pair, all pairs at a time.

    Args:
        pairs: two strings of codes each.
        costs: symmetric, shape (codes, codes); the column of NOTHING is what it costs to drop or put in a phone.
    """
    (left, left_length), (right, right_length) = (_padded([pair[side] for pair in pairs]) for side in (0, 1))
    gap = costs[:, _GAP]
    along = np.zeros((len(pairs), right.shape[1] + 1))
    along[:, 1:] = gap[right].cumsum(axis=1)
    row = along.copy()
    for place in range(left.shape[1]):
        phone = left[:, place]
        dropped = row + gap[phone][:, None]
        dropped[:, 1:] = np.minimum(dropped[:, 1:], row[:, :-1] + costs[phone[:, None], right])
        put_in = along + np.minimum.accumulate(dropped - along, axis=1)
        anything = phone == _ANY
        if anything.any():
            put_in[anything] = np.minimum.accumulate(row[anything], axis=1)
        row = np.where((place < left_length)[:, None], put_in, row)
    return np.asarray(row[np.arange(len(pairs)), right_length])


def aligned(said: Codes, heard: Codes, costs: Costs) -> tuple[float, list[tuple[int, int]]]:
    """The cheapest way to lay what was heard beside what was said: its cost and the pairs, NOTHING for a gap."""
    gap = costs[:, _GAP]
    table = np.zeros((len(said) + 1, len(heard) + 1))
    table[1:, 0] = gap[list(said)].cumsum()
    table[0, 1:] = gap[list(heard)].cumsum()
    for i, one in enumerate(said):
        for j, other in enumerate(heard):
            table[i + 1, j + 1] = min(
                table[i, j] + costs[one, other], table[i, j + 1] + gap[one], table[i + 1, j] + gap[other]
            )
    return float(table[-1, -1]), _way_back(table, said, heard, costs)


def _way_back(table: NDArray[np.float64], said: Codes, heard: Codes, costs: Costs) -> list[tuple[int, int]]:
    pairs: list[tuple[int, int]] = []
    i, j = len(said), len(heard)
    while i or j:
        if i and j and np.isclose(table[i, j], table[i - 1, j - 1] + costs[said[i - 1], heard[j - 1]]):
            i, j = i - 1, j - 1
            pairs.append((said[i], heard[j]))
        elif i and np.isclose(table[i, j], table[i - 1, j] + costs[said[i - 1], _GAP]):
            i -= 1
            pairs.append((said[i], _GAP))
        else:
            j -= 1
            pairs.append((_GAP, heard[j]))
    return pairs[::-1]


def _padded(strings: Sequence[Codes]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    lengths = np.array([len(string) for string in strings], np.intp)
    padded = np.zeros((len(strings), max(lengths, default=0)), np.intp)
    for place, string in enumerate(strings):
        padded[place, : len(string)] = string
    return padded, lengths


def _with_slot(costs: Costs) -> Costs:
    wider = np.full((_ANY + 1, _ANY + 1), SLOT_COST)
    wider[:_SLOT, :_SLOT] = costs
    wider[_SLOT, _SLOT] = 0.0
    return wider
