"""Air readings as a table with a row for each round of the meter: easier to read aloud than one row a reading."""

from collections.abc import Iterable

from assistant.debrief.document import Table
from assistant.debrief.moments import MINUTE_MS, local_time, minutes
from assistant.debrief.tale import AirRow, Tale
from protocol.air import Gas, Verdict

ROUND_MS = 3 * MINUTE_MS
"""Readings at one place belong to one round when they follow one another within this: for the table only."""
SHORT = {
    Gas.OXYGEN: "Oxygen, %", Gas.FLAMMABLE: "Flammable, % LEL", Gas.CARBON_MONOXIDE: "CO, ppm",
    Gas.HYDROGEN_SULFIDE: "H2S, ppm", Gas.PHOSPHINE: "Phosphine, ppm", Gas.CARBON_DIOXIDE: "CO2, ppm",
    Gas.NITROGEN_DIOXIDE: "NO2, ppm",
}  # fmt: skip
UNREAD = "\N{EN DASH}"


def rounds(rows: Iterable[AirRow]) -> list[list[AirRow]]:
    """Readings put into rounds: one place, no gas twice, none later than the round allows."""
    found: list[list[AirRow]] = []
    for row in rows:
        last = found[-1] if found else []
        same = last and last[0].place == row.place and row.at_ms - last[0].at_ms <= ROUND_MS
        if same and row.gas not in {other.gas for other in last}:
            last.append(row)
        else:
            found.append([row])
    return found


def air_table(tale: Tale) -> Table:
    """The table; gases that had to be read or were read have a column."""
    gases = [gas for gas in Gas if gas in tale.needed or any(row.gas is gas for row in tale.air)]
    rows = tuple(
        (local_time(tale.opened, one[0].at_ms, tale.zone), minutes(one[0].at_ms), one[0].place,
         *(_cell([row for row in one if row.gas is gas]) for gas in gases))
        for one in rounds(tale.air)
    )  # fmt: skip
    share = 0.66 / len(gases)
    columns = ("Local", "Minutes", "Where", *(SHORT[gas] for gas in gases))
    return Table(columns, rows, (0.12, 0.11, 0.11, *(share for _gas in gases)), "Nobody read any gas.")


def _cell(rows: list[AirRow]) -> str:
    if not rows:
        return UNREAD
    row = rows[0]
    words = row.shown.split(" ")[0]
    if row.verdict is not Verdict.GOOD:
        words = f"{words} {row.verdict.value.upper()}: {row.limit}"
    return f"{words} (taken back)" if row.taken_back else words
