"""`archive`: add records, list them, see trends, export them without names."""

import json
from argparse import Namespace
from dataclasses import asdict
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from assistant.debrief.files import write
from assistant.debrief.moments import length
from assistant.debrief.svg import svg
from assistant.errors import ArchiveError, AssistantError
from assistant.library import load_book, load_site

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy import Engine

    from assistant.archive.questions import Choice, TrendAsked, TrendRow

NO_LIBRARY = "The archive needs a library that is not installed: pip install 'bin-rescue-assistant[archive]'."


def archive(options: Namespace) -> int:
    """Do what the word after `archive` asks.

    Raises:
        ArchiveError: if the archive's library is missing, or the database fails.
    """
    try:
        import sqlalchemy  # noqa: F401, PLC0415  an extra: nothing else in the program needs it
    except ImportError as error:
        raise ArchiveError(NO_LIBRARY) from error
    from assistant.archive.store import open_archive  # noqa: PLC0415

    engine = open_archive(options.db)
    try:
        status: int = {"add": add, "list": list_, "trend": trend, "export": export}[options.what](engine, options)
    finally:
        engine.dispose()
    return status


def add(engine: "Engine", options: Namespace) -> int:
    """Add records one after the other; one that cannot be added is named, and the rest goes on."""
    from assistant.archive.loading import Labels, Shelf  # noqa: PLC0415
    from assistant.archive.loading import add as add_one  # noqa: PLC0415

    site = load_site(options.site)
    department = options.department or (site.department.name if site else "")
    labels = Labels(department, options.crew, options.place, options.scenario)
    shelf, failures = Shelf(), []
    for path in options.journal:
        try:
            added = add_one(engine, path, labels, shelf, damaged=options.damaged)
        except AssistantError as error:
            failures.append(error)
            print(f"Not added: {error}")
            continue
        what = "in place of the shorter record it goes on from" if added.replaced else f"{added.events} events"
        print(f"{path.name}: {f'added as {added.drill}, {what}' if added.new else 'already there, nothing changed'}.")
    if failures:
        raise ArchiveError(f"{len(failures)} of {len(options.journal)} records were not added; see above.")
    return 0


def list_(engine: "Engine", options: Namespace) -> int:
    """Show archived records, the newest first."""
    from assistant.archive.questions import listed  # noqa: PLC0415

    rows = listed(engine, _choice(options), options.most)
    if options.json:
        print(json.dumps([asdict(row) for row in rows]))
        return 0
    print(f"{'No.':>5}  {'Begun, UTC':16}  {'Kind':9}  {'Scenario':20}  {'Crew':16}  {'Length':>12}  Ended")
    for row in rows:
        begun = "not known" if row.opened_s is None else f"{datetime.fromtimestamp(row.opened_s, UTC):%Y-%m-%d %H:%M}"
        ended = f"{'closed' if row.closed else 'open'}{'' if row.whole else ', damaged'}"
        print(
            f"{row.id:5}  {begun:16}  {row.kind:9}  {row.scenario[:20] or '-':20}  {row.crew[:16] or '-':16}  "
            f"{length(row.length_ms):>12}  {ended}"
        )
    print("1 record." if len(rows) == 1 else f"{len(rows)} records.")
    return 0


def trend(engine: "Engine", options: Namespace) -> int:
    """Show a trend as a table, and as a picture if asked."""
    from assistant.archive.questions import TrendAsked, stage_titles  # noqa: PLC0415
    from assistant.archive.questions import trend as ask  # noqa: PLC0415
    from assistant.archive.trend_plot import trend_plot  # noqa: PLC0415

    asked = TrendAsked(options.by, options.every, options.measure, options.stage, _choice(options))
    rows = ask(engine, asked)
    titles: dict[str, str] = {}
    if options.by == "stage":
        order = {stage.id: place for place, stage in enumerate(load_book().procedure.stages)}
        rows.sort(key=lambda row: (order.get(row.group, len(order)), row.group, row.period))
        titles = stage_titles(engine)
    if options.json:
        print(json.dumps([asdict(row) for row in rows]))
    else:
        print("\n".join(_table(rows, asked, titles)))
    picture = trend_plot(rows, asked, titles)
    if options.svg:
        print(f"Written: {write(options.svg, svg(picture))}")
    if options.png:
        from assistant.debrief.png import png  # noqa: PLC0415

        print(f"Written: {write(options.png, png(picture))}")
    return 0


def export(engine: "Engine", options: Namespace) -> int:
    """Write the de-identified export."""
    from assistant.archive.deidentified import export as write_export  # noqa: PLC0415
    from assistant.archive.tokens import Known  # noqa: PLC0415

    folder: Path = options.out
    done = write_export(engine, folder, _choice(options), Known.of(load_book().procedure))
    print(f"{done.drills} records, {done.events} events, without names: {folder}. Read ABOUT.txt there before sharing.")
    return 0


def _choice(options: Namespace) -> "Choice":
    from assistant.archive.questions import Choice  # noqa: PLC0415

    return Choice(options.department, options.crew, options.scenario, options.kind)


def _table(rows: "list[TrendRow]", asked: "TrendAsked", titles: dict[str, str]) -> list[str]:
    from assistant.archive.trend_plot import heading, shown  # noqa: PLC0415

    lines = [heading(asked), f"{'':28}  {asked.every:8}  {'drills':>6}  {'median':>8}  middle half"]
    for row in rows:
        name = titles.get(row.group, row.group) or "not named"
        low, middle, high = (f"{shown(value, asked):.4g}" for value in (row.low, row.median, row.high))
        lines.append(f"{name[:28]:28}  {row.period:8}  {row.drills:6}  {middle:>8}  {low} to {high}")
    return lines if rows else [heading(asked), "No drill is archived that fits."]
