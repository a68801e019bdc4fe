"""From blocks of sound to phrases: the phrases in force, exact ones only, believed or not."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf

from assistant.hearing.belief import Evidence, Policy
from assistant.hearing.blocks import Block
from assistant.hearing.candidate import Observer, RecentSound
from assistant.hearing.grammar import Found, Grammar, ListenPhrase, Match
from assistant.hearing.others import Others
from assistant.hearing.recogniser import Recogniser, Result, SpeechModel
from assistant.hearing.second_look import Look

__all__ = ["Heard", "ListenPhrase", "Listener", "Policy", "Rejected"]

PRE_ROLL_S = 1.5
"""So much of what was just heard is heard again when other phrases come into force."""
LOOK_BACK_S = 2.5
"""A phrase began at most so long before the recogniser first named it."""


@dataclass(frozen=True, slots=True)
class Heard:
    """A phrase that was believed."""

    text: str
    phrase: ListenPhrase
    start_s: float
    end_s: float
    accepted_at_s: float
    early: bool
    """Before the recogniser's own end of the utterance."""
    evidence: Evidence

    @property
    def confidence(self) -> float:
        """0 to 1."""
        return self.evidence.confidence


@dataclass(frozen=True, slots=True)
class Rejected:
    """A phrase that was not believed, and why."""

    heard: Heard
    reason: str


