"""Each gas against time: what was read where, the limits, and when no reading was young enough to count."""

from collections.abc import Iterator
from itertools import pairwise

from assistant.debrief.axes import LEFT, RIGHT, Scale, TimeAxis
from assistant.debrief.picture import Area, Mark, Picture, Shape, Stroke, Words, hatching, mark, wide
from assistant.debrief.tale import AirRow, Tale
from protocol.air import LIMITS, Crossing, Gas, Limit, Verdict, range_of

PANEL = 74.0
GAP = 16.0
CROWD = 60
"""From so many readings in a panel on their marks are drawn smaller."""
PLACES: dict[str, Mark] = {"hatch": "ring", "person": "circle"}
FLOOR = {Gas.OXYGEN: 18.0}
"""Where a scale begins, unless something lower was read."""
WAY = {Crossing.BELOW: "under", Crossing.ABOVE: "over", Crossing.AT_OR_ABOVE: "from"}


def air_plot(tale: Tale) -> Picture | None:
    """One panel a gas that had to be read or was read; None when nothing was read at all."""
    rows = [row for row in tale.air if not row.taken_back]
    if not rows:
        return None
    gases = [gas for gas in Gas if gas in tale.needed or any(row.gas is gas for row in rows)]
    axis = TimeAxis(tale.end_ms, tale.opened, tale.zone)
    shapes: list[Shape] = []
    top = 8.0
    for gas in gases:
        shapes.extend(_panel(tale, gas, [row for row in rows if row.gas is gas], axis, top))
        top += PANEL + GAP
    bottom = top - GAP
    shapes.extend(axis.frame(bottom, bottom))
    shapes.extend(_legend(bottom + 42))
    words = f"Air readings: {', '.join(gas.spoken for gas in gases)}, with their limits. Not that the air was safe."
    return Picture(bottom + 54, tuple(shapes), words)


def shown_limits(gas: Gas) -> tuple[Limit, ...]:
    """The first limit of each verdict and direction: what a reading is first compared with."""
    found: dict[tuple[Verdict, bool], Limit] = {}
    for limit in LIMITS:
        if limit.gas is gas:
            found.setdefault((limit.verdict, limit.crossing is Crossing.BELOW), limit)
    return tuple(found.values())


def uncovered(tale: Tale, rows: list[AirRow]) -> list[tuple[int, int]]:
    """Stretches, from the first reading on, in which the newest reading anywhere was too old to count."""
    times = sorted({row.at_ms for row in rows})
    found = [(early + tale.max_age_ms, late) for early, late in pairwise(times) if late - early > tale.max_age_ms]
    if times and tale.end_ms - times[-1] > tale.max_age_ms:
        found.append((times[-1] + tale.max_age_ms, tale.end_ms))
    return found


def _panel(tale: Tale, gas: Gas, rows: list[AirRow], axis: TimeAxis, top: float) -> Iterator[Shape]:
    bottom = top + PANEL
    scale = _scale(gas, rows, bottom, top)
    for from_ms, to_ms in uncovered(tale, rows):
        x1, x2 = axis.x(from_ms), axis.x(to_ms)
        yield from hatching(x1, top, x2 - x1, PANEL, "rising")
    for at_ms in axis.ticks_ms():
        yield Stroke(((axis.x(at_ms), top), (axis.x(at_ms), bottom)), 0.3, "dotted", grey=0.7)
    yield Stroke(((LEFT, top), (LEFT, bottom), (RIGHT, bottom), (RIGHT, top), (LEFT, top)), 0.8)
    yield from _labels(gas, scale)
    yield from _limits(gas, scale)
    if not rows:
        yield Words((LEFT + RIGHT) / 2, (top + bottom) / 2 + 4, "never read", 11, "middle", bold=True)
    for place, kind in PLACES.items():
        here = [row for row in rows if row.place == place]
        points = tuple((axis.x(row.at_ms), scale.y(row.value)) for row in here)
        yield Stroke(points, 0.9, "solid" if place == "person" else "dotted")
        for row, (x, y) in zip(here, points, strict=True):
            bad = row.verdict is Verdict.BAD
            yield from mark("diamond" if bad else kind, x, y, 3 if bad or len(here) <= CROWD else 1.5)


def _scale(gas: Gas, rows: list[AirRow], bottom: float, top: float) -> Scale:
    values = [row.value for row in rows]
    limits = [float(limit.value) for limit in shown_limits(gas)]
    low = min([FLOOR.get(gas, 0.0), *values])
    high = max([*limits, *values]) * (1.02 if gas is Gas.OXYGEN else 1.15)
    return Scale(low, high, bottom, top)


def _labels(gas: Gas, scale: Scale) -> Iterator[Shape]:
    unit = {"percent": "%", "percent of the lower limit": "% LEL", "parts per million": "ppm"}[range_of(gas).unit]
    first, _, second = gas.spoken.partition(" ")
    yield Words(8, scale.top + 14, first.capitalize(), 10, bold=True)
    yield Words(8, scale.top + 26, second, 10, bold=True)
    yield Words(8, scale.top + (38 if second else 26), unit, 9)
    for value in (scale.low, scale.high):
        yield Words(LEFT - 6, scale.y(value) + (0 if value == scale.low else 8), _short(value), 8, "end")


def _limits(gas: Gas, scale: Scale) -> Iterator[Shape]:
    for limit in shown_limits(gas):
        y = scale.y(float(limit.value))
        bad = limit.verdict is Verdict.BAD
        yield Stroke(((LEFT, y), (RIGHT, y)), 1.4 if bad else 1.0, "solid" if bad else "dashed")
        words = f"{'leave' if bad else 'caution'} {WAY[limit.crossing]} {limit.value:f}"
        x1, x2 = RIGHT - 6 - wide(words, 8), RIGHT - 2
        yield Area(((x1, y + 1.5), (x2, y + 1.5), (x2, y + 10.5), (x1, y + 10.5)), 1.0)
        yield Words(RIGHT - 4, y + 9, words, 8, "end")


def _legend(y: float) -> Iterator[Shape]:
    entries: tuple[tuple[Mark, str], ...] = (
        ("ring", "at the hatch"), ("circle", "at the person"), ("diamond", "bad"),
    )  # fmt: skip
    x = 10.0
    for kind, words in entries:
        yield from mark(kind, x + 4, y - 3, 3)
        yield Words(x + 13, y, words, 9)
        x += 34 + len(words) * 5
    yield from hatching(x, y - 10, 26, 12, "rising")
    yield Words(x + 32, y, "no reading young enough to count", 9)
    yield Stroke(((x + 212, y - 4), (x + 236, y - 4)), 1.4)
    yield Words(x + 242, y, "leave", 9)
    yield Stroke(((x + 278, y - 4), (x + 302, y - 4)), 1.0, "dashed")
    yield Words(x + 308, y, "caution", 9)


def _short(value: float) -> str:
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"
