"""Air as a table: what was read, where, when, what it is worth, the limits, and what nobody has read."""

from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from protocol.air import (
    LIMITS,
    Crossing,
    Gas,
    Reading,
    Verdict,
    latest,
    range_of,
    required_gases,
    unread,
    verdict_at,
    worst,
)
from protocol.scene import Scene, minutes_ms

PLACES = ("hatch", "person")
UNITS = {"percent": "%", "percent of the lower limit": "% LEL", "parts per million": "ppm"}
"""Short units; LEL is the lower explosive limit."""
TREND = 12
"""Readings shown as a trend."""
WORDS = {
    Verdict.GOOD: "in limits",
    Verdict.CAUTION: "caution",
    Verdict.BAD: "bad",
    Verdict.STALE: "too old",
    Verdict.UNREAD: "not read",
}
"""Never "safe": a reading says only what one meter showed."""
_CROSSED = {Crossing.BELOW: "under", Crossing.ABOVE: "over", Crossing.AT_OR_ABOVE: "from"}


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit as shown: leave, or caution, under or over a value."""

    verdict: str
    words: str
    """under, over or from."""
    value: Decimal


@dataclass(frozen=True, slots=True)
class AirCell:
    """The newest reading of a gas at one place."""

    place: str
    verdict: str
    words: str
    value: Decimal | None = None
    at_ms: int | None = None
    stale_ms: int | None = None
    """When it becomes too old to count."""
    limit: str = ""
    """Name of the worst limit crossed."""
    way: str = ""
    """rising, falling or steady against the reading before it at that place."""


@dataclass(frozen=True, slots=True)
class AirPoint:
    """One reading in the trend."""

    at_ms: int
    value: Decimal
    place: str


@dataclass(frozen=True, slots=True)
class AirRow:
    """One gas."""

    gas: str
    name: str
    unit: str
    low: Decimal
    """Least a meter can show."""
    high: Decimal
    bounds: tuple[Bound, ...]
    cells: tuple[AirCell, ...]
    trend: tuple[AirPoint, ...]


@dataclass(frozen=True, slots=True)
class AirTable:
    """All gases that must be read or were read."""

    rows: tuple[AirRow, ...]
    not_read: tuple[str, ...]
    """Gases that nobody has read anywhere."""
    caution: str
    max_age_ms: int
    next_test_ms: int | None
    """When the first of the newest required readings becomes too old."""


def air_table(scene: Scene) -> AirTable:
    """The table at a moment."""
    readings = scene.state.readings
    needed = required_gases(scene.state.fact("fumigated"))
    shown = [gas for gas in Gas if gas in needed or latest(readings, gas)]
    newest = [reading for gas in needed if (reading := latest(readings, gas))]
    max_age = minutes_ms(scene.house.air_max_age_min)
    return AirTable(
        rows=tuple(_row(scene, gas) for gas in shown),
        not_read=tuple(gas.spoken for gas in unread(readings)),
        caution="What was read, where and when. It never says that air is safe.",
        max_age_ms=max_age,
        next_test_ms=min(reading.at_ms for reading in newest) + max_age if newest else None,
    )


def bounds_of(gas: Gas) -> tuple[Bound, ...]:
    """The first limit of each verdict and direction: what a reader compares with."""
    found: dict[tuple[Verdict, bool], Bound] = {}
    for limit in LIMITS:
        if limit.gas is gas:
            bound = Bound(limit.verdict.value, _CROSSED[limit.crossing], limit.value)
            found.setdefault((limit.verdict, limit.crossing is Crossing.BELOW), bound)
    return tuple(found.values())


def _row(scene: Scene, gas: Gas) -> AirRow:
    shown = range_of(gas)
    taken = [reading for reading in scene.state.readings if reading.gas is gas]
    return AirRow(
        gas=gas.value,
        name=gas.spoken,
        unit=UNITS[shown.unit],
        low=shown.low,
        high=shown.high,
        bounds=bounds_of(gas),
        cells=tuple(_cell(scene, gas, place) for place in PLACES),
        trend=tuple(AirPoint(row.at_ms, row.value, row.place) for row in taken[-TREND:]),
    )


def _cell(scene: Scene, gas: Gas, place: str) -> AirCell:
    reading = latest(scene.state.readings, gas, place)
    max_age = minutes_ms(scene.house.air_max_age_min)
    verdict = verdict_at(reading, scene.at_ms, max_age)
    if reading is None:
        return AirCell(place, verdict.value, WORDS[verdict])
    limit = worst(gas, reading.value)
    return AirCell(
        place=place,
        verdict=verdict.value,
        words=WORDS[verdict],
        value=reading.value,
        at_ms=reading.at_ms,
        stale_ms=reading.at_ms + max_age,
        limit=limit.name if limit else "",
        way=_way([row for row in scene.state.readings if row.gas is gas and row.place == place]),
    )


def _way(readings: list[Reading]) -> str:
    if len(readings) < 2:
        return ""
    before, now = next(reversed(list(pairwise(readings))))
    if now.value == before.value:
        return "steady"
    return "rising" if now.value > before.value else "falling"
