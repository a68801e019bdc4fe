"""Grain inside the ring: levels called against what the canisters predict; time left as told against as it came."""

import math
from collections.abc import Iterator, Sequence

from assistant.debrief.axes import LEFT, RIGHT, Scale, TimeAxis
from assistant.debrief.guesses import mark_m
from assistant.debrief.moments import MINUTE_MS
from assistant.debrief.picture import Area, Picture, Shape, Stroke, Words, mark
from assistant.debrief.tale import LevelRow, Tale, TimeGuess
from protocol.marks import MARKS

HIGH = 190.0
CLOSE = 10.0
"""Labels of marks that lie nearer than this are left out."""
NICE_MIN = (5, 10, 15, 20, 30, 45, 60, 90, 120, 180, 240, 360, 480)


def level_plot(tale: Tale) -> Picture | None:
    """Level against time; None when no level was called."""
    levels = [row for row in tale.levels if not row.taken_back]
    if not levels:
        return None
    axis = work_axis(tale)
    scale = Scale(0.0, 1.02 * max(mark_m("chin", tale.height_m), *(row.height_m for row in levels)), 8 + HIGH, 8.0)
    shapes: list[Shape] = [*axis.frame(8, 8 + HIGH), *_mark_lines(tale, scale), *_predicted(tale, axis, scale)]
    shapes.extend(_called(levels, axis, scale))
    counted = [axis.x(row.at_ms) for row in tale.canisters if not row.taken_back]
    shapes.extend(Stroke(((x, 8 + HIGH), (x, 2 + HIGH)), 1.4) for x in counted)
    shapes.extend(_level_legend(8 + HIGH + 42))
    words = f"Grain level: {len(levels)} levels called, {len(tale.level_guesses)} predicted from canisters."
    return Picture(8 + HIGH + 54, tuple(shapes), words)


def time_plot(tale: Tale) -> Picture | None:
    """Minutes of work left as predicted with their range, and as it turned out; None when nothing was predicted."""
    if not tale.time_guesses:
        return None
    axis = work_axis(tale)
    actual = [pair for target in ("knees", "feet") for pair in _came_true(tale, target)]
    highest = max(
        *(guess.high_s / 60 for guess in tale.time_guesses),
        *(left / 60_000 for _at, left in actual), 1.0, 1.0,
    )  # fmt: skip
    top = next((step for step in NICE_MIN if step >= highest), math.ceil(highest / 60) * 60)
    scale = Scale(0.0, float(top), 8 + HIGH, 8.0)
    shapes: list[Shape] = [*axis.frame(8, 8 + HIGH), *_minute_lines(scale)]
    for target in ("knees", "feet"):
        line = tuple((axis.x(at_ms), scale.y(left / 60_000)) for at_ms, left in _came_true(tale, target))
        shapes.append(Stroke(line, 1.6, "dashed"))
    for guess in tale.time_guesses:
        shapes.extend(_range(guess, axis, scale))
    shapes.extend(_time_legend(8 + HIGH + 42))
    words = f"Time left: {len(tale.time_guesses)} predictions with their ranges, and how long it took."
    return Picture(8 + HIGH + 54, tuple(shapes), words)


