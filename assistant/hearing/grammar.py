"""The phrases in force, as sentences for the recogniser and as a check on what it gives back."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import cycle, product, takewhile
from math import ceil
from typing import Self

from protocol.numbers import DIGITS, NUMBER_WORDS, POINT_WORDS, is_number, parse_number
from protocol.phrases import NUMBER_SLOT, Strictness

UNKNOWN = "[unk]"
"""The unit that stands for speech that is none of the phrases."""
SAMPLE_NUMBERS = (
    "two zero decimal niner", "one nine point five", "zero decimal three", "twenty point eight", "one zero zero",
    "three tree four fower five fife six seven eight nine", "nine eight seven six five four three two one zero",
    "one hundred fifty", "two hundred twenty five", "six hundred", "five thousand two hundred", "twelve", "ten",
    "eleven", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "thirty one",
    "forty two", "fifty three", "sixty four", "seventy six", "eighty seven", "ninety nine", "zero point one",
    "one one", "two two", "three three", "four four", "five five", "six six", "seven seven", "eight eight",
    "nine nine", "zero zero", "decimal zero", "decimal five", "point two", "point seven",
)  # fmt: skip
"""Sentences that let the recogniser's word pairs form any spoken number."""


@dataclass(frozen=True, slots=True)
class ListenPhrase:
    """A phrase that means something now; {number} stands for a spoken number."""

    text: str
    strictness: Strictness = Strictness.STRICT


@dataclass(frozen=True, slots=True)
class Part:
    """What the recogniser hears as one thing: a phrase, what stands before or after a number, or a number word."""

    words: str
    single: bool = False
    """A number word."""


Sentence = tuple[Part, ...]
SAMPLES: tuple[Sentence, ...] = tuple(
    tuple(Part(word, single=True) for word in said.split()) for said in SAMPLE_NUMBERS
)
_MOST_UNITS = 12
"""Talk of more units is not searched for a phrase among number words."""
RADIO_FIGURES = frozenset({"tree", "fower", "fife", "niner"})
"""Number words that a general model need not know: everyday ones mean the same."""
LAST_WORDS: tuple[Part, ...] = tuple(
    Part(word, single=True) for word in sorted(NUMBER_WORDS - {"decimal", "point", "oh"})
)
"""Words that a number may end with."""
_FIGURES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_OTHER_NUMBERS = (*_FIGURES, "niner", *sorted(NUMBER_WORDS - {*DIGITS, *POINT_WORDS}))
"""Number words that sound different from each other."""
_SHORT = 2
_NUMBERS_IN_PLACE = 6
"""So many of the samples, or more where there are few slots, are put into each slot by turns."""
MOST_OFTEN = 20
"""So many times a phrase without a number is given to the recogniser, at most."""


@dataclass(frozen=True, slots=True)
class Match:
    """A phrase that a text is, exactly."""

    phrase: ListenPhrase
    text: str


@dataclass(frozen=True, slots=True)
class Found:
    """A phrase among the units that were heard: those from `first` up to, without, `stop`."""

    match: Match
    first: int
    stop: int


