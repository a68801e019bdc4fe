"""A phrase that may have just been said, followed through the phone net until it is believed or forgotten."""

from collections import deque
from collections.abc import Iterable

import numpy as np

from assistant.hearing.blocks import RATE, Block, Samples
from assistant.hearing.cepstra import Frames
from assistant.hearing.laid_out import Lexicon
from assistant.hearing.others import Others
from assistant.hearing.phone_net import ROW_S, PhoneNet, PhoneStream
from assistant.hearing.second_look import Look, PhraseTracker

KEEP_S = 6.0
"""Sound that is kept to look back at."""
MOST_WAITING = RATE
"""Samples that may wait until somebody asks; many at once are done in a third of the time, but not at once."""
ROWS_BEFORE, ROWS_AFTER = 8, 6
"""Rows around a phrase that are looked at with it."""
OTHERS_BEFORE, OTHERS_AFTER = 60, 25
"""Another phrase that was said instead may have begun so many rows earlier or ended so many later."""


class RecentSound:
    """The last seconds of sound."""

    def __init__(self, keep_s: float = KEEP_S) -> None:
        self._keep_s = keep_s
        self._blocks: deque[Block] = deque()

    def add(self, block: Block) -> None:
        """Take a block."""
        self._blocks.append(block)
        while self._blocks[0].end_s < block.end_s - self._keep_s:
            self._blocks.popleft()

    def since(self, from_s: float) -> list[Block]:
        """The blocks that begin at `from_s` or later."""
        return [block for block in self._blocks if block.start_s >= from_s - 0.5 / RATE]


class Observer:
    """The phone net's view of the present utterance; it works only while there is something to look at."""

    def __init__(self, net: PhoneNet, lexicon: Lexicon) -> None:
        self._net = net
        self._lexicon = lexicon
        self._stream: PhoneStream | None = None
        self._rows: list[Frames] = []
        self._waiting: list[Samples] = []
        self._text = ""
        self._tracker: PhraseTracker | None = None
        self.zero_s = 0.0
        """Where its first row lies in the stream of sound."""

    @property
    def awake(self) -> bool:
        """Whether it follows an utterance."""
        return self._stream is not None

    def wake(self, blocks: list[Block]) -> None:
        """Begin with what was heard lately."""
        self.sleep()
        self._stream = PhoneStream(self._net)
        self.zero_s = blocks[0].start_s if blocks else 0.0
        if blocks:
            self.hear(np.concatenate([block.samples for block in blocks]))

    def sleep(self) -> None:
        """Forget the utterance."""
        self._stream, self._tracker, self._rows, self._waiting, self._text = None, None, [], [], ""

    def hear(self, samples: Samples) -> None:
        """More sound."""
        if self._stream is None:
            return
        self._waiting.append(samples)
        if sum(map(len, self._waiting)) >= MOST_WAITING:
            self._catch_up(self._stream)

    def end(self) -> None:
        """No more sound will come."""
        if self._stream is not None:
            self._catch_up(self._stream)
            self._take(self._stream.finish())

    def look_for(self, text: str) -> Look | None:
        """How well a phrase fits what was heard; None until it has been said to its end."""
        if self._stream is not None:
            self._catch_up(self._stream)
        if self._tracker is None or text != self._text:
            self._tracker, self._text = self._tracked(text), text
        return self._tracker.look

    def lead(self, look: Look, text: str, others: Others, *, early: bool) -> float:
        """By how much a whole phrase fits better than the best of others; `early`: they may still be being said."""
        rows = self._rows_of(look, OTHERS_BEFORE, OTHERS_AFTER)
        return others.lead(rows, text, look, min(OTHERS_BEFORE, _row(look.start_s)), early=early)

    def unclear(self, look: Look) -> float:
        """Mean entropy of the net's answers while a phrase was said."""
        rows = self._rows_of(look)
        rows = rows - rows.max(axis=1, keepdims=True)
        rows = rows - np.log(np.exp(rows).sum(axis=1, keepdims=True))
        return float(-(np.exp(rows) * rows).sum(axis=1).mean())

    def _rows_of(self, look: Look, before: int = ROWS_BEFORE, after: int = ROWS_AFTER) -> Frames:
        rows = np.concatenate(self._rows)
        return rows[max(0, _row(look.start_s) - before) : _row(look.end_s) + after]

    def better(self, text: str, look: Look, kin: Iterable[str]) -> tuple[str, Look]:
        """The phrase, or one of `kin` that begin it or go on from it, if that is what was said."""
        tries = [(text, look), *((other, seen) for other in kin if (seen := self._tracked(other).look) is not None)]
        return min(tries, key=lambda one: one[1].loss)

    def _tracked(self, text: str) -> PhraseTracker:
        tracker = PhraseTracker(text, self._lexicon)
        for rows in self._rows:
            tracker.feed(rows)
        return tracker

    def _catch_up(self, stream: PhoneStream) -> None:
        if self._waiting:
            self._take(stream.feed(np.concatenate(self._waiting)))
            self._waiting = []

    def _take(self, rows: Frames) -> None:
        self._rows.append(rows)
        if self._tracker is not None:
            self._tracker.feed(rows)


def _row(at_s: float) -> int:
    return round(at_s / ROW_S)