def work_axis(tale: Tale) -> TimeAxis:
    """From just before the first call of a level or canister to just after the last."""
    times = [*(row.at_ms for row in tale.levels), *(row.at_ms for row in tale.canisters)]
    pad = max(MINUTE_MS // 2, (max(times) - min(times)) // 20)
    return TimeAxis(max(times) + pad, tale.opened, tale.zone, max(0, min(times) - pad))


def reached_ms(tale: Tale, target: str) -> int | None:
    """When the grain was first called at a mark or below it."""
    for row in sorted(tale.levels, key=lambda row: row.at_ms):
        called = not row.taken_back and row.mark in MARKS
        if called and MARKS.index(row.mark) <= MARKS.index(target):
            return row.at_ms
    return None


def _came_true(tale: Tale, target: str) -> list[tuple[int, int]]:
    """Moment and milliseconds left, from the first prediction for a target to the call that it was reached."""
    end_ms = reached_ms(tale, target)
    first = [guess.at_ms for guess in tale.time_guesses if guess.target == target]
    if end_ms is None or not first or first[0] >= end_ms:
        return []
    return [(first[0], end_ms - first[0]), (end_ms, 0)]


def _mark_lines(tale: Tale, scale: Scale) -> Iterator[Shape]:
    last_y = math.inf
    for name in MARKS:
        y = scale.y(mark_m(name, tale.height_m))
        yield Stroke(((LEFT, y), (RIGHT, y)), 0.3, grey=0.7)
        if last_y - y >= CLOSE:
            yield Words(LEFT - 8, y + 3.5, name, 9, "end")
            last_y = y


def _predicted(tale: Tale, axis: TimeAxis, scale: Scale) -> Iterator[Shape]:
    guesses = tale.level_guesses
    if not guesses:
        return
    upper = [(axis.x(row.at_ms), scale.y(row.high_m)) for row in guesses]
    lower = [(axis.x(row.at_ms), scale.y(row.low_m)) for row in guesses]
    if len(guesses) > 1:
        yield Area((*upper, *reversed(lower)), 0.86)
    yield Stroke(tuple((axis.x(row.at_ms), scale.y(row.value_m)) for row in guesses), 1.6, "dashed")
    for row in guesses:
        yield from mark("ring", axis.x(row.at_ms), scale.y(row.value_m), 2.4)


def _called(levels: Sequence[LevelRow], axis: TimeAxis, scale: Scale) -> Iterator[Shape]:
    marks = [row for row in levels if not row.taped]
    yield Stroke(tuple((axis.x(row.at_ms), scale.y(row.height_m)) for row in marks), 1.6)
    for row in levels:
        yield from mark("diamond" if row.taped else "circle", axis.x(row.at_ms), scale.y(row.height_m))


def _minute_lines(scale: Scale) -> Iterator[Shape]:
    for share in range(5):
        value = scale.high * share / 4
        yield Stroke(((LEFT, scale.y(value)), (RIGHT, scale.y(value))), 0.3, grey=0.7)
        yield Words(LEFT - 8, scale.y(value) + 3.5, f"{value:g}", 9, "end")
    yield Words(8, scale.top + 14, "Minutes", 10, bold=True)
    yield Words(8, scale.top + 26, "of work left", 10, bold=True)


def _range(guess: TimeGuess, axis: TimeAxis, scale: Scale) -> Iterator[Shape]:
    x = axis.x(guess.at_ms)
    low, high = scale.y(guess.low_s / 60), scale.y(guess.high_s / 60)
    yield Stroke(((x, low), (x, high)), 1.2)
    for y in (low, high):
        yield Stroke(((x - 3, y), (x + 3, y)), 1.2)
    yield from mark("circle" if guess.target == "knees" else "square", x, scale.y(guess.value_s / 60), 2.8)


def _level_legend(y: float) -> Iterator[Shape]:
    yield from mark("circle", 14, y - 3)
    yield Stroke(((4, y - 3), (24, y - 3)), 1.6)
    yield Words(30, y, "called by the crew", 9)
    yield from mark("diamond", 136, y - 3)
    yield Words(145, y, "taped", 9)
    yield Stroke(((184, y - 3), (208, y - 3)), 1.6, "dashed")
    yield from mark("ring", 196, y - 3, 2.4)
    yield Words(214, y, "predicted from the canisters (grey: how full they may be)", 9)
    yield Stroke(((482, y - 7), (482, y)), 1.4)
    yield Words(488, y, "a canister", 9)


def _time_legend(y: float) -> Iterator[Shape]:
    yield from mark("circle", 14, y - 3, 2.8)
    yield Stroke(((14, y - 8), (14, y + 2)), 1.2)
    yield Words(24, y, "predicted to the knees, with its range", 9)
    yield from mark("square", 216, y - 3, 2.8)
    yield Words(225, y, "predicted to the feet", 9)
    yield Stroke(((336, y - 3), (362, y - 3)), 1.6, "dashed")
    yield Words(368, y, "as it turned out, from the first prediction on", 9)
