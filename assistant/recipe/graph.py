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
    from collections.abc import Iterable

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


def build(words: Iterable[str], settings: GraphSettings) -> tuple[Fst, list[str]]:
    """(graph, symbols by label with '<eps>' first) for all pronunciations of `words`."""
    root: dict[str, Any] = {}
    for word in words:
        for said in pronunciations(word):
            *before, last = with_positions(said)
            node = root
            for phone in before:
                node = node.setdefault(phone, {})
            node.setdefault(last, []).append(word)
    made = _Builder(settings)
    made.begin()
    made.tree(root, made.loop)
    made.unknown()
    return made.fst, ["<eps>", *made.labels]


def word_loop(symbols: list[str]) -> Fst:
    """The language model used when no phrases are given: any words, all alike."""
    count = len(symbols) - 1
    cost = math.log(count)
    return Fst(0, [[Arc(label, label, cost, 0) for label in range(1, count + 1)]], {0: cost})
