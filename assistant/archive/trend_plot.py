"""A trend as a picture: small plots, one a group, medians with their quartiles, black and white."""

from collections.abc import Iterator, Sequence
from itertools import groupby

from assistant.archive.questions import TIME, TrendAsked, TrendRow
from assistant.debrief.picture import WIDTH, Area, Picture, Shape, Stroke, Words, fitting, mark

ACROSS = 3
WIDE, HIGH = 226.0, 118.0
PAD_LEFT, PAD_TOP, PAD_BOTTOM = 34.0, 26.0, 18.0
NUMBERED = 16.0
"""From so much room for each stretch on the number of drills stands over it."""
MOST = 30
"""Groups that are drawn; the table has all."""


def trend_plot(rows: Sequence[TrendRow], asked: TrendAsked, titles: dict[str, str]) -> Picture:
    """One small plot for each group, all on the same stretch of time, each on its own scale."""
    periods = sorted({row.period for row in rows})
    groups = [(name, list(own)) for name, own in groupby(rows, key=_group)][:MOST]
    shapes: list[Shape] = [Words(10, 16, heading(asked), 12, bold=True)]
    for number, (name, own) in enumerate(groups):
        x, y = 10 + (number % ACROSS) * (WIDE + 11), 28 + (number // ACROSS) * (HIGH + 12)
        shapes.extend(_small(titles.get(name, name) or "not named", own, periods, x, y, asked))
    height = 28 + -(-len(groups) // ACROSS) * (HIGH + 12) + 20
    numbered = " Number: drills." if _step(periods) > NUMBERED else ""
    shapes.append(Words(10, height - 6, f"Point: median. Bar: middle half of the drills.{numbered}", 9))
    words = f"{heading(asked)}: {len(groups)} groups over {len(periods)} stretches."
    return Picture(height, tuple(shapes), words, WIDTH)


def heading(asked: TrendAsked) -> str:
    """What the trend is of, in words."""
    what = "Time, minutes" if asked.measure == TIME else asked.measure.replace("_", " ").capitalize()
    stage = f", stage {asked.stage}" if asked.stage else ""
    by = "" if asked.by == "all" else f" by {asked.by}"
    return f"{what}{by}{stage}, each {asked.every}"


def shown(value: float, asked: TrendAsked) -> float:
    """A value as it is shown: milliseconds as minutes."""
    return value / 60_000 if asked.measure == TIME else float(value)


def _step(periods: list[str]) -> float:
    return (WIDE - 4 - PAD_LEFT) / max(1, len(periods))


def _group(row: TrendRow) -> str:
    return row.group


def _small(
    title: str, rows: list[TrendRow], periods: list[str], x: float, y: float, asked: TrendAsked
) -> Iterator[Shape]:
    left, right, top, bottom = x + PAD_LEFT, x + WIDE - 4, y + PAD_TOP, y + HIGH - PAD_BOTTOM
    highest = max(shown(row.high, asked) for row in rows) or 1.0
    step = _step(periods)
    yield Words(x, y + 12, fitting(title, 10, WIDE), 10, bold=True)
    yield Stroke(((left, top), (left, bottom), (right, bottom)), 0.8)
    for share in (0.0, 0.5, 1.0):
        level = bottom - share * (bottom - top)
        yield Stroke(((left, level), (right, level)), 0.3, grey=0.75)
        yield Words(left - 4, level + 3, f"{highest * share:.3g}", 8, "end")
    points = []
    for row in rows:
        at_x = left + (periods.index(row.period) + 0.5) * step
        low, middle, high = (
            bottom - shown(value, asked) / highest * (bottom - top) for value in (row.low, row.median, row.high)
        )
        half = min(4.0, step / 3)
        yield Area(((at_x - half, low), (at_x + half, low), (at_x + half, high), (at_x - half, high)), 0.8)
        points.append((at_x, middle))
        if step > NUMBERED:
            yield Words(at_x, top - 3, str(row.drills), 7, "middle")
    yield Stroke(tuple(points), 1.2)
    for at_x, middle in points:
        yield from mark("circle", at_x, middle, min(2.4, max(1.0, step / 4)))
    yield from _dates(periods, left, step, bottom)


def _dates(periods: list[str], left: float, step: float, bottom: float) -> Iterator[Shape]:
    every = max(1, round(44 / step)) if step else 1
    for number in range(0, len(periods), every):
        x = left + (number + 0.5) * step
        if number == 0 or x + 18 < left + len(periods) * step:
            yield Words(x, bottom + 11, periods[number], 8, "middle")
