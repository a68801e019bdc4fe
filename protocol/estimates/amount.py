"""How much grain is left and how much a canister holds, learned together from what the crew calls.

A Kalman filter over three numbers: grain left (m3), the log of the volume of a called canister (m3), and the error of
the mark from which the rim of the ring was placed (m3 of grain). A mark shows the grain left by itself. A taped level
shows it from the rim, so every taped level is wrong by that one error: taped levels tell sharply what came out between
them, and nothing about the error itself.
"""

import math
from dataclasses import dataclass, replace

from protocol.estimates.crewlog import DOUBLE_CALL, MISSED_CALL

FILL_EACH_SD = 0.08
"""Canister to canister, relative."""
LEAST_VAR_EACH = 1e-6
_EXACT = 1e-12

Triple = tuple[float, float, float]
LEFT: Triple = (1.0, 0.0, 0.0)
"""A mark shows the grain left."""
FROM_RIM: Triple = (1.0, 0.0, 1.0)
"""A taped level shows the grain left and the error of the rim."""


@dataclass(frozen=True, slots=True)
class Amount:
    """Best guess and covariance."""

    mean: Triple
    spread: tuple[Triple, Triple, Triple]

    @classmethod
    def first(cls, left_m3: float, var_left: float, log_each: float, var_each: float) -> "Amount":
        """From the first level called and the size of the canister."""
        return cls((left_m3, log_each, 0.0), ((var_left, 0.0, 0.0), (0.0, var_each, 0.0), (0.0, 0.0, 0.0)))

    @property
    def left_m3(self) -> float:
        """Grain left."""
        return self.mean[0]

    @property
    def log_each(self) -> float:
        """Log of the volume of a called canister."""
        return self.mean[1]

    @property
    def var_left(self) -> float:
        """Variance of the grain left."""
        return self.spread[0][0]

    @property
    def var_each(self) -> float:
        """Variance of the log volume of a canister."""
        return max(LEAST_VAR_EACH, self.spread[1][1])

    @property
    def cov(self) -> float:
        """Covariance of the two."""
        return self.spread[0][1]

    def canister(self) -> "Amount":
        """After one called canister."""
        each = math.exp(self.log_each)
        left, log_each, rim = self.spread
        noise = each**2 * (FILL_EACH_SD**2 + MISSED_CALL + DOUBLE_CALL)
        var_left = left[0] - 2 * each * left[1] + each**2 * log_each[1] + noise
        cov, with_rim = left[1] - each * log_each[1], left[2] - each * log_each[2]
        spread = ((var_left, cov, with_rim), (cov, log_each[1], log_each[2]), (with_rim, log_each[2], rim[2]))
        return Amount((self.mean[0] - each, self.log_each, self.mean[2]), spread)

    def seen(self, shown: Triple, value_m3: float, sd_m3: float) -> "Amount":
        """After a level that shows `value_m3` of the sum that `shown` weighs."""
        turned = tuple(sum(one * weight for one, weight in zip(row, shown, strict=True)) for row in self.spread)
        total = sum(one * weight for one, weight in zip(turned, shown, strict=True)) + sd_m3**2 + _EXACT
        surprise = value_m3 - sum(one * weight for one, weight in zip(self.mean, shown, strict=True))
        mean = tuple(one + part / total * surprise for one, part in zip(self.mean, turned, strict=True))
        spread = tuple(
            tuple(one - part * other / total for one, other in zip(row, turned, strict=True))
            for row, part in zip(self.spread, turned, strict=True)
        )
        return Amount((mean[0], mean[1], mean[2]), _square(spread))

    def rim_from_first(self, sd_m3: float) -> "Amount":
        """The first level called places the rim: its error is the rim's."""
        left = self.spread[0]
        spread = ((left[0], left[1], -(sd_m3**2)), self.spread[1], (-(sd_m3**2), 0.0, sd_m3**2))
        return replace(self, spread=spread)

    def rim_from(self, value_m3: float, sd_m3: float) -> "Amount":
        """A mark called later places the rim, and shows `value_m3` of grain left with the same error."""
        left, log_each, _rim = self.spread
        spread = ((left[0], left[1], 0.0), (log_each[0], log_each[1], 0.0), (0.0, 0.0, sd_m3**2))
        fresh = Amount((self.mean[0], self.mean[1], 0.0), spread)
        return fresh.seen(FROM_RIM, value_m3, 0.0)

    def rim_doubted(self, sd_m3: float) -> "Amount":
        """More doubt of the rim alone: the surface under the first taped set was uneven."""
        rim = self.spread[2]
        return replace(self, spread=(*self.spread[:2], (rim[0], rim[1], rim[2] + sd_m3**2)))


def _square(rows: tuple[tuple[float, ...], ...]) -> tuple[Triple, Triple, Triple]:
    one, two, three = rows
    return (one[0], one[1], one[2]), (two[0], two[1], two[2]), (three[0], three[1], three[2])
