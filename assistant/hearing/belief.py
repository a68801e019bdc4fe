"""When a phrase is believed: strict for what advances a step, loose for emergencies."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from math import exp, inf
from pathlib import Path
from typing import Final, Self

from assistant.errors import ModelError
from assistant.hearing.grammar import ListenPhrase
from assistant.hearing.second_look import Look
from protocol.numbers import NUMBER_WORDS
from protocol.phrases import NUMBER_SLOT, Strictness

FILE: Final = "conf/second_look.json"
"""Thresholds, in a model's folder."""

FASTEST_S: Final = 0.045
"""Least mean time from one phone to the next. Of 886 phrases of tuning and training voices the fastest took 0.051."""
SHORT, LONG = 6, 8
"""A phrase of fewer phones than LONG is easily found in talk: it must fit better, in proportion, down to SHORT."""
IN_NOISE: Final = 0.5
"""So much of the net's unclearness is allowed for: in noise every phrase fits worse."""
FITS_WELL: Final = 0.4
"""A phrase that fits worse than this must stand out the more among the others,"""
LEAD_PER_LOSS: Final = 4.0
"""by so much for each further loss per phone: babble fits many phrases badly and none much better than the next."""
CLEAR_ENOUGH: Final = 0.7
"""Where the net is less clear than this about the phones, a phrase must stand out the more,"""
LEAD_PER_UNCLEAR: Final = 8.0
"""by so much for each further unit. Of 9,120 phrases of six voices that trained or tuned, 10 to -5 dB, 7,486 are right
and 17 wrong so; with 1.0 above, 7,677 and 33."""
FEWEST_TIMED: Final = 5
"""Shorter phrases are not timed: times are known to 30 ms."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What speaks for a phrase."""

    sure: float | None = None
    """The recogniser's mean confidence over the phrase's words, 0 to 1; None when it was not asked."""
    least_sure: float | None = None
    """Its confidence in the least sure word."""
    looked: bool = False
    """A second look was taken."""
    look: Look | None = None
    """What it saw; None when the phrase was not said to its end."""
    lead: float = -inf
    """By how much the whole of it fits better than the best other phrase in force, or another number in it."""
    unclear: float = 0.0
    """How unsure the net was of the phones meanwhile (mean entropy, natural logarithm): large in noise."""

    @classmethod
    def of_words(cls, confidences: Sequence[float]) -> Self:
        """The recogniser's own."""
        return cls(sum(confidences) / len(confidences), min(confidences))

    @classmethod
    def of_look(cls, look: Look | None, lead: float, unclear: float) -> Self:
        """A second look."""
        return cls(looked=True, look=look, lead=lead, unclear=unclear)

    @property
    def confidence(self) -> float:
        """One figure, 0 to 1: how much of the best possible fit per phone, or the recogniser's where nobody looked."""
        if self.looked:
            return 0.0 if self.look is None else exp(-self.look.shortfall / 2)
        return self.sure or 0.0


@dataclass(frozen=True, slots=True)
class Least:
    """What is asked of a phrase."""

    mean: float
    """Lowest mean confidence of the recogniser."""
    word: float
    """Lowest confidence of a word."""
    shortfall: float
    """Highest mean loss per phone at the second look, where nothing is unclear; less for a short phrase."""
    worst_word: float
    """Highest mean loss per phone of one word at the second look."""
    lead: float
    """Least lead over the best other phrase, where the phrase fits well."""


# Chosen from the figures of tuning and training voices, tuning people's talk and machines: model/MODEL_CARD.md.
STRICT = Least(0.60, 0.30, 1.4, 6.0, 1.5)
NORMAL = Least(0.50, 0.20, 1.45, 6.5, 1.0)
LOOSE = Least(0.40, 0.0, 1.7, 7.5, -1.0)


