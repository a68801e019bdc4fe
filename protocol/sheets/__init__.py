"""Every estimate that a site card allows, worked out before the season: a table of sheets, each a few lines long."""

from protocol.sheets.sheet import Gap, Line, SheetRow, worked_out
from protocol.sheets.table import SHEETS, estimates_of

__all__ = ["SHEETS", "Gap", "Line", "SheetRow", "estimates_of", "worked_out"]
