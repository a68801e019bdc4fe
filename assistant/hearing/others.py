"""Every other phrase in force against what was heard: a phrase that was said fits far better than all of them.

In noise every phrase fits worse, and so do the others; what remains is by how much one stands out. Source of the idea:
cohort normalisation in speaker verification (Rosenberg et al., ICSLP 1992), from memory.
"""

from collections.abc import Iterable
from math import inf
from typing import Final

import numpy as np

from assistant.hearing.cepstra import Frames
from assistant.hearing.laid_out import NEVER, LaidOut, Lexicon, phones_of, word_ways
from assistant.hearing.phone_net import ROW_S
from assistant.hearing.second_look import PER_PHONE_MORE, Look
from assistant.recipe.phones import BLANK, SILENCE, Pronunciation

MOSTLY: Final = 0.6
LEAST_SAID: Final = 5
"""A phrase counts as under way once this share of the phones of what was heard, and so many, have been said of it."""
WAYS: Final = 2
"""So many combinations of pronunciations of each phrase are tried."""


class Others:
    """All phrases side by side."""

    def __init__(self, texts: Iterable[str], lexicon: Lexicon) -> None:
        ways = [way for text in texts for way in word_ways(text, lexicon, WAYS)]
        self._lexicon = lexicon
        self._phones = tuple(phones_of(way) for way in ways)
        self._laid = LaidOut.of(ways)

    def lead(self, rows: Frames, text: str, look: Look, since: int = 0, *, early: bool = False) -> float:
        """By how much the whole of a phrase fits better than the best of the others; infinite without others.

        One that begins the other by its sound ("four", "forty", "fourteen") fits wherever the other was said. A longer
        one counts if its further phones fit well enough, the first of them as well as nothing; a shorter one pays for
        what it leaves unsaid: the hum of a fan after "forty" is an "n" to the net.

        Args:
            rows: log likelihoods of every phone, shape (n, outputs), from before `text` was said until long after it.
            text: the phrase that is thought to be heard.
            look: what the second look saw of it.
            since: the row in which it began. What ended before that was something else; so was what began later than
                half-way through it, unless it is shorter. What was said may end long after it: noise can leave no more
                than the first half of a longer phrase to hear.
            early: somebody may still be speaking: another phrase that is mostly said already counts, too.
        """
        mine = {phones_of(way) for way in word_ways(text, self._lexicon, WAYS)}
        whole, under_way = self._losses(rows, since, look)
        leads = []
        for phones, loss, so_far in zip(self._phones, whole, under_way, strict=True):
            if phones in mine:
                continue
            kin = any(_kin(phones, way) for way in mine)
            leads.append(_lead(look, float(loss), len(phones), goes_on=kin and len(phones) > look.phones))
            if early and not kin:
                leads.append(_lead(look, float(so_far), len(phones), goes_on=False))
        return min(leads, default=inf)

    def _losses(self, rows: Frames, since: int, look: Look) -> tuple[Frames, Frames]:
        """Mean loss per phone of each whole phrase, and of its first phones, most of them, up to the last row.

        A shorter phrase fits somewhere in nearly every longer one: what it leaves unsaid of that is its loss, too, and
        all of its loss is spread over the phones of the longer.
        """
        rows = rows - rows.max(axis=1, keepdims=True)
        until = min(len(rows) - 1, since + round(look.duration_s / ROW_S))
        before_it, after_it = _unsaid(rows, since, until)
        shorter = self._laid.lengths < look.phones
        sounding = np.full(self._laid.may_pause.shape, NEVER, np.float32)
        paused = sounding.copy()
        best = np.full(len(self._phones), NEVER, np.float32)
        every = np.arange(len(self._phones))
        begins_by = np.where(shorter, until, (since + until) / 2)
        for number, row in enumerate(rows):
            paused[:, 0] = np.where(number <= begins_by, np.where(shorter, before_it[number], 0), NEVER)
            sounding[:, 0] = NEVER
            before = np.maximum(paused, sounding)
            entered = before[:, :-1] + row[self._laid.pdfs]
            sounding += row[BLANK]
            sounding[:, 1:] = np.maximum(sounding[:, 1:], entered)
            paused = before + row[SILENCE] + self._laid.may_pause
            if number >= since:
                ended = entered[every, self._laid.lengths - 1] + np.where(shorter, after_it[number], 0)
                best = np.maximum(best, ended)
        places = np.arange(self._laid.may_pause.shape[1])
        said = max(LEAST_SAID, round(MOSTLY * look.phones))
        open_yet = (places >= said) & (places < self._laid.lengths[:, None])
        part = np.where(open_yet, np.maximum(sounding, paused) / np.maximum(places, 1), NEVER)
        phones = np.where(shorter, look.phones, self._laid.lengths)
        return np.asarray(-best / phones, np.float32), np.asarray(-part.max(axis=1), np.float32)


def _unsaid(rows: Frames, since: int, until: int) -> tuple[Frames, Frames]:
    """What it costs to say nothing from `since` up to each row, and after each row up to `until`."""
    still = np.maximum(rows[:, BLANK], rows[:, SILENCE])
    still[:since], still[until + 1 :] = 0, 0
    up_to = np.cumsum(still)
    return up_to - still, up_to[-1] - up_to


def _lead(look: Look, loss: float, phones: int, *, goes_on: bool) -> float:
    if goes_on:
        return loss * phones - look.shortfall * look.phones - PER_PHONE_MORE * (phones - look.phones - 1)
    return (loss - look.shortfall) * look.phones


def _kin(one: Pronunciation, other: Pronunciation) -> bool:
    shorter = min(len(one), len(other))
    return one[:shorter] == other[:shorter]
