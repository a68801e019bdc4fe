"""When a phrase is believed: strict for what advances a step, loose for emergencies."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from math import exp, inf
from pathlib import Path
from typing import Final, Self

from assistant.errors import ModelError
from assistant.hearing.grammar import ListenPhrase
from assistant.hearing.second_look import Look
from protocol.phrases import Strictness

FILE: Final = "conf/second_look.json"
"""Thresholds, in a model's folder."""

FASTEST_S: Final = 0.052
"""Least time per phone. Of 395 phrases of the tuning voices, some at 1.2 times their speed, the fastest took 0.055."""


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
    lead: float = inf
    """By how much it fits better than any phrase in force that differs in one word."""

    @classmethod
    def of_words(cls, confidences: Sequence[float]) -> Self:
        """The recogniser's own."""
        return cls(sum(confidences) / len(confidences), min(confidences))

    @classmethod
    def of_look(cls, look: Look | None, lead: float = inf) -> Self:
        """A second look."""
        return cls(looked=True, look=look, lead=lead)

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
    """Highest mean loss per phone at the second look."""
    worst_word: float
    """Highest mean loss per phone of one word at the second look."""
    lead: float
    """Least lead over a phrase that differs in one word."""


STRICT = Least(0.60, 0.30, 1.5, 5.0, 1.0)
NORMAL = Least(0.50, 0.20, 1.7, 5.5, 1.0)
LOOSE = Least(0.40, 0.0, 2.0, 7.0, 0.0)


@dataclass(frozen=True, slots=True)
class Policy:
    """When a phrase is believed."""

    hold_s: float = 0.24
    """Without a second look: a partial result must stand still so long before it is taken early."""
    ended_s: float = 0.15
    """With one: so much quiet must follow a phrase before it is taken early."""
    grown_s: float = 0.45
    """The same for a phrase that may go on: a number, or the beginning of a longer phrase."""
    strict: Least = STRICT
    normal: Least = NORMAL
    loose: Least = LOOSE

    def least(self, strictness: Strictness) -> Least:
        """What is asked of a phrase."""
        return {Strictness.STRICT: self.strict, Strictness.NORMAL: self.normal}.get(strictness, self.loose)

    def quiet_s(self, *, grows: bool) -> float:
        """How much quiet must follow."""
        return self.grown_s if grows else self.ended_s

    def doubt(self, phrase: ListenPhrase, evidence: Evidence) -> str | None:
        """Why a phrase is not believed; None when it is."""
        least = self.least(phrase.strictness)
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


def _seen_doubt(least: Least, evidence: Evidence, *, strict_end: bool) -> str | None:
    look = evidence.look
    if look is None:
        return "not said to its end"
    reasons = (
        (strict_end and look.followed, "more was said straight after it"),
        (look.duration_s < FASTEST_S * look.phones, "nobody speaks so fast"),
        (look.shortfall > least.shortfall, f"does not fit what was said ({look.shortfall:.1f})"),
        (look.worst_word > least.worst_word, f"one word does not fit what was said ({look.worst_word:.1f})"),
        (evidence.lead < least.lead, f"another phrase fits as well ({evidence.lead:.1f})"),
    )
    return next((reason for applies, reason in reasons if applies), None)
