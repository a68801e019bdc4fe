"""The whole incident on one line of time: stages, emergencies, readings, canisters, crew in and out."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from assistant.debrief.axes import LEFT, RIGHT, TimeAxis
from assistant.debrief.picture import Area, Hatch, Mark, Picture, Shape, Stroke, Words, box, fitting, mark, wide
from assistant.debrief.tale import AirRow, Span, Tale
from protocol.air import Verdict

LANE = 24.0
BAR = 15.0
LEAST = 1.5
"""The narrowest bar."""
FULL = 3.5
"""Radius of a mark."""
CROWD = 60
"""From so many marks in a row on they are drawn smaller."""
AIR_MARKS: dict[Verdict, Mark] = {Verdict.GOOD: "ring", Verdict.CAUTION: "triangle", Verdict.BAD: "diamond"}


@dataclass(frozen=True, slots=True)
class Lane:
    """One row of the picture."""

    name: str
    draw: Callable[[TimeAxis, float], Iterator[Shape]]
    """From the axis and the middle of the lane."""


def stage_numbers(tale: Tale) -> dict[str, int]:
    """Each stage with its number, in the order in which they were first entered."""
    return {stage: number for number, stage in enumerate(dict.fromkeys(row.stage for row in tale.stages), start=1)}


def timeline(tale: Tale) -> Picture:
    """The picture; its stages carry the numbers of the table below it."""
    axis = TimeAxis(tale.end_ms, tale.opened, tale.zone)
    lanes = list(_lanes(tale))
    bottom = 8 + LANE * len(lanes)
    shapes: list[Shape] = list(axis.frame(4, bottom))
    for place, lane in enumerate(lanes):
        middle = 8 + LANE * (place + 0.5)
        shapes.append(Words(LEFT - 8, middle + 3.5, lane.name, 10, "end"))
        shapes.append(Stroke(((LEFT, middle + LANE / 2), (RIGHT, middle + LANE / 2)), 0.3, grey=0.75))
        shapes.extend(lane.draw(axis, middle))
    shapes.extend(_legend(bottom + 40))
    return Picture(bottom + 46, tuple(shapes), _in_words(tale))


def _lanes(tale: Tale) -> Iterator[Lane]:
    numbers = stage_numbers(tale)
    yield Lane("Stages", lambda axis, y: _stages(tale, numbers, axis, y))
    yield Lane("Emergencies", lambda axis, y: _bars([row.span for row in tale.emergencies], "crossed", axis, y))
    yield Lane("All work held", lambda axis, y: _bars(tale.holds, "falling", axis, y))
    yield Lane("Alarms spoken", lambda axis, y: _marks([(row.at_ms, "triangle") for row in tale.alarms], axis, y))
    for slot in sorted({row.slot for row in tale.crew}):
        spans = [row.span for row in tale.crew if row.slot == slot]
        yield Lane(f"Rescuer {slot} inside", lambda axis, y, spans=spans: _bars(spans, "grey", axis, y))  # type: ignore[misc]
    if not tale.crew:
        yield Lane("Rescuers inside", lambda axis, y: _none(axis, y, "nobody was counted in"))
    for place in ("hatch", "person"):
        rows = [row for row in tale.air if row.place == place and not row.taken_back]
        yield Lane(f"Air at the {place}", lambda axis, y, rows=rows: _air(rows, axis, y))  # type: ignore[misc]
    yield Lane("Canisters", lambda axis, y: _marks(
        [(row.at_ms, "bar") for row in tale.canisters if not row.taken_back], axis, y))
    yield Lane("Person, roll call", lambda axis, y: _checks(tale, axis, y))
    if tale.parts:
        yield Lane("Program part lost", lambda axis, y: _bars([row.span for row in tale.parts], "upright", axis, y))
    if any(row.what == "inject" for row in tale.moments):
        yield Lane("Injects", lambda axis, y: _marks(
            [(row.at_ms, "square") for row in tale.moments if row.what == "inject"], axis, y))


def _stages(tale: Tale, numbers: dict[str, int], axis: TimeAxis, y: float) -> Iterator[Shape]:
    last_end = 0.0
    for row in tale.stages:
        x1, x2 = axis.x(row.span.from_ms), axis.x(row.span.to_ms)
        hatch: Hatch = "crossed" if row.emergency else "grey" if numbers[row.stage] % 2 else "white"
        yield from box(x1, y - BAR / 2, max(LEAST, x2 - x1), BAR, hatch)
        label = str(numbers[row.stage])
        if x2 - x1 > 7 * len(label) + 2 and x1 >= last_end and not row.emergency:
            yield Words((x1 + x2) / 2, y + 3.5, label, 9, "middle", bold=True)
            last_end = x2


def _bars(spans: Iterable[Span], hatch: Hatch, axis: TimeAxis, y: float) -> Iterator[Shape]:
    for span in spans:
        x1, x2 = axis.x(span.from_ms), axis.x(span.to_ms)
        yield from box(x1, y - BAR / 2, max(LEAST, x2 - x1), BAR, hatch)
        words = fitting("not ended", 8, x2 - x1 - 8) if span.open else ""
        if words:
            left = x2 - 5 - wide(words, 8)
            yield Area(((left, y - 5), (x2 - 1, y - 5), (x2 - 1, y + 5), (left, y + 5)), 1.0)
            yield Words(x2 - 3, y + 3, words, 8, "end", bold=True)


def _marks(points: Iterable[tuple[int, Mark]], axis: TimeAxis, y: float) -> Iterator[Shape]:
    points = list(points)
    for at_ms, kind in points:
        yield from mark(kind, axis.x(at_ms), y, radius(len(points)))


def _air(rows: Iterable[AirRow], axis: TimeAxis, y: float) -> Iterator[Shape]:
    rows = list(rows)
    if not rows:
        yield from _none(axis, y, "never read")
    for row in sorted(rows, key=lambda row: row.verdict is Verdict.BAD):
        size = FULL if row.verdict is Verdict.BAD else radius(len(rows))
        yield from mark(AIR_MARKS.get(row.verdict, "ring"), axis.x(row.at_ms), y, size)


def _checks(tale: Tale, axis: TimeAxis, y: float) -> Iterator[Shape]:
    kinds: dict[str, Mark] = {"person check": "circle", "roll call": "square"}
    yield from _marks([(row.at_ms, kinds[row.what]) for row in tale.moments if row.what in kinds], axis, y)


def radius(count: int) -> float:
    """Marks get smaller when there are many."""
    return FULL if count <= CROWD else FULL / 2


def _none(axis: TimeAxis, y: float, words: str) -> Iterator[Shape]:
    yield Words(axis.x(0) + 6, y + 3.5, words, 9)


def _legend(y: float) -> Iterator[Shape]:
    entries: tuple[tuple[Mark, str], ...] = (
        ("ring", "within limits as read"), ("triangle", "caution, or an alarm spoken"), ("diamond", "bad reading"),
        ("circle", "person answered"), ("square", "roll call, inject"), ("bar", "canister"),
    )  # fmt: skip
    x = 10.0
    for kind, words in entries:
        yield from mark(kind, x + 4, y - 3)
        yield Words(x + 13, y, words, 9)
        x += 30 + len(words) * 4.9


def _in_words(tale: Tale) -> str:
    return (
        f"Timeline of {tale.end_ms / 60_000:.0f} minutes: {len(tale.stages)} stays in stages, "
        f"{len(tale.emergencies)} emergencies, {len(tale.air)} air readings, {len(tale.canisters)} canisters."
    )
