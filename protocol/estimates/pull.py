"""How hard it would be to pull a held person out, as measured; and why nobody does.

Rows are measurements or tests with their source; figures that mix "pressure" and force (650 to 1,200 lb in training
texts) are left out. Between depths the ends of the range are joined by straight lines. A panel wall does not reduce the
force: with the wall in place it was 26 % (waist) and 22 % (underarm) higher. No function here ever allows a pull.
"""

from dataclasses import dataclass
from itertools import pairwise

from protocol.errors import EstimateError
from protocol.estimates.body import MARK_FRACTIONS, Level, Mark, Person, level_fraction, level_name
from protocol.estimates.result import Estimate, Given
from protocol.units import POUND_FORCE_N, Unit

ROBERTS = "Roberts, Field, Maier & Stroshine 2015, J. Agric. Saf. Health 21(2):71-83"
ISSA = "Issa et al. 2024, J. Agromedicine, doi 10.1080/1059924X.2024.2426491"


@dataclass(frozen=True, slots=True)
class Pull:
    """One measured pull."""

    mark: Mark
    wall: bool
    """With a panel wall in place, before any grain was removed."""
    newtons: float
    source: str


MEASURED = (
    Pull(
        Mark.KNEES, False, 2 * 35 * POUND_FORCE_N, "two legs at 35 lbf each in 8 in of grain; producer.com 2017 (press)"
    ),
    Pull(Mark.KNEES, False, 170 * 1.71 * POUND_FORCE_N, "170 lbf per foot of depth, NASD graphic; 1.71 ft to the knee"),
    Pull(Mark.WAIST, False, 1259.0, ROBERTS),
    Pull(Mark.WAIST, False, 1320.0, ISSA),
    Pull(Mark.CHEST, False, 1766.0, f"{ROBERTS} (underarm)"),
    Pull(Mark.CHEST, False, 2770.0, ISSA),
    Pull(Mark.HEAD, False, 4010.0, ISSA),
    Pull(Mark.HEAD, False, 1000 * POUND_FORCE_N, "can exceed 1,000 lb when covered: Penn State Extension"),
    Pull(Mark.WAIST, True, 1584.0, ROBERTS),
    Pull(Mark.WAIST, True, 1.26 * 1320.0, f"{ISSA}, raised by the 26 % of {ROBERTS}"),
    Pull(Mark.CHEST, True, 2153.0, f"{ROBERTS} (underarm)"),
    Pull(Mark.CHEST, True, 1.22 * 2770.0, f"{ISSA}, raised by the 22 % of {ROBERTS}"),
)

REFUSAL = "Nobody pulls, nobody winches. Take the grain away until the person can step."
AT_KNEES = "Ask the person to try a step. If still held, take out more grain. Nobody pulls."
FREE = "The person climbs, the line kept snug. Nobody lifts on the line."


@dataclass(frozen=True, slots=True)
class PullAnswer:
    """Answer to "can we pull?"; it is never yes while the person is held."""

    pull: bool
    sentence: str
    source: str


def may_pull(level: Level, person: Person, *, held: bool) -> PullAnswer:
    """Answer a request to pull, lift or winch.

    Args:
        level: grain level on the person.
        person: who is held.
        held: whether the person is still held; not known counts as held.
    """
    source = f"{ROBERTS}: no forcible pull, severe injury or death possible"
    if not held:
        return PullAnswer(False, FREE, source)
    at_knees = level_fraction(level, person.height_m.value) <= MARK_FRACTIONS[Mark.KNEES]
    return PullAnswer(False, AT_KNEES if at_knees else REFUSAL, source)


def pull_force(level: Level, person: Person, *, wall: bool = False) -> Estimate:
    """Force (N) it took to pull at a depth: a range of measurements, to explain a refusal, never to plan a pull.

    Raises:
        EstimateError: below the knees, where nothing was measured.
    """
    fraction = level_fraction(level, person.height_m.value)
    ends = _ends(wall)
    if fraction < ends[0][0]:
        lowest = "waist" if wall else "knees"
        raise EstimateError(f"No pull was measured below the {lowest}.")
    low, high = (_between(fraction, [(at, end[side]) for at, *end in ends]) for side in (0, 1))
    return Estimate(
        (low + high) / 2,
        low,
        high,
        Unit.NEWTON,
        "measured pulls at the depths on either side, ends of the range joined by straight lines",
        "; ".join(dict.fromkeys(row.source for row in MEASURED if row.wall == wall)),
        f"it took {{amount}} to pull a dummy held to {level_name(level)}",
        inputs=(Given("level", str(level)), Given("panel wall in place", str(wall))),
        cautions=("Measurements disagree: only the range means anything.", "Spinal injury possible at these forces."),
        then_say=REFUSAL,
        range_only=True,
    )


def _ends(wall: bool) -> list[tuple[float, float, float]]:
    marks = [mark for mark in Mark if any(row.mark is mark and row.wall == wall for row in MEASURED)]
    ends = []
    for mark in marks:
        forces = [row.newtons for row in MEASURED if row.mark is mark and row.wall == wall]
        ends.append((MARK_FRACTIONS[mark], min(forces), max(forces)))
    return ends


def _between(fraction: float, points: list[tuple[float, float]]) -> float:
    for (left, low), (right, high) in pairwise(points):
        if fraction <= right:
            share = (fraction - left) / (right - left)
            return low * (1 - share) + high * share
    return points[-1][1]
