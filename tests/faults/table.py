"""One row for each fault: what was done, what was told and when, what came back by itself, what the record lost."""

from collections.abc import Sequence
from dataclasses import dataclass

HEAD = f"{'fault':<34} {'told':>7} {'back':>7} {'lost':>4} {'twice':>5}  {'':<6} what was found"
SILENT = "-"


@dataclass(frozen=True, slots=True)
class Row:
    """What one fault did."""

    fault: str
    found: str
    """In words and figures."""
    told_s: float | None = None
    """From the fault to its announcement; None where there is nothing to announce."""
    back_s: float | None = None
    """From the end of the fault until the program worked again by itself; None where nothing was away."""
    lost: int = 0
    """Recorded events that are no longer there."""
    doubled: int = 0
    problems: tuple[str, ...] = ()
    kills: int = 0
    """Lives ended by it."""
    not_tried: str = ""
    """Why the fault could not be made on this machine; it is then not held either."""

    @property
    def held(self) -> bool:
        """Whether the program came through."""
        return not (self.problems or self.lost or self.doubled or self.not_tried)

    @property
    def verdict(self) -> str:
        """One word."""
        if self.not_tried:
            return "untried"
        return "held" if self.held else "FAILED"


def line_of(row: Row) -> str:
    """A row as a line of the table."""
    told, back = _seconds(row.told_s), _seconds(row.back_s)
    found = "; ".join(part for part in (row.found, *row.problems, row.not_tried) if part)
    return f"{row.fault:<34} {told:>7} {back:>7} {row.lost:>4} {row.doubled:>5}  {row.verdict:<7} {found}"


def exit_status(rows: Sequence[Row]) -> int:
    """0 when every fault was made and held."""
    return 0 if rows and all(row.held for row in rows) else 1


def summary(rows: Sequence[Row], kills: int = 0) -> str:
    """The last line."""
    tried = [row for row in rows if not row.not_tried]
    held = sum(row.held for row in tried)
    told = [row.told_s for row in tried if row.told_s is not None]
    back = [row.back_s for row in tried if row.back_s is not None]
    return (
        f"faults held {held}/{len(tried)}, untried {len(rows) - len(tried)}; kills {kills}; "
        f"events lost {sum(row.lost for row in tried)}, doubled {sum(row.doubled for row in tried)}; "
        f"announced {len(told)}, slowest {_seconds(max(told, default=None))}; "
        f"back by themselves {len(back)}, slowest {_seconds(max(back, default=None))}"
    )


def _seconds(value: float | None) -> str:
    return SILENT if value is None else f"{value:.2f} s"
