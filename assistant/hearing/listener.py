"""From blocks of sound to phrases: the phrases in force, exact ones only, believed or not."""

import json
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from assistant.hearing.blocks import Block
from assistant.hearing.grammar import Grammar, ListenPhrase, Match
from assistant.hearing.recogniser import UNKNOWN, SpeechModel
from protocol.phrases import Strictness

__all__ = ["Heard", "ListenPhrase", "Listener", "Policy", "Rejected"]

PRE_ROLL_S = 1.5


@dataclass(frozen=True, slots=True)
class Least:
    """The least that is believed, as confidences of the recogniser (0 to 1)."""

    mean: float
    """Over the words of the phrase."""
    word: float
    """Of its least sure word."""


STRICT = Least(0.60, 0.30)
NORMAL = Least(0.50, 0.20)
LOOSE = Least(0.40, 0.0)
"""Set on two tuning voices in synthesised machine noise and on other people's talk, none of it in a reported figure:
with STRICT 97, 97, 92 and 83 of 100 phrases are taken at 20, 10, 5 and 0 dB (n = 90 each), none wrongly, and nothing
in 0.8 h of talk."""


@dataclass(frozen=True, slots=True)
class Policy:
    """When a phrase is believed."""

    hold_s: float = 0.24
    """A partial result must stand still so long before it is taken early."""
    strict: Least = STRICT
    normal: Least = NORMAL
    loose: Least = LOOSE

    def least(self, strictness: Strictness) -> Least:
        """What is asked of a phrase."""
        return {Strictness.STRICT: self.strict, Strictness.NORMAL: self.normal}.get(strictness, self.loose)


@dataclass(frozen=True, slots=True)
class Heard:
    """A phrase that was believed."""

    text: str
    phrase: ListenPhrase
    start_s: float
    end_s: float
    accepted_at_s: float
    confidence: float
    early: bool


@dataclass(frozen=True, slots=True)
class Rejected:
    """A phrase that was not believed, and why."""

    text: str
    start_s: float
    end_s: float
    confidence: float
    reason: str


class Listener:
    """One microphone's ear."""

    def __init__(self, model: SpeechModel, policy: Policy | None = None) -> None:
        self._model = model
        self._policy = policy or Policy()
        self._grammar = Grammar(())
        self._recogniser: Any = None
        self._recent: deque[Block] = deque()
        self._zero_s = 0.0
        self._unfed = True
        self._taken_until_s = 0.0
        self._now_s = 0.0
        self._partial = ""
        self._still_since_s = 0.0
        self.rejected: list[Rejected] = []

    def set_phrases(self, phrases: Sequence[ListenPhrase]) -> None:
        """Listen for these from now on; what was just being said is heard again with them.

        Raises:
            ModelError: if the model does not know a word.
        """
        if tuple(phrases) == self._grammar.phrases and self._recogniser is not None:
            return
        self._grammar = Grammar(phrases)
        self._restart(max(self._taken_until_s, self._now_s - PRE_ROLL_S))

    def feed(self, block: Block) -> list[Heard]:
        """Phrases that were completed in this block."""
        self._recent.append(block)
        while self._recent and self._recent[0].end_s < block.end_s - PRE_ROLL_S:
            self._recent.popleft()
        self._now_s = block.end_s
        if self._unfed:
            self._zero_s, self._unfed = block.start_s, False
        return self._decode(block)

    def flush(self) -> list[Heard]:
        """What was still open when the sound ended."""
        if self._recogniser is None:
            return []
        found = self._judge(json.loads(self._recogniser.FinalResult()), early=False)
        self._restart(self._now_s)
        return found

    def _decode(self, block: Block) -> list[Heard]:
        if self._recogniser is None:
            return []
        if self._recogniser.AcceptWaveform(block.samples.tobytes()):
            self._partial = ""
            return self._judge(json.loads(self._recogniser.Result()), early=False)
        return self._early(json.loads(self._recogniser.PartialResult()).get("partial", ""))

    def _early(self, partial: str) -> list[Heard]:
        text = _without_unknown(partial)
        if text != self._partial:
            self._partial, self._still_since_s = text, self._now_s
            return []
        still = self._now_s - self._still_since_s
        if not text or still < self._policy.hold_s or self._grammar.match(text) is None or self._grammar.may_grow(text):
            return []
        found = self._judge(json.loads(self._recogniser.FinalResult()), early=True)
        self._restart(self._now_s)
        return found

    def _judge(self, result: dict[str, Any], *, early: bool) -> list[Heard]:
        text = _without_unknown(str(result.get("text", "")))
        match = self._grammar.match(text) if text else None
        if match is None:
            return []
        words = [word for word in result.get("result", []) if word["word"] != UNKNOWN]
        return self._believe(match, words, early=early)

    def _believe(self, match: Match, words: list[dict[str, Any]], *, early: bool) -> list[Heard]:
        sure = [float(word["conf"]) for word in words]
        confidence = sum(sure) / len(sure)
        start_s = self._zero_s + float(words[0]["start"])
        end_s = self._zero_s + float(words[-1]["end"])
        least = self._policy.least(match.phrase.strictness)
        if confidence < least.mean or min(sure) < least.word:
            self.rejected.append(Rejected(match.text, start_s, end_s, confidence, "not sure enough"))
            return []
        self._taken_until_s = self._now_s
        return [Heard(match.text, match.phrase, start_s, end_s, self._now_s, confidence, early)]

    def _restart(self, from_s: float) -> None:
        self._recogniser = self._model.recogniser(self._grammar.sentences())
        self._partial = ""
        again = [block for block in self._recent if block.start_s >= from_s]
        self._zero_s, self._unfed = (again[0].start_s, False) if again else (self._now_s, True)
        for block in again:
            self._recogniser.AcceptWaveform(block.samples.tobytes())


def _without_unknown(text: str) -> str:
    words = text.split()
    while words and words[0] == UNKNOWN:
        words.pop(0)
    while words and words[-1] == UNKNOWN:
        words.pop()
    return " ".join(words)