class Listener:
    """One microphone's ear.

    Args:
        model: the recogniser.
        policy: when a phrase is believed; the model's own when not given.
        known: every phrase that may ever be in force. One that is not in force is never taken, but it may be what was
            said: nothing that fits worse than it is taken either.
    """

    def __init__(self, model: SpeechModel, policy: Policy | None = None, known: Iterable[str] = ()) -> None:
        self._model = model
        self._known = tuple(known)
        self._policy = policy or model.policy
        self._grammar = Grammar(())
        self._recogniser: Recogniser | None = None
        self._observer = Observer(model.net, model.lexicon) if model.net is not None else None
        self._others: Others | None = None
        self._compared: set[str] = set()
        self._recent = RecentSound()
        self._zero_s = 0.0
        self._unfed = True
        self._taken_until_s = 0.0
        self._now_s = 0.0
        self._partial: tuple[str, ...] = ()
        self._found: Found | None = None
        self._still_since_s = 0.0
        self._speech_since_s: float | None = None
        self._doubted: tuple[str, float] | None = None
        self.rejected: list[Rejected] = []

    def set_phrases(self, phrases: Sequence[ListenPhrase]) -> None:
        """Listen for these from now on; what was just being said is heard again with them.

        Raises:
            ModelError: if the model does not know a word.
        """
        if tuple(phrases) == self._grammar.phrases and self._recogniser is not None:
            return
        self._grammar = Grammar(phrases)
        self._compare_with({*self._grammar.plain(), *Grammar.of_texts(self._known).plain()})
        self._restart(max(self._taken_until_s, self._now_s - PRE_ROLL_S))

    def feed(self, block: Block) -> list[Heard]:
        """Phrases that were completed in this block."""
        self._recent.add(block)
        self._now_s = block.end_s
        if self._unfed:
            self._zero_s, self._unfed = block.start_s, False
        if self._recogniser is None:
            return []
        result = self._recogniser.take(block.samples)
        if self._observer is not None:
            self._observer.hear(block.samples)
        if result is None:
            return self._early(self._recogniser)
        found = self._judge(result)
        self._settle()
        return found

    def flush(self) -> list[Heard]:
        """What was still open when the sound ended."""
        if self._recogniser is None:
            return []
        if self._observer is not None:
            self._observer.end()
        found = self._judge(self._recogniser.finish())
        self._restart(self._now_s)
        return found

    def _compare_with(self, texts: set[str]) -> None:
        if self._observer is not None and (self._others is None or texts != self._compared):
            self._others, self._compared = Others(sorted(texts), self._model.lexicon), texts

    def _early(self, recogniser: Recogniser) -> list[Heard]:
        """Take a phrase before the pause that would end it, when nothing else can come of it."""
        units = recogniser.partial()
        if units != self._partial:
            self._partial, self._still_since_s, self._found = units, self._now_s, self._find(units)
        if units and self._speech_since_s is None:
            self._speech_since_s = self._now_s
        found = self._found
        if found is None:
            return []
        grows = self._grammar.may_grow(found.match.text)
        if self._observer is not None:
            return self._early_look(self._observer, found.match, grows=grows)
        if grows or self._now_s - self._still_since_s < self._policy.hold_s:
            return []
        return self._taken(self._judge(recogniser.finish(), early=True))

    def _early_look(self, observer: Observer, match: Match, *, grows: bool) -> list[Heard]:
        """Take a phrase when its last phone has sounded and quiet follows."""
        look = self._look_for(observer, match.text)
        if look is None or look.followed or not self._policy.ended(look, grows=grows):
            return []
        if self._policy.doubt(match.phrase, Evidence.of_look(look, inf, inf)) is not None:
            return []
        if (match.text, look.end_s) == self._doubted:
            return []
        heard = self._weighed(observer, match, look, early=True)
        if self._policy.doubt(heard.phrase, heard.evidence) is not None:
            self._doubted = (match.text, look.end_s)
            return []
        return self._taken(self._decide(heard))

    def _taken(self, heard: list[Heard]) -> list[Heard]:
        self._restart(self._now_s)
        return heard

    def _find(self, units: Sequence[str]) -> Found | None:
        return self._grammar.find(units, strays=self._observer is not None)

    def _look_for(self, observer: Observer, text: str) -> Look | None:
        if not observer.awake:
            since_s = self._speech_since_s if self._speech_since_s is not None else self._now_s
            observer.wake(self._recent.since(max(self._taken_until_s, since_s - LOOK_BACK_S)))
        return observer.look_for(text)

    def _judge(self, result: Result, *, early: bool = False) -> list[Heard]:
        found = self._find([piece.words for piece in result])
        if found is None:
            return []
        said = result[found.first : found.stop]
        start_s, end_s = self._zero_s + said[0].start_s, self._zero_s + said[-1].end_s
        if self._observer is None:
            evidence = Evidence.of_words([piece.confidence for piece in said])
            text, phrase = found.match.text, found.match.phrase
            return self._decide(Heard(text, phrase, start_s, end_s, self._now_s, early, evidence))
        self._speech_since_s = start_s if self._speech_since_s is None else self._speech_since_s
        look = self._look_for(self._observer, found.match.text)
        return self._decide(self._weighed(self._observer, found.match, look, early=early))

    def _weighed(self, observer: Observer, match: Match, look: Look | None, *, early: bool) -> Heard:
        """A phrase with all that speaks for it; a shorter one that it begins with when that alone was said."""
        if look is None:
            until_s = self._now_s
            return Heard(match.text, match.phrase, observer.zero_s, until_s, until_s, early, Evidence(looked=True))
        text, look = observer.better(match.text, look, self._grammar.kin(match))
        match = self._grammar.match(text) or match
        rivals = Others(self._grammar.rivals(match), self._model.lexicon)
        lead = min(
            observer.lead(look, text, others, early=early) for others in (rivals, self._others) if others is not None
        )
        start_s, end_s = observer.zero_s + look.start_s, observer.zero_s + look.end_s
        evidence = Evidence.of_look(look, lead, observer.unclear(look))
        return Heard(text, match.phrase, start_s, end_s, self._now_s, early, evidence)

    def _decide(self, heard: Heard) -> list[Heard]:
        doubt = self._policy.doubt(heard.phrase, heard.evidence)
        if doubt is not None:
            self.rejected.append(Rejected(heard, doubt))
            return []
        self._taken_until_s = self._now_s
        return [heard]

    def _restart(self, from_s: float) -> None:
        self._recogniser = self._model.recogniser(self._grammar)
        self._settle()
        again = self._recent.since(from_s)
        self._zero_s, self._unfed = (again[0].start_s, False) if again else (self._now_s, True)
        for block in again:
            self._recogniser.take(block.samples)

    def _settle(self) -> None:
        """An utterance is over."""
        self._partial, self._found, self._speech_since_s, self._doubted = (), None, None, None
        if self._observer is not None:
            self._observer.sleep()

