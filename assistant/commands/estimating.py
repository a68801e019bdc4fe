"""`estimate`: every estimate that a site card allows, in words or as JSON."""

import json
from argparse import Namespace
from collections.abc import Sequence
from itertools import groupby

from assistant.errors import ProcedureError
from assistant.library import load_site
from protocol.errors import ProtocolError
from protocol.sheets import Gap, Line, estimates_of
from protocol.site import Site
from protocol.units import System

CAUTION = "Estimates, not measurements. The incident commander decides; local procedure comes first."


def estimate(options: Namespace) -> int:
    """Print the estimates of a card.

    Raises:
        ProcedureError: if the card cannot be read or is refused.
    """
    site = load_site(options.site)
    if site is None:
        raise ProcedureError("Name a site card: bin-rescue estimate SITE.toml")
    try:
        found = estimates_of(site, site.house_rules())
    except ProtocolError as error:
        raise ProcedureError(f"{options.site.name}: {error}") from error
    units = site.department.units
    print(_as_json(site, found, units) if options.json else "\n".join(_in_words(site, found, units)))
    return 0


def _as_json(site: Site, found: Sequence[Line | Gap], units: System) -> str:
    return json.dumps({
        "department": site.department.name,
        "units": units,
        "caution": CAUTION,
        "estimates": [line.as_plain(units) for line in found if isinstance(line, Line)],
        "not_possible": [
            {"estimate": gap.sheet, "title": gap.title, "reason": gap.reason} for gap in found if isinstance(gap, Gap)
        ],
    })  # fmt: skip


def _in_words(site: Site, found: Sequence[Line | Gap], units: System) -> list[str]:
    lines = [f"{site.department.name}. {CAUTION}"]
    for title, rows in groupby(found, key=_title):
        lines.extend(["", title])
        notes: dict[str, None] = {}
        for row in rows:
            if isinstance(row, Gap):
                lines.append(f"  not possible: {row.reason}")
                continue
            made = row.estimate
            lines.append(f"  {row.about}: {made.says.format(amount=made.shown(units))}")
            notes[f"How: {made.method}. Source: {made.source}."] = None
            notes.update(dict.fromkeys(filter(None, (*made.cautions, made.then_say))))
        lines.extend(f"  * {note}" for note in notes)
    return lines


def _title(row: Line | Gap) -> str:
    return row.title
