"""Numbers as words for somebody who hears them once, in the dark, through a headset.

The value is rounded to the nearest useful step; the ends of the range are rounded outward, so that the spoken range
always holds the computed one. Halves are spoken as halves ("eight and a half").
"""

import math
from dataclasses import dataclass

from protocol.numbers import count_words
from protocol.units import Display, System, Unit, display_for, useful_step

Triple = tuple[float, float, float]
"""Value, low, high."""
Noun = tuple[str, str]
"""What is counted: one, many."""
_SLIP = 1e-9
"""Rounding outward must not climb a step for a float's last digit."""


@dataclass(frozen=True, slots=True)
class Rounded:
    """A range as a person would say it, in units of `display`."""

    value: float
    low: float
    high: float
    step: float
    exact: bool
    """The number is known without doubt and needed no rounding."""
    display: Display

    @property
    def amount(self) -> str:
        """The value with its unit: "about seven bushels"; "less than one minute" when it rounds to nothing."""
        if self.value == 0:
            return "nothing" if self.high == 0 else f"less than {_with_unit(self.step, self.display)}"
        return f"{'' if self.exact else 'about '}{_with_unit(self.value, self.display)}"

    @property
    def between(self) -> str:
        """The range: "between six and eight and a half", or "two at most"; empty when low and high are one."""
        if self.high <= self.low:
            return ""
        if self.low <= 0:
            return f"{number_words(self.high)} at most"
        return f"between {number_words(self.low)} and {number_words(self.high)}"

    @property
    def floor(self) -> str:
        """The low end with its unit: "two feet"."""
        return _with_unit(self.low, self.display) if self.low > 0 else "nothing"

    @property
    def range_alone(self) -> str:
        """The range with its unit, without any single number."""
        if self.high <= self.low:
            return self.amount
        if self.low <= 0:
            return f"{_with_unit(self.high, self.display)} at most"
        return f"{self.between} {self.display.many}".strip()


def rounded(span: Triple, unit: Unit, units: System, noun: Noun = ("", "")) -> Rounded:
    """Round a range to what a person can use; ends go outward, and never below nothing."""
    display = Display(1.0, noun[1], *noun, 1.0) if unit is Unit.COUNT else display_for(span[0], unit, units)
    step = useful_step((span[2] - span[1]) / display.size, display.step)
    value, low, high = (part / display.size for part in span)
    nearest = math.floor(value / step + 0.5) * step
    return Rounded(
        max(0.0, nearest),
        max(0.0, math.floor(low / step + _SLIP) * step),
        max(0.0, math.ceil(high / step - _SLIP) * step),
        step,
        low == high and abs(nearest - value) < _SLIP,
        display,
    )


def in_figures(span: Triple, unit: Unit, units: System, noun: Noun = ("", "")) -> str:
    """The same in figures: "7.2 bu (6.3 to 8.2)"."""
    shape = rounded(span, unit, units, noun)
    digits = max(0, 1 - math.floor(math.log10(shape.step) + _SLIP))
    value, low, high = (f"{part / shape.display.size:,.{digits}f}" for part in span)
    return f"{value} {shape.display.symbol} ({low} to {high})"


def number_words(number: float) -> str:
    """Speak a number at or above zero: 8.5 -> "eight and a half", 0.5 -> "half", 1.6 -> "one point six"."""
    whole = math.floor(number + _SLIP)
    tenths = round((number - whole) * 10)
    if tenths in {0, 10}:
        return _whole_words(round(number))
    if tenths == 5:
        return f"{_whole_words(whole)} and a half" if whole else "half"
    return f"{_whole_words(whole)} point {count_words(tenths)}"


def count_range(low: int, high: int, noun: Noun) -> str:
    """Whole things between two counts: "four to six canisters", "one canister"."""
    if low == high:
        return f"{count_words(low)} {noun[0] if low == 1 else noun[1]}"
    return f"{count_words(low)} to {count_words(high)} {noun[1]}"


def sentence(text: str) -> str:
    """With a capital letter and a full stop."""
    return f"{text[0].upper()}{text[1:]}."


def _with_unit(number: float, display: Display) -> str:
    if abs(number - 0.5) < _SLIP:
        return f"half {'an' if display.one in {'hour', 'inch'} else 'a'} {display.one}"
    return f"{number_words(number)} {display.one if number == 1 else display.many}".strip()


def _whole_words(number: int) -> str:
    if number < 10_000:
        return count_words(number)
    name, size = ("million", 1_000_000) if number >= 1_000_000 else ("thousand", 1000)
    head, rest = divmod(number, size)
    return f"{_whole_words(head)} {name}" + (f" {_whole_words(rest)}" if rest else "")
