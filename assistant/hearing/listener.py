"""From blocks of sound to phrases: the phrases in force, exact ones only, believed or not."""

from collections.abc import Sequence
from dataclasses import dataclass

from assistant.hearing.belief import Evidence, Policy
from assistant.hearing.blocks import Block
from assistant.hearing.candidate import Observer, RecentSound
from assistant.hearing.grammar import Grammar, ListenPhrase, Match
from assistant.hearing.recogniser import UNKNOWN, Recogniser, Result, SpeechModel
from assistant.hearing.second_look import Look

__all__ = ["Heard", "ListenPhrase", "Listener", "Policy", "Rejected"]

PRE_ROLL_S = 1.5
"""So much of what was just heard is heard again when other phrases come into force."""
LOOK_BACK_S = 1.2
"""A phrase began at most so long before the recogniser first named it."""


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
    evidence: Evidence = Evidence()


@dataclass(frozen=True, slots=True)
class Rejected:
    """A phrase that was not believed, and why."""

    text: str
    start_s: float
    end_s: float
    confidence: float
    reason: str
    evidence: Evidence = Evidence()


class Listener:
    """One microphone's ear."""

    def __init__(self, model: SpeechModel, policy: Policy | None = None) -> None:
        self._model = model
        self._policy = policy or Policy()
        self._grammar = Grammar(())
        self._recogniser: Recogniser | None = None
        self._observer = Observer(model.net, model.lexicon) if model.net is not None else None
        self._recent = RecentSound()
        self._zero_s = 0.0
        self._taken_until_s = 0.0
        self._now_s = 0.0
        self._partial = ""
        self._still_since_s = 0.0
        self._speech_since_s: float | None = None
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
        self._recent.add(block)
        self._now_s = block.end_s
        if self._recogniser is None:
            return []
        result = self._recogniser.take(block.samples)
        if self._observer is not None:
            self._observer.hear(block.samples)
        if result is None:
            return self._early(self._recogniser)
        found = self._judge(result, early=False)
        self._settle()
        return found

    def flush(self) -> list[Heard]:
        """What was still open when the sound ended."""
        if self._recogniser is None:
            return []
        if self._observer is not None:
            self._observer.end()
        found = self._judge(self._recogniser.finish(), early=False)
        self._restart(self._now_s)
        return found

    def _early(self, recogniser: Recogniser) -> list[Heard]:
        """Take a phrase before the pause that would end it, when nothing else can come of it."""
        text = _without_unknown(recogniser.partial())
        if text != self._partial:
            self._partial, self._still_since_s = text, self._now_s
        if text and self._speech_since_s is None:
            self._speech_since_s = self._now_s
        match = self._grammar.match(text) if text else None
        if match is None or not self._is_ripe(match):
            return []
        found = self._judge(recogniser.finish(), early=True)
        self._restart(self._now_s)
        return found

    def _is_ripe(self, match: Match) -> bool:
        """Whether a phrase has been said to its end and nothing longer is on its way."""
        grows = self._grammar.may_grow(match.text)
        if self._observer is None:
            return not grows and self._now_s - self._still_since_s >= self._policy.hold_s
        look = self._look_for(match.text)
        if look is None or look.followed:
            return False
        evidence = Evidence.of_look(look)
        return look.quiet_s >= self._policy.quiet_s(grows=grows) and self._policy.doubt(match.phrase, evidence) is None

    def _look_for(self, text: str) -> Look | None:
        assert self._observer is not None
        if not self._observer.awake:
            since_s = self._speech_since_s if self._speech_since_s is not None else self._now_s
            self._observer.wake(self._recent.since(max(self._taken_until_s, since_s - LOOK_BACK_S)))
        return self._observer.look_for(text)

    def _judge(self, result: Result, *, early: bool) -> list[Heard]:
        said = _within_unknown(result)
        match = self._grammar.match(" ".join(piece.words for piece in said)) if said else None
        return [] if match is None else self._believe(match, said, early=early)

    def _believe(self, match: Match, said: Result, *, early: bool) -> list[Heard]:
        evidence = Evidence.of_words([piece.confidence for piece in said])
        start_s, end_s = self._zero_s + said[0].start_s, self._zero_s + said[-1].end_s
        if self._observer is not None:
            self._speech_since_s = start_s if self._speech_since_s is None else self._speech_since_s
            look = self._look_for(match.text)
            evidence = evidence.with_look(look)
            if look is not None:
                start_s, end_s = self._observer.zero_s + look.start_s, self._observer.zero_s + look.end_s
        doubt = self._policy.doubt(match.phrase, evidence)
        if doubt is not None:
            self.rejected.append(Rejected(match.text, start_s, end_s, evidence.confidence, doubt, evidence))
            return []
        self._taken_until_s = self._now_s
        return [Heard(match.text, match.phrase, start_s, end_s, self._now_s, evidence.confidence, early, evidence)]

    def _restart(self, from_s: float) -> None:
        self._recogniser = self._model.recogniser(self._grammar)
        self._settle()
        again = self._recent.since(from_s)
        self._zero_s = again[0].start_s if again else self._now_s
        for block in again:
            self._recogniser.take(block.samples)

    def _settle(self) -> None:
        """An utterance is over."""
        self._partial, self._speech_since_s = "", None
        if self._observer is not None:
            self._observer.sleep()


def _within_unknown(result: Result) -> Result:
    """What lies between the first and the last unit that is known."""
    places = [place for place, piece in enumerate(result) if piece.known]
    return result[places[0] : places[-1] + 1] if places else ()


def _without_unknown(text: str) -> str:
    words = text.split()
    while words and words[0] == UNKNOWN:
        words.pop(0)
    while words and words[-1] == UNKNOWN:
        words.pop()
    return " ".join(words)
