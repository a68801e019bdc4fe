"""Mass balance: grain taken out against the fall of the level tells whether the ring leaks, and how fast.

If every canister held the same and the level were read without error, what went out would equal the fall of the level.
Whatever is missing has come in. The balance of each reading is written down with the covariance of its errors:

* canisters (see `leak_balance`): a crew's usual fill is known within 5 % (sd), each canister scatters by 6 % more;
* floor area and body: 3 %, and more for a person whose mass is only known as a range;
* levels: see `crewlog` (mark 3 cm; tape 1.5 cm of uneven surface and 0.3 cm of reading);
* counting: a canister in fifty goes out uncalled, one in two hundred is called twice.

The test is a generalised likelihood ratio in sequence: after every reading, over every moment at which a leak may have
opened, with the counting errors averaged over, the best steady leak is compared with none. It warns when the ratio
passes `warn_at`. Readings before and after each emptying of the canister, vacuum stopped, carry most of the weight: a
rise of the level while nothing is taken out needs no count at all.

A leak is taken as steady; the first level reading is the zero. All figures are assumptions, no source.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from protocol.estimates.crewlog import CORNER_SD_M, NINETY, CrewLog, Job, LevelReading
from protocol.estimates.leak_balance import Balance, Score, leak_scores
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.estimates.wording import number_words
from protocol.units import System, Unit

WARN_AT = 3.25
"""Root of twice the log likelihood ratio up to ten readings; set by simulation (see `warn_at`)."""
_POWER = 1.645
"""A leak this many standard deviations over the threshold is found nineteen times in twenty."""
SOURCE = "conservation of volume; error figures are assumptions"

Verdict = Literal["leak", "none seen", "cannot tell"]


@dataclass(frozen=True, slots=True)
class LeakWatch:
    """What the balance says now."""

    verdict: Verdict
    score: float
    """Standard deviations by which a leak explains the readings better than none."""
    rate: Estimate | None
    """m3/s coming in, when a leak is told."""
    share_pct: Estimate | None
    """The same as a share of what is taken out."""
    smallest_pct: float
    """A leak of this share of the removal rate would have been found by now, nineteen times in twenty."""
    corner: int | None
    """Likely corner, counted from one, when corners were read."""

    def spoken(self, units: System = "us") -> str:
        """One warning, or what cannot yet be said."""
        if self.verdict == "leak" and self.rate is not None:
            where = f"Look at corner {number_words(self.corner)} first." if self.corner else "Look along every joint."
            return f"Warning. {self.rate.spoken(units)} {where}"
        if self.verdict == "cannot tell":
            return "Cannot tell yet whether the ring leaks. Stop the vacuum for a minute and watch the level."
        smallest = number_words(5 * math.ceil(self.smallest_pct / 5))
        return f"No leak seen. One under {smallest} percent of what you take out would not show yet."


def leak_watch(job: Job, log: CrewLog, now_s: float) -> LeakWatch:
    """Weigh all readings so far.

    Args:
        job: person, ring, canister.
        log: calls so far on the wall clock (holds left in: a leak goes on through a hold).
        now_s: the moment asked about, same clock.
    """
    levels = _since_start(log, now_s)
    calls = log.count_at(levels[-1].at_s) if levels else 0
    if calls < 1 or levels[0].at_s >= levels[-1].at_s:
        return LeakWatch("cannot tell", 0.0, None, None, math.inf, None)
    balance = Balance.of(job, log, levels)
    scores = leak_scores(balance)
    best = max(scores, key=lambda found: found.score)
    limit = warn_at(len(levels))
    removal = calls * balance.each_m3 / (balance.times_s[-1] - balance.times_s[0])
    smallest = (limit + _POWER) / math.sqrt(max(scores, key=lambda found: found.weight).weight) / removal * 100
    if best.score < limit:
        verdict: Verdict = "none seen" if smallest <= 100 else "cannot tell"
        return LeakWatch(verdict, max(0.0, best.score), None, None, smallest, None)
    rate = _rate(best, calls)
    share = _share(rate, removal)
    return LeakWatch("leak", best.score, rate, share, smallest, likely_corner(levels))


def _since_start(log: CrewLog, now_s: float) -> tuple[LevelReading, ...]:
    """The last level called before the vacuum started, and all after it."""
    before = [level for level in log.levels if level.at_s <= log.started_s]
    after = [level for level in log.levels if log.started_s < level.at_s <= now_s]
    return (*before[-1:], *after)


def warn_at(readings: int) -> float:
    """Score that warns: the more readings, the more chances of a false alarm, so the limit rises with their number."""
    return math.sqrt(WARN_AT**2 + 5 * math.log(max(1.0, readings / 10)))


def likely_corner(levels: Sequence[LevelReading]) -> int | None:
    """The corner that rises most while the vacuum is stopped, if it stands out from the next by two sd; from one."""
    rises: list[float] = []
    pairs = 0
    for before, after in pairwise(levels):
        if after.undisturbed and len(before.corners_m) == len(after.corners_m) > 1:
            change = [high - low for low, high in zip(before.corners_m, after.corners_m, strict=True)]
            rises = [total + one for total, one in zip(rises, change, strict=True)] if rises else change
            pairs += 1
    if not pairs:
        return None
    first, second = sorted(rises, reverse=True)[:2]
    sd = math.sqrt(4 * pairs) * CORNER_SD_M
    return rises.index(first) + 1 if first - second > 2 * sd else None


def _rate(best: Score, calls: int) -> Estimate:
    half = NINETY / math.sqrt(best.weight)
    value = max(0.0, best.rate_m3_s)
    return Estimate(
        value,
        max(0.0, value - half),
        value + half,
        Unit.CUBIC_METRE_PER_SECOND,
        "mass balance: canisters out against fall of the level, generalised likelihood ratio",
        SOURCE,
        "the ring leaks: {amount} coming in",
        inputs=(
            Given("canisters called", float(calls)),
            Given("leak since", best.since_s, "s"),
            Given("score", best.score, "sd"),
        ),
        cautions=("A miscounted canister looks like a leak: check the count.",),
    )


def _share(rate: Estimate, removal_m3_s: float) -> Estimate:
    span = spread(lambda part: 100 * part / removal_m3_s, part=Span(rate.value, rate.low, rate.high))
    return Estimate(
        span.value,
        span.low,
        span.high,
        Unit.PERCENT,
        "leak rate / rate taken out",
        SOURCE,
        "{amount} of what you take out comes back in",
        inputs=rate.inputs,
    )
