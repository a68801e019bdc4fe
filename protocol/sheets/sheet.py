"""What a sheet is: one kind of estimate, worked out for a card, or the reason why not."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from protocol.errors import EstimateError
from protocol.estimates.body import Person
from protocol.estimates.grain import Grain, grain_named
from protocol.estimates.result import Estimate, Span
from protocol.estimates.ring import Ring
from protocol.house import House
from protocol.site import Bin, Site
from protocol.units import FOOT_M, System


@dataclass(frozen=True, slots=True)
class Plan:
    """A card as the estimates want it, in SI."""

    site: Site
    house: House

    @property
    def person(self) -> Person:
        """Whoever is caught: the ranges of the house rules."""
        return Person(Span.between(*self.house.person_height_m), Span.between(*self.house.person_mass_kg))

    @property
    def ring(self) -> Ring:
        """The ring that the card's first panel kit makes."""
        return Ring((self.house.panel_width_m,) * self.house.panels, self.house.panel_length_m)

    @property
    def grains(self) -> tuple[Grain, ...]:
        """Every grain that the card names, once; the row that spans all of them when it names none."""
        names = dict.fromkeys(row.grain for row in self.site.bin)
        return tuple(grain_named(name) for name in names or ("unknown",))

    @property
    def bins(self) -> tuple[Bin, ...]:
        """The card's bins.

        Raises:
            EstimateError: when it lists none.
        """
        if not self.site.bin:
            raise EstimateError("No bin is listed. Fill in [[bin]].")
        return self.site.bin


Named = tuple[str, Estimate]
"""What it is about ("grain at the chest"), and the estimate."""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One kind of estimate."""

    id: str
    title: str
    parts: Callable[[Plan], Iterable[Iterable[Named]]]
    """The estimates in parts; a part that cannot be made leaves the others standing."""


def whole(make: Callable[[Plan], Iterable[Named]]) -> Callable[[Plan], Iterable[Iterable[Named]]]:
    """A sheet in one part."""
    return lambda plan: [make(plan)]


def each_bin(make: Callable[[Plan, Bin], Iterable[Named]]) -> Callable[[Plan], Iterable[Iterable[Named]]]:
    """A sheet with one part for each bin of the card."""
    return lambda plan: (make(plan, row) for row in plan.bins)


@dataclass(frozen=True, slots=True)
class Line:
    """One estimate of one sheet."""

    sheet: str
    title: str
    about: str
    estimate: Estimate

    def as_plain(self, units: System) -> Mapping[str, Any]:
        """Plain values for JSON: numbers in SI, and the same as it is spoken and shown."""
        made = self.estimate
        return {
            "estimate": self.sheet,
            "about": self.about,
            "value": made.value,
            "low": made.low,
            "high": made.high,
            "unit": made.unit.value,
            "method": made.method,
            "source": made.source,
            "inputs": [
                {"name": given.name, "value": given.value, "unit": given.unit, "low": given.low, "high": given.high}
                for given in made.inputs
            ],
            "cautions": list(made.cautions),
            "spoken": made.spoken(units),
            "shown": made.shown(units),
        }


@dataclass(frozen=True, slots=True)
class Gap:
    """A sheet that the card does not allow, or not for all its bins, and what to fill in."""

    sheet: str
    title: str
    reason: str


def worked_out(rows: Iterable[SheetRow], plan: Plan) -> Iterator[Line | Gap]:
    """Every line of every sheet; where an input is missing or cannot be, the reason."""
    for row in rows:
        try:
            parts = tuple(row.parts(plan))
        except EstimateError as error:
            yield Gap(row.id, row.title, str(error))
            continue
        for part in parts:
            yield from _lines(row, part)


def _lines(row: SheetRow, part: Iterable[Named]) -> Iterator[Line | Gap]:
    try:
        for about, estimate in part:
            yield Line(row.id, row.title, about, estimate)
    except EstimateError as error:
        yield Gap(row.id, row.title, str(error))


def need(value: float | None, row: Bin, key: str) -> float:
    """A figure that the card may leave out.

    Raises:
        EstimateError: naming the line to fill in.
    """
    if value is None:
        raise EstimateError(f"{row.name}: fill in {key}.")
    return value


def feet(value_ft: float, doubt: float = 0.0) -> Span:
    """A length of the card in metres, give or take a share of it."""
    length_m = value_ft * FOOT_M
    return Span.about(length_m, doubt * length_m)
