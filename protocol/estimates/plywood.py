"""Cutting panels from plywood sheets, and what is left over to close gaps.

Guillotine cuts in two stages: the sheet is ripped into strips one panel wide, each strip cut to length; both ways
round are tried. The saw takes its kerf between strips: the last may come out narrower by up to `TRIM_M`.
Four panels 5 ft x 2 ft from two 4 x 8 ft sheets: common practice; two sheets of 3/4 in and two sticks confirmed by
Mississippi State Extension P2598.
"""

from dataclasses import dataclass, replace

from protocol.errors import EstimateError
from protocol.estimates.wording import count_range, rounded, sentence
from protocol.units import FOOT_M, INCH_M, System, Unit

SHEET_M = (8 * FOOT_M, 4 * FOOT_M)
KERF_M = 0.125 * INCH_M
"""Circular saw, from memory."""
TRIM_M = 0.25 * INCH_M
SLIVER_M = 4 * INCH_M
_SLIP = 1e-9
SOURCE = "Mississippi State Extension P2598 (two sheets, 3/4 in); panel size is common practice, no source"


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of plywood."""

    length_m: float
    width_m: float

    @property
    def area_m2(self) -> float:
        """Face area."""
        return self.length_m * self.width_m


@dataclass(frozen=True, slots=True)
class Strip:
    """A strip ripped from a sheet, to be cut to panels."""

    width_m: float
    """As it comes from the saw, the kerf taken off where the sheet runs out."""
    panels: int
    end_m: float
    """Length left over."""


@dataclass(frozen=True, slots=True)
class CuttingPlan:
    """How to cut, and what it gives."""

    sheets: tuple[tuple[Strip, ...], ...]
    """Strips of each sheet."""
    along_m: float
    """Direction of the strips: length of the sheet they run along."""
    offcuts: tuple[Piece, ...]
    """Left over, largest first; slivers under four inches are not counted."""
    source: str = SOURCE

    @property
    def panels(self) -> int:
        """Panels in all."""
        return sum(strip.panels for sheet in self.sheets for strip in sheet)

    @property
    def narrowest_m(self) -> float:
        """Width of the narrowest strip after the kerf."""
        return min(strip.width_m for sheet in self.sheets for strip in sheet)

    def gap_boards(self, length_m: float, width_m: float) -> int:
        """How many boards of this size the offcuts give (to close the gap at the feet)."""
        return sum(_fits(piece, length_m, width_m) for piece in self.offcuts)

    def spoken(self, units: System = "us") -> str:
        """Sheets, panels and offcuts in a breath."""
        sheets = count_range(len(self.sheets), len(self.sheets), ("sheet", "sheets"))
        panels = count_range(self.panels, self.panels, ("panel", "panels"))
        if not self.offcuts:
            return sentence(f"{sheets} for {panels}, nothing left for gaps")
        left = count_range(len(self.offcuts), len(self.offcuts), ("offcut", "offcuts"))
        sides = (self.offcuts[0].length_m, self.offcuts[0].width_m)
        size = " by ".join(rounded((side, side, side), Unit.METRE, units).floor for side in sides)
        return f"{sentence(f'{sheets} for {panels}, {left} for gaps')} The largest is {size}."


def cutting_plan(
    widths_m: tuple[float, ...], length_m: float, sheet_m: tuple[float, float] = SHEET_M, kerf_m: float = KERF_M
) -> CuttingPlan:
    """Lay panels of these widths and one length out on sheets.

    Args:
        widths_m: one for each panel.
        length_m: of every panel.
        sheet_m: length and width of a sheet.
        kerf_m: width of the saw cut.

    Raises:
        EstimateError: when a panel does not fit on a sheet either way round.
    """
    if not widths_m or min(widths_m) <= 0 or length_m <= 0 or kerf_m < 0 or min(sheet_m) <= 0:
        raise EstimateError("Give at least one panel, and sizes above nothing.")
    plans = [
        _lay_out(widths_m, length_m, along, across, kerf_m)
        for along, across in ((sheet_m[0], sheet_m[1]), (sheet_m[1], sheet_m[0]))
        if length_m <= along and max(widths_m) <= across
    ]
    if not plans:
        raise EstimateError("A panel of that size does not fit on a sheet: make the panels smaller.")
    return min(plans, key=_cost)


def _cost(plan: CuttingPlan) -> tuple[int, float]:
    return len(plan.sheets), -plan.narrowest_m


def _lay_out(widths_m: tuple[float, ...], length_m: float, along: float, across: float, kerf: float) -> CuttingPlan:
    each = int((along + kerf) / (length_m + kerf) + _SLIP)
    strips: list[Strip] = []
    for width in sorted(set(widths_m), reverse=True):
        wanted = widths_m.count(width)
        while wanted > 0:
            panels = min(each, wanted)
            strips.append(Strip(width, panels, max(0.0, along - panels * (length_m + kerf))))
            wanted -= panels
    sheets = _onto_sheets(strips, across, kerf)
    ends = [Piece(strip.end_m, strip.width_m) for sheet in sheets for strip in sheet]
    rests = [Piece(along, across - sum(strip.width_m + kerf for strip in sheet)) for sheet in sheets]
    usable = [piece for piece in (*ends, *rests) if min(piece.length_m, piece.width_m) >= SLIVER_M]
    return CuttingPlan(sheets, along, tuple(sorted(usable, key=_area, reverse=True)))


def _onto_sheets(strips: list[Strip], across: float, kerf: float) -> tuple[tuple[Strip, ...], ...]:
    """Widest first, each onto the first sheet with room; the last strip of a sheet may lose `TRIM_M`."""
    sheets: list[list[Strip]] = []
    for strip in strips:
        for sheet in sheets:
            room = across - sum(one.width_m + kerf for one in sheet)
            if room >= strip.width_m - TRIM_M:
                sheet.append(replace(strip, width_m=min(strip.width_m, room)))
                break
        else:
            sheets.append([strip])
    return tuple(tuple(sheet) for sheet in sheets)


def _area(piece: Piece) -> float:
    return piece.area_m2


def _fits(piece: Piece, length_m: float, width_m: float) -> int:
    ways = ((length_m, width_m), (width_m, length_m))
    return max(int(piece.length_m / long + _SLIP) * int(piece.width_m / wide + _SLIP) for long, wide in ways)
