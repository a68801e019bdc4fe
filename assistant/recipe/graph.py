"""The decoding graph: every word as a path of phones, silence between words, and `[unk]`, which is any run of phones.

Words are the output of the arc of their last phone, and are numbered in tree order, so that the words reachable from a
state are nearly always one interval.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from assistant.recipe.fst import Arc, Fst
from assistant.recipe.phones import ARPABET, PHONE_IDS, pronunciations, with_positions

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from assistant.recipe.phones import Pronunciation

    Say = Callable[[str], tuple[Pronunciation, ...]]

UNKNOWN: Final = "[unk]"


@dataclass(frozen=True, slots=True)
class GraphSettings:
    """Costs in the graph.

    Args:
        silence: probability of a silence after a word.
        unknown_phone: cost (negative log) of each phone inside `[unk]`.
        unknown_word: cost of starting `[unk]`.
    """

    silence: float = 0.5
    unknown_phone: float = 2.0
    unknown_word: float = 0.0


@dataclass(slots=True)
class _Builder:
    settings: GraphSettings
    say: Say
    fst: Fst = field(default_factory=Fst)
    labels: dict[str, int] = field(default_factory=dict)
    word_ends: dict[str, int] = field(default_factory=dict)
    loop: int = 0
    quiet: int = 0

    def begin(self) -> None:
        """Start, the point between words, and the silence there."""
        start = self.fst.state()
        self.loop = self.fst.state()
        self.quiet = self._phone_state("SIL")
        self._or_silence(start)
        self.fst.arc(self.quiet, Arc(0, 0, 0.0, self.loop))
        self.fst.finals[self.loop] = 0.0

    def _phone_state(self, phone: str) -> int:
        """A state where `phone` has just fired and may last."""
        state = self.fst.state()
        self.fst.arc(state, Arc(2 * PHONE_IDS[phone] - 1, 0, 0.0, state))
        return state

    def _enter(self, source: int, phone: str, target: int, label: int = 0, cost: float = 0.0) -> None:
        self.fst.arc(source, Arc(2 * PHONE_IDS[phone], label, cost, target))

    def _or_silence(self, state: int) -> None:
        self.fst.arc(state, Arc(0, 0, -math.log(1 - self.settings.silence), self.loop))
        self._enter(state, "SIL", self.quiet, cost=-math.log(self.settings.silence))

    def _word_end(self, phone: str) -> int:
        """The state after a word's last phone, shared by all words that end in it."""
        if phone not in self.word_ends:
            state = self._phone_state(phone)
            self._or_silence(state)
            self.word_ends[phone] = state
        return self.word_ends[phone]

    def _label(self, word: str) -> int:
        return self.labels.setdefault(word, len(self.labels) + 1)

    def tree(self, node: dict[str, Any], state: int) -> None:
        """Lay a phone prefix tree; its leaves are lists of words."""
        for phone, below in sorted(node.items()):
            if isinstance(below, list):
                for word in below:
                    self._enter(state, phone, self._word_end(phone), self._label(word))
            else:
                inner = self._phone_state(phone)
                self._enter(state, phone, inner)
                self.tree(below, inner)

    def phrase(self, words: list[str], name: str) -> None:
        """A whole phrase as one word, `name`, put out by its last phone; a pause may stand between its words."""
        state = self.loop
        for place, word in enumerate(words):
            last = place == len(words) - 1
            following = self.fst.state() if not last else -1
            for said in self.say(word):
                self._said(said, state, following, first=place == 0, name=name if last else "")
            if not last:
                pause = self._phone_state("PAU_I")
                ready = self.fst.state()
                self._enter(following, "PAU_I", pause, cost=-math.log(self.settings.silence))
                self.fst.arc(pause, Arc(0, 0, 0.0, ready))
                self.fst.arc(following, Arc(0, 0, -math.log(1 - self.settings.silence), ready))
                state = ready

    def _said(self, said: tuple[str, ...], state: int, following: int, *, first: bool, name: str) -> None:
        """One pronunciation from `state`: to `following`, or, with a name, to the end of the phrase."""
        for place, phone in enumerate(said):
            opens, ends = first and place == 0, place == len(said) - 1
            if ends and name:
                whole = phone + ("_S" if opens else "_E")
                self._enter(state, whole, self._word_end(whole), self._label(name))
                return
            inner = self._phone_state(phone + ("_B" if opens else "_I"))
            self._enter(state, phone + ("_B" if opens else "_I"), inner)
            state = inner
        self.fst.arc(state, Arc(0, 0, 0.0, following))

    def unknown(self) -> None:
        """`[unk]`: any phones, each at a cost."""
        label, cost, extra = self._label(UNKNOWN), self.settings.unknown_phone, self.settings.unknown_word
        hub = self.fst.state()
        for phone in ARPABET:
            self._enter(self.loop, phone + "_S", self._word_end(phone + "_S"), label, cost + extra)
            first, inner = self._phone_state(phone + "_B"), self._phone_state(phone + "_I")
            self._enter(self.loop, phone + "_B", first, cost=cost + extra)
            self._enter(hub, phone + "_I", inner, cost=cost)
            for state in (first, inner):
                self.fst.arc(state, Arc(0, 0, 0.0, hub))
            self._enter(hub, phone + "_E", self._word_end(phone + "_E"), label, cost)


def _tree(words: Iterable[str], say: Say) -> dict[str, Any]:
    root: dict[str, Any] = {}
    for word in words:
        for said in say(word):
            *before, last = with_positions(said)
            node = root
            for phone in before:
                node = node.setdefault(phone, {})
            node.setdefault(last, []).append(word)
    return root


def build(
    words: Iterable[str], settings: GraphSettings, phrases: Iterable[str] = (), say: Say = pronunciations
) -> tuple[Fst, list[str]]:
    """(graph, symbols by label with '<eps>' first) for words, whole phrases and `[unk]`.

    With words as units the recogniser's phrase list is a bigram, which also hears mixtures of phrases. A phrase given in
    `phrases` is one unit, named by `unit_name`, and is heard whole or not at all.

    Args:
        words: heard one by one.
        settings: costs.
        phrases: heard whole.
        say: the pronunciations of a word.
    """
    made = _Builder(settings, say)
    made.begin()
    made.tree(_tree(words, say), made.loop)
    for text in phrases:
        made.phrase(text.split(), unit_name(text))
    made.unknown()
    return made.fst, ["<eps>", *made.labels]


def unit_name(phrase: str) -> str:
    """The name under which the recogniser reports a whole phrase: its words joined by underscores."""
    return phrase.replace(" ", "_") if " " in phrase else f"{phrase}_"


def word_loop(symbols: list[str]) -> Fst:
    """The language model used when no phrases are given: any words, all alike."""
    count = len(symbols) - 1
    cost = math.log(count)
    return Fst(0, [[Arc(label, label, cost, 0) for label in range(1, count + 1)]], {0: cost})
