"""Spoken numbers, both ways.

Heard: digit by digit ("two zero decimal niner") or as a person counts ("twenty point nine", "one hundred five").
Spoken: digit by digit with the radio's figure words.

Source: ICAO Annex 10 Volume II 5.2.1.4 gives the figure words (NIN-er, FOW-er, TREE, FIFE, DAY-SEE-MAL) and the
digit-by-digit rule; from memory, not read here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from protocol.errors import NumberError

DIGITS = {
    "zero": 0, "oh": 0, "one": 1, "two": 2, "three": 3, "tree": 3, "four": 4, "fower": 4,
    "five": 5, "fife": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "niner": 9,
}  # fmt: skip
TEENS = {
    "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15,
    "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
}  # fmt: skip
TENS = {"twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90}
POINT_WORDS = frozenset({"point", "decimal"})
SCALE_WORDS = frozenset({"hundred", "thousand"})
NUMBER_WORDS = frozenset(DIGITS) | frozenset(TEENS) | frozenset(TENS) | POINT_WORDS | SCALE_WORDS
"""Every word that may stand in a spoken number."""

_FIGURE_WORDS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "niner")
_MAX_WORDS = 12


@dataclass(frozen=True, slots=True)
class Number:
    """A number as it was said."""

    value: Decimal
    """Exact value: 20.90 and 20.9 are equal but keep their digits."""
    words: str
    """The words as heard."""

    @property
    def text(self) -> str:
        """In figures, as many decimals as were said."""
        return format(self.value, "f")


def parse_number(words: str | Sequence[str]) -> Number:
    """Read spoken words as one non-negative number.

    Args:
        words: "two zero decimal niner", or the same as a list of words.

    Raises:
        NumberError: if the words are not exactly one number.
    """
    parts = words.lower().split() if isinstance(words, str) else [word.lower() for word in words]
    if not parts or len(parts) > _MAX_WORDS:
        raise NumberError("That is not a number: say the digits one by one.")
    whole, point, fraction = _split_at_point(parts)
    if point and not fraction:
        raise NumberError(f"Nothing follows the decimal in '{' '.join(parts)}': say the digits after it.")
    if not whole and not point:
        raise NumberError("That is not a number: say the digits one by one.")
    integer = _whole(whole) if whole else "0"
    text = f"{integer}.{_fraction(fraction)}" if point else integer
    return Number(Decimal(text), " ".join(parts))


def is_number(words: Sequence[str]) -> bool:
    """Whether the words are exactly one number."""
    try:
        parse_number(words)
    except NumberError:
        return False
    return True


def figure_words(text: str) -> str:
    """Speak figures digit by digit: "20.9" -> "two zero decimal niner".

    Raises:
        NumberError: if there is anything but digits and one point.
    """
    spoken = []
    for character in text:
        if character == ".":
            spoken.append("decimal")
        elif character.isascii() and character.isdigit():
            spoken.append(_FIGURE_WORDS[int(character)])
        else:
            raise NumberError(f"'{text}' cannot be spoken as figures.")
    return " ".join(spoken)


def count_words(number: int) -> str:
    """Speak a whole number as people count: 12 -> "twelve", 105 -> "one hundred five".

    Raises:
        NumberError: outside 0 to 9999.
    """
    if not 0 <= number <= 9999:
        raise NumberError(f"{number} is outside what is spoken as a count (0 to 9999).")
    if number < 100:
        return _below_hundred(number)
    size, name = (1000, "thousand") if number >= 1000 else (100, "hundred")
    head, rest = divmod(number, size)
    spoken = f"{_below_hundred(head)} {name}"
    return f"{spoken} {count_words(rest)}" if rest else spoken


def _split_at_point(parts: list[str]) -> tuple[list[str], bool, list[str]]:
    for index, word in enumerate(parts):
        if word in POINT_WORDS:
            return parts[:index], True, parts[index + 1 :]
    return parts, False, []


def _fraction(parts: list[str]) -> str:
    if all(word in DIGITS for word in parts):
        return "".join(str(DIGITS[word]) for word in parts)
    return _whole(parts)


def _whole(parts: list[str]) -> str:
    if all(word in DIGITS for word in parts):
        return "".join(str(DIGITS[word]) for word in parts)
    if "thousand" in parts:
        return str(_scaled(parts, "thousand", 1000))
    return str(_hundreds(parts))


def _scaled(parts: list[str], name: str, size: int) -> int:
    place = parts.index(name)
    head, tail = parts[:place], parts[place + 1 :]
    rest = _hundreds(tail) if tail else 0
    if rest >= size:
        raise NumberError(f"'{' '.join(parts)}' is not one number: say the digits one by one.")
    return (_hundreds(head) if head else 1) * size + rest


def _hundreds(parts: list[str]) -> int:
    if "hundred" not in parts:
        return _tens(parts)
    place = parts.index("hundred")
    head, tail = parts[:place], parts[place + 1 :]
    if len(head) > 1 or (head and DIGITS.get(head[0], 0) == 0):
        raise NumberError(f"'{' '.join(parts)}' is not one number: say the digits one by one.")
    return (DIGITS[head[0]] if head else 1) * 100 + (_tens(tail) if tail else 0)


def _tens(parts: list[str]) -> int:
    first = parts[0]
    if len(parts) == 1:
        for table in (DIGITS, TEENS, TENS):
            if first in table:
                return table[first]
    if len(parts) == 2 and first in TENS and DIGITS.get(parts[1], 0) > 0:
        return TENS[first] + DIGITS[parts[1]]
    raise NumberError(f"'{' '.join(parts)}' is not one number: say the digits one by one.")


def _below_hundred(number: int) -> str:
    for table in (DIGITS, TEENS, TENS):
        for word, value in table.items():
            if value == number:
                return word
    tens, ones = divmod(number, 10)
    return f"{_below_hundred(tens * 10)} {_below_hundred(ones)}"
