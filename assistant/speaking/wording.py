"""What a text needs before it is spoken: a clean line, a rate, and an estimate of how long it takes."""

import re
from typing import Final

ESTIMATE_WPM: Final = 150
SENTENCE_PAUSE_MS: Final = 300
_NUMBER_WORDS: Final = (
    "zero one two three four five six seven eight nine niner ten eleven twelve thirteen fourteen fifteen sixteen"
    " seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred thousand point decimal"
    " half quarter per cent percent minus"
)
NUMBER_WORDS: Final = frozenset(_NUMBER_WORDS.split())
NUMBERS_THAT_SLOW: Final = 2


def clean(text: str) -> str:
    """One line of printable characters."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


def carries_numbers(text: str) -> bool:
    """Whether a text holds a figure or at least two number words, such as a reading; "panel two" alone does not."""
    words = re.findall(r"[a-z]+|\d+", text.lower())
    figures = sum(word.isdigit() for word in words)
    return figures > 0 or sum(word in NUMBER_WORDS for word in words) >= NUMBERS_THAT_SLOW


def estimate_ms(text: str, rate_wpm: int = ESTIMATE_WPM) -> int:
    """How long the text takes to say, in milliseconds: words at the rate, each digit a word, a pause after a sentence.

    The rate of 150 words a minute is common practice for spoken prompts, no source.
    """
    pieces = re.findall(r"[^\W\d]+(?:'[^\W\d]+)?|\d|(?<=\d)\.(?=\d)|%", text)
    pauses = len(re.findall(r"[.!?:;](?=\s)", text))
    return round(len(pieces) * 60_000 / rate_wpm) + pauses * SENTENCE_PAUSE_MS
