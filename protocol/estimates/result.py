"""What every estimate is: a number that carries a range, a method and a source, and can be spoken.

Ranges are meant to hold the true value nine times in ten unless the method says otherwise. Independent errors are
combined as the root of the sum of squares (`spread`), each input being moved to its ends in turn.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

from protocol.errors import EstimateError
from protocol.estimates.wording import Noun, Triple, in_figures, rounded, sentence
from protocol.units import System, Unit


@dataclass(frozen=True, slots=True)
class Span:
    """A number with the range it lies in."""

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and self.low <= self.value <= self.high < math.inf):
            raise EstimateError(
                f"{self.value:g} with a range of {self.low:g} to {self.high:g} cannot be: "
                "give finite numbers, lowest first."
            )

    @classmethod
    def exact(cls, value: float) -> Self:
        """A number without doubt."""
        return cls(value, value, value)

    @classmethod
    def between(cls, low: float, high: float) -> Self:
        """Anywhere from low to high; the middle is taken as the value."""
        return cls((low + high) / 2, low, high)

    @classmethod
    def about(cls, value: float, plus_minus: float) -> Self:
        """`value` give or take `plus_minus`."""
        return cls(value, value - plus_minus, value + plus_minus)

    def times(self, factor: float) -> "Span":
        """The same in another unit (factor above zero)."""
        return Span(self.value * factor, self.low * factor, self.high * factor)


@dataclass(frozen=True, slots=True)
class Given:
    """One input an estimate was made from."""

    name: str
    value: float | str
    unit: str = ""
    low: float | None = None
    high: float | None = None

    @classmethod
    def span(cls, name: str, span: Span, unit: str) -> Self:
        """An input that has a range."""
        return cls(name, span.value, unit, span.low, span.high)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its range, how it was made, where that comes from, and what to be careful of."""

    value: float
    """Best estimate in `unit`."""
    low: float
    high: float
    unit: Unit
    method: str
    source: str
    says: str = "{amount}"
    """Sentence for the headset without its full stop; {amount} becomes "about seven bushels"."""
    inputs: tuple[Given, ...] = ()
    cautions: tuple[str, ...] = ()
    """Shown beside the number."""
    then_say: str = ""
    """A sentence spoken every time after the number ("Test again.")."""
    range_only: bool = False
    """Measurements disagree so much that no single number may be spoken."""
    noun: Noun = ("", "")
    """For counts: what is counted, one and many."""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and self.low <= self.value <= self.high < math.inf):
            raise EstimateError(f"An estimate came out as {self.value:g} ({self.low:g} to {self.high:g}): not usable.")

    @property
    def span(self) -> Span:
        """Value and range alone."""
        return Span(*self.triple)

    @property
    def triple(self) -> Triple:
        """Value, low, high."""
        return (self.value, self.low, self.high)

    def spoken(self, units: System = "us") -> str:
        """One short sentence for a headset, rounded, with its range (rounded outward, so it always holds)."""
        number = rounded(self.triple, self.unit, units, self.noun)
        if self.range_only:
            text = self.says.format(amount=number.range_alone)
        else:
            text = ", ".join(filter(None, (self.says.format(amount=number.amount), number.between)))
        return " ".join(filter(None, (sentence(text), self.then_say)))

    def shown(self, units: System = "us") -> str:
        """In figures: "7.2 bu (6.3 to 8.2)"."""
        return in_figures(self.triple, self.unit, units, self.noun)


def spread(function: Callable[..., float], **spans: Span) -> Span:
    """Carry the ranges of independent inputs through a function.

    Each input is moved to its two ends with the others at their values; upward and downward changes are combined
    separately as the root of the sum of squares. For a linear function of independent normal inputs this is exact.
    """
    centre = {name: span.value for name, span in spans.items()}
    value = function(**centre)
    up = down = 0.0
    for name, span in spans.items():
        changes = [function(**{**centre, name: end}) - value for end in (span.low, span.high)]
        up = math.hypot(up, max(0.0, *changes))
        down = math.hypot(down, max(0.0, *(-change for change in changes)))
    return Span(value, value - down, value + up)
