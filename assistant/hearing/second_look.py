"""The second look at a phrase that the recogniser thinks it hears: was every word of it really said, and to its end?

The phrase's phones are laid along the phone net's own scores in the best way. What that way loses against the best
phone at every moment, per phone, is the shortfall: near 0 for a phrase that was said, large for one that was read into
talk or noise. Source of the measure: goodness of pronunciation, Witt and Young, Speech Communication 30 (2000), from
memory.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from assistant.hearing.cepstra import Frames
from assistant.hearing.laid_out import NEVER, LaidOut, Lexicon, word_ways
from assistant.hearing.phone_net import ROW_S
from assistant.recipe.phones import BLANK, SILENCE

MOST_WAYS: Final = 12
"""So many combinations of pronunciations of one phrase are tried."""
STRAIGHT_AFTER_S: Final = 0.36
"""Whoever goes on speaking sounds two more phones within this time; the puff of a last "p" is taken for one."""
SPEAKS: Final = -1.5
"""A row in which "no phone" loses more than this against the best phone is speech."""
MORE: Final = 3
"""So many rows of speech straight after a phrase say that it went on; a breath or a puff makes one or two."""
PER_PHONE_MORE: Final = 2.5
"""The further phones of a longer phrase must fit better than this to be taken for said."""


@dataclass(frozen=True, slots=True)
class Look:
    """What was seen up to now. Times are seconds since the first row."""

    shortfall: float
    """Mean loss per phone; 0 is perfect, large is bad."""
    worst_word: float
    """The same for the word that fits worst."""
    start_s: float
    end_s: float
    """When the last phone sounded."""
    quiet_s: float
    """How long nothing more has been said after it."""
    calm_s: float
    """How long nothing else was even as likely as that."""
    more: int
    """Phones that sounded straight after it."""
    phones: int

    @property
    def duration_s(self) -> float:
        """From the first phone to the last."""
        return self.end_s - self.start_s

    @property
    def followed(self) -> bool:
        """More was said straight after it."""
        return self.more >= MORE

    @property
    def loss(self) -> float:
        """Of two phrases one of which begins the other, that with the lower figure was said."""
        return (self.shortfall - PER_PHONE_MORE) * self.phones


@dataclass(slots=True)
class _Paths:
    """For every way of saying the phrase and every count of phones already sounded, the best path so far."""

    score: Frames
    """Shape (ways, phones + 1)."""
    start: NDArray[np.int32]
    """Row of its first phone."""
    word_from: Frames
    """Score when its present word began."""
    worst: Frames
    """Least mean score of a word that is complete."""

    @classmethod
    def none(cls, shape: tuple[int, int]) -> "_Paths":
        """No path yet."""
        zero = np.zeros(shape, np.float32)
        return cls(zero + NEVER, np.zeros(shape, np.int32), zero.copy(), zero.copy())

    def where(self, mine: NDArray[np.bool_], other: "_Paths") -> "_Paths":
        """My paths where `mine`, the other's elsewhere."""
        return _Paths(
            np.where(mine, self.score, other.score), np.where(mine, self.start, other.start),
            np.where(mine, self.word_from, other.word_from), np.where(mine, self.worst, other.worst),
        )  # fmt: skip


class PhraseTracker:
    """Follows one phrase through rows of scores."""

    def __init__(self, phrase: str, lexicon: Lexicon) -> None:
        self._laid = LaidOut.of(word_ways(phrase, lexicon, MOST_WAYS))
        shape = self._laid.may_pause.shape
        self._rows = 0
        self._sounding, self._paused = _Paths.none(shape), _Paths.none(shape)
        self._best: Look | None = None

    def feed(self, rows: Frames) -> None:
        """Take more rows, shape (n, outputs)."""
        for row in rows - rows.max(axis=1, keepdims=True):
            self._step(row)
            self._rows += 1

    @property
    def look(self) -> Look | None:
        """The best that was seen, once the phrase has been said to its end."""
        return self._best

    def _step(self, row: Frames) -> None:
        self._paused.score[:, 0] = 0
        self._paused.word_from[:, 0], self._paused.worst[:, 0] = 0, 0
        self._sounding.score[:, 0] = NEVER
        before = self._paused.where(self._paused.score > self._sounding.score, self._sounding)
        entered = self._entered(before, row)
        stayed = _Paths(
            self._sounding.score + row[BLANK], self._sounding.start, self._sounding.word_from, self._sounding.worst
        )
        entering = entered.score > stayed.score
        self._sounding = entered.where(entering, stayed)
        paused = before.score + row[SILENCE] + self._laid.may_pause
        self._paused = _Paths(paused, before.start, before.word_from, before.worst)
        self._note(row)

    def _entered(self, before: _Paths, row: Frames) -> _Paths:
        """Every path one phone further."""
        made = _Paths.none(before.score.shape)
        made.score[:, 1:] = before.score[:, :-1] + row[self._laid.pdfs]
        first = np.zeros(self._laid.pdfs.shape, bool)
        first[:, 0] = True
        made.start[:, 1:] = np.where(first, self._rows, before.start[:, :-1])
        fresh = self._laid.ends_word[:, :-1] | first
        finished = (before.score - before.word_from) / self._laid.word_length
        worst = np.where(self._laid.ends_word, np.minimum(before.worst, finished), before.worst)
        made.word_from[:, 1:] = np.where(fresh, np.where(first, 0, before.score[:, :-1]), before.word_from[:, :-1])
        made.worst[:, 1:] = worst[:, :-1]
        return made

    def _note(self, row: Frames) -> None:
        """Whether the last phone has just sounded in the best way so far; else, how quiet it is after it."""
        ways = np.arange(len(self._laid.lengths))
        means = self._sounding.score[ways, self._laid.lengths] / self._laid.lengths
        way = int(means.argmax())
        if self._best is None or -float(means[way]) < self._best.shortfall:
            self._best = self._seen(way, -float(means[way]))
        else:
            self._best = _after(self._best, float(max(row[BLANK], row[SILENCE])), self._rows * ROW_S)

    def _seen(self, way: int, shortfall: float) -> Look:
        length = int(self._laid.lengths[way])
        last = float(self._sounding.score[way, length] - self._sounding.word_from[way, length])
        worst = min(float(self._sounding.worst[way, length]), last / float(self._laid.word_length[way, length]))
        start = int(self._sounding.start[way, length])
        return Look(shortfall, -worst, start * ROW_S, self._rows * ROW_S, 0.0, 0.0, 0, length)


def _after(seen: Look, stillness: float, at_s: float) -> Look:
    """The same phrase one row later; `stillness` is the loss of "no phone" in that row."""
    speaks = stillness < SPEAKS
    more = seen.more + (speaks and at_s - seen.end_s <= STRAIGHT_AFTER_S)
    quiet_s = 0.0 if speaks else seen.quiet_s + ROW_S
    calm_s = seen.calm_s + ROW_S if stillness >= 0 else 0.0
    return replace(seen, quiet_s=quiet_s, calm_s=calm_s, more=more)