@dataclass(frozen=True, slots=True)
class Policy:
    """When a phrase is believed."""

    hold_s: float = 0.24
    """Without a second look: a partial result must stand still so long before it is taken early."""
    ended_s: float = 0.12
    """With one: so much quiet must follow a phrase before it is taken early."""
    grown_s: float = 0.57
    """The same for a phrase that may go on: a number, or the beginning of a longer phrase. In three tuning clips of
    readings the net heard 0.51 s of quiet before "at the hatch", the first of it drowned."""
    grown_shortfall: float = 0.5
    """Such a phrase is taken early only when it is so clear; else the recogniser's own end is awaited."""
    number_lead: float = 3.0
    """Least lead of a phrase with a number in it. With 2.0, 7,555 of the 9,120 are right and 24 wrong; a number that
    is asked for again costs less."""
    strict: Least = STRICT
    normal: Least = NORMAL
    loose: Least = LOOSE

    def least(self, strictness: Strictness) -> Least:
        """What is asked of a phrase."""
        return {Strictness.STRICT: self.strict, Strictness.NORMAL: self.normal}.get(strictness, self.loose)

    def ended(self, look: Look, *, grows: bool) -> bool:
        """Whether so much quiet has followed that nothing more can belong to the phrase."""
        if grows:
            return look.shortfall <= self.grown_shortfall and look.calm_s >= self.grown_s
        return look.quiet_s >= self.ended_s

    def doubt(self, phrase: ListenPhrase, evidence: Evidence) -> str | None:
        """Why a phrase is not believed; None when it is."""
        least = self.least(phrase.strictness)
        if _has_number(phrase.text):
            least = replace(least, lead=max(least.lead, self.number_lead))
        if evidence.looked:
            strict_end = phrase.strictness is not Strictness.LOOSE
            return _seen_doubt(least, evidence, strict_end=strict_end)
        if (evidence.sure or 0.0) < least.mean or (evidence.least_sure or 0.0) < least.word:
            return "not sure enough"
        return None


def read_policy(folder: Path) -> Policy:
    """The thresholds that were tuned for the model in `folder`; those above where none were.

    Raises:
        ModelError: if the file cannot be understood.
    """
    path = folder / FILE
    if not path.is_file():
        return Policy()
    try:
        rows = json.loads(path.read_text(encoding="utf-8"))
        strict, normal, loose = (Least(**rows[kind]) for kind in ("strict", "normal", "loose"))
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise ModelError(f"{path} cannot be understood ({error}). Install the model again.") from error
    return Policy(strict=strict, normal=normal, loose=loose)


def write_policy(policy: Policy, folder: Path) -> None:
    """Keep thresholds beside the model that they were tuned for."""
    rows = {kind.value: asdict(policy.least(kind)) for kind in Strictness}
    (folder / FILE).write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


def _has_number(text: str) -> bool:
    return NUMBER_SLOT in text or not NUMBER_WORDS.isdisjoint(text.split())


def _seen_doubt(least: Least, evidence: Evidence, *, strict_end: bool) -> str | None:
    look = evidence.look
    if look is None:
        return "not said to its end"
    allowed = IN_NOISE * evidence.unclear
    most = least.shortfall * min(1.0, max(SHORT, look.phones) / LONG) + allowed
    lead = least.lead + LEAD_PER_LOSS * max(0.0, look.shortfall - allowed - FITS_WELL)
    lead += LEAD_PER_UNCLEAR * max(0.0, evidence.unclear - CLEAR_ENOUGH)
    too_fast = look.phones >= FEWEST_TIMED and look.duration_s < FASTEST_S * (look.phones - 1)
    reasons = (
        (strict_end and look.followed, "more was said straight after it"),
        (too_fast, "nobody speaks so fast"),
        (look.shortfall > most, f"does not fit what was said ({look.shortfall:.1f})"),
        (look.worst_word > least.worst_word, f"one word does not fit what was said ({look.worst_word:.1f})"),
        (evidence.lead < lead, f"another phrase fits as well ({evidence.lead:.1f})"),
    )
    return next((reason for applies, reason in reasons if applies), None)
