"""Counting: right, wrong, missed; Wilson intervals; false accepts an hour with exact Poisson bounds."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import sqrt

from scipy.stats import chi2

from tests.bench.hearing_ears import Taken

SAME_WORD = {"niner": "nine", "fower": "four", "fife": "five", "tree": "three", "oh": "zero", "decimal": "point"}
Z95 = 1.959964


def plain(text: str) -> str:
    """With radio figure words as everyday ones: either is the same number."""
    return " ".join(SAME_WORD.get(word, word) for word in text.split())


def outcome(said: str, taken: Sequence[Taken]) -> str:
    """`wrong` if anything else was taken, however much was right."""
    texts = {plain(one.text) for one in taken}
    if texts - {plain(said)}:
        return "wrong"
    return "right" if texts else "missed"


def wilson(hits: int, count: int) -> tuple[float, float]:
    """95 % interval of a proportion, in per cent. Source: Wilson 1927, from memory."""
    if not count:
        return 0.0, 100.0
    share, z2 = hits / count, Z95**2
    middle = (share + z2 / (2 * count)) / (1 + z2 / count)
    half = Z95 * sqrt(share * (1 - share) / count + z2 / (4 * count**2)) / (1 + z2 / count)
    return 100 * max(0.0, middle - half), 100 * min(1.0, middle + half)


def poisson(events: int, hours: float) -> tuple[float, float]:
    """95 % interval of a rate an hour, exact (chi-square)."""
    low = float(chi2.ppf(0.025, 2 * events)) / 2 if events else 0.0
    return low / hours, float(chi2.ppf(0.975, 2 * events + 2)) / 2 / hours


@dataclass
class Tally:
    """Outcomes of one row of the table."""

    counts: Counter[str] = field(default_factory=Counter)

    def add(self, what: str) -> None:
        """One more."""
        self.counts[what] += 1

    @property
    def total(self) -> int:
        """How many."""
        return self.counts.total()

    def row(self) -> dict[str, float]:
        """Percentages, with the Wilson interval of `right` and `wrong`."""
        right, wrong, total = self.counts["right"], self.counts["wrong"], max(1, self.total)
        (right_low, right_high), (wrong_low, wrong_high) = wilson(right, self.total), wilson(wrong, self.total)
        return {
            "n": self.total, "right": 100 * right / total, "right_low": right_low, "right_high": right_high,
            "wrong": 100 * wrong / total, "wrong_low": wrong_low, "wrong_high": wrong_high,
            "missed": 100 * self.counts["missed"] / total,
        }  # fmt: skip