class Grammar:
    """A set of phrases."""

    def __init__(self, phrases: Iterable[ListenPhrase]) -> None:
        self.phrases = tuple(phrases)
        self._plain = {phrase.text: phrase for phrase in self.phrases if NUMBER_SLOT not in phrase.text}
        self._slotted = tuple(phrase for phrase in self.phrases if NUMBER_SLOT in phrase.text)

    @classmethod
    def of_texts(cls, texts: Iterable[str]) -> Self:
        """Phrases given by their words alone."""
        return cls(ListenPhrase(text) for text in texts)

    def sentences(self) -> list[Sentence]:
        """What the recogniser is given: it learns from it how often a phrase is said, and which words follow which.

        A phrase without a number is said as often as one with a number, and no number is said alone.
        """
        with_numbers = self._with_numbers()
        often = min(MOST_OFTEN, round(len(with_numbers) / len(self._slotted))) if with_numbers else 1
        return [(Part(text),) for text in self._plain] * often + with_numbers

    def _with_numbers(self) -> list[Sentence]:
        """Every sample in some phrase, and every last word before whatever may follow a number."""
        around = [_around_number(phrase.text) for phrase in self._slotted]
        if not around:
            return []
        each = max(_NUMBERS_IN_PLACE, ceil(len(SAMPLES) / len(around)))
        samples = cycle(SAMPLES)
        said = [(*before, *next(samples), *after) for before, after in around for _ in range(each)]
        for tail in dict.fromkeys(after for _before, after in around):
            heads = cycle(before for before, after in around if after == tail)
            said.extend((*next(heads), word, *tail) for word in LAST_WORDS)
        return said

    def parts(self) -> set[Part]:
        """Everything that may be heard."""
        return {part for sentence in self.sentences() for part in sentence}

    def match(self, text: str) -> Match | None:
        """The phrase that the whole text is, or None."""
        if text in self._plain:
            return Match(self._plain[text], text)
        for phrase in self._slotted:
            head, _slot, tail = phrase.text.partition(NUMBER_SLOT)
            middle = text[len(head) : len(text) - len(tail)].split()
            if text.startswith(head) and text.endswith(tail) and is_number(middle):
                return Match(phrase, text)
        return None

    def find(self, units: Sequence[str], *, strays: bool) -> Found | None:
        """The phrase that was said: all that is not `UNKNOWN`, or, with `strays`, all but number words around it."""
        known = [place for place, unit in enumerate(units) if unit != UNKNOWN]
        if not known:
            return None
        first, stop = known[0], known[-1] + 1
        whole = self.match(" ".join(units[first:stop]))
        if whole is not None:
            return Found(whole, first, stop)
        return self._among_strays(units, first, stop) if strays and stop - first <= _MOST_UNITS else None

    def _among_strays(self, units: Sequence[str], first: int, stop: int) -> Found | None:
        for length in range(stop - first - 1, 0, -1):
            for start in range(first, stop - length + 1):
                end = start + length
                match = self.match(" ".join(units[start:end]))
                if match is not None and _stray(units[:start]) and _stray(units[end:]):
                    return Found(match, start, end)
        return None

    def rivals(self, match: Match) -> list[str]:
        """Texts in force that differ from this one in one word, and the same text with other numbers near it."""
        said, text = match.phrase.text, match.text
        near = [phrase.text for phrase in self.phrases if _differ_in_one_word(phrase.text, said)]
        if NUMBER_SLOT not in said:
            return [other for other in near if NUMBER_SLOT not in other]
        head, _slot, tail = said.partition(NUMBER_SLOT)
        number = text[len(head) : len(text) - len(tail)]
        return [other.replace(NUMBER_SLOT, number) for other in near] + [
            f"{head}{other}{tail}" for other in _numbers_like(number.split())
        ]

    def plain(self) -> list[str]:
        """Phrases without a number."""
        return list(self._plain)

    def kin(self, match: Match) -> list[str]:
        """What begins the same and ends sooner or later: "affirm" of "affirmative"; a reading without its place."""
        said, text = match.phrase.text, match.text
        if NUMBER_SLOT not in said:
            return [other for other in self._plain if _one_begins_the_other(other, text)]
        head, _slot, tail = said.partition(NUMBER_SLOT)
        number = text[len(head) : len(text) - len(tail)]
        alike = [other.text for other in self._slotted if other.text.startswith(f"{head}{NUMBER_SLOT}")]
        return [other.replace(NUMBER_SLOT, number) for other in alike if other != said]

    def may_grow(self, text: str) -> bool:
        """Whether a longer phrase begins with this text ("affirm", "affirmative"): more may be on its way."""
        if any(other.startswith(text) and other != text for other in self._plain):
            return True
        return any(_slot_may_grow(phrase.text, text) for phrase in self._slotted)


def _around_number(pattern: str) -> tuple[Sentence, Sentence]:
    """What stands before and after the number."""
    head, _slot, tail = (part.strip() for part in pattern.partition(NUMBER_SLOT))
    before, after = ((Part(words),) if words else () for words in (head, tail))
    return before, after


def _one_begins_the_other(one: str, other: str) -> bool:
    return one != other and (one.startswith(other) or other.startswith(one))


def _stray(units: Sequence[str]) -> bool:
    return all(unit == UNKNOWN or unit in NUMBER_WORDS for unit in units)


def _numbers_like(number: list[str]) -> list[str]:
    """Numbers that differ in one word, have one figure more or one word less.

    For a short one also every number of one word and every pair of figures.
    """
    places = range(len(number))
    tries = [[*number[:place], word, *number[place + 1 :]] for place in places for word in _OTHER_NUMBERS]
    tries += [[*number[:place], *number[place + 1 :]] for place in places]
    tries += [[*number[:place], word, *number[place:]] for place in range(len(number) + 1) for word in _FIGURES]
    if len(number) <= _SHORT:
        tries += [[word] for word in _OTHER_NUMBERS] + [list(pair) for pair in product(_FIGURES, repeat=2)]
    mine = parse_number(number).value
    others = {" ".join(words) for words in tries if is_number(words)}
    return sorted(other for other in others if parse_number(other).value != mine)


def _differ_in_one_word(one: str, other: str) -> bool:
    if one.startswith(other) or other.startswith(one):
        return False
    mine, theirs = one.split(), other.split()
    return len(mine) == len(theirs) and sum(a != b for a, b in zip(mine, theirs, strict=True)) == 1


def _slot_may_grow(pattern: str, text: str) -> bool:
    """Whether `text` is a beginning of a phrase with a number in it: the number, or what follows it, may go on."""
    head, _slot, tail = (part.strip() for part in pattern.partition(NUMBER_SLOT))
    if f"{head} ".startswith(f"{text} "):
        return True
    if head and not text.startswith(f"{head} "):
        return False
    words = text[len(head) :].split()
    number = sum(1 for _ in takewhile(NUMBER_WORDS.__contains__, words))
    rest = " ".join(words[number:])
    return not rest or (rest != tail and f"{tail} ".startswith(f"{rest} "))
