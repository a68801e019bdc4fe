"""The export that names nobody: tokens for names and places, free text dropped, times relative."""

import csv
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, RowMapping, func, select

from assistant.archive.questions import Choice, conditions
from assistant.archive.schema import DRILLS, EVENTS, STAGES
from assistant.archive.store import SALT, setting, told
from assistant.archive.tokens import Known, Tokens, bare
from assistant.errors import ArchiveError

DAY_S = 86_400
AT_ONCE = 2_000
COUNTS = ("length_ms", "closed", "whole", "records", "events", "steps", "refused", "overrides", "emergencies",
          "readings", "bad_readings", "canisters", "order_faults", "missed_calls", "late_answers", "misheard",
          "oldest_air_ms")  # fmt: skip
KINDS = frozenset({"live", "drill", "rehearsal"})
ABOUT = """De-identified export of drills.

drills.csv   one row a record; departments, crews, places and scenarios of a department's own are made-up tokens, the
             same name the same token in every export of this archive; `day` counts from the first record exported.
stages.csv   milliseconds in each stage.
events.csv   what happened, milliseconds since the start of the record. Sentences, words heard, notes, reasons and
             every other free text are left out; so is anything that is not known to name nobody.

Whoever knows a department's drills may still recognise one by its length or its order. Share it with care.
"""


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written."""

    drills: int
    events: int


def export(engine: Engine, folder: Path, choice: Choice, known: Known) -> Exported:
    """Write the files of the export; only a few rows are held at once.

    Args:
        engine: the archive.
        folder: where to; made if it is missing.
        choice: which drills.
        known: words that name nobody.

    Raises:
        ArchiveError: if the database or the folder fails.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "ABOUT.txt").write_text(ABOUT, encoding="utf-8")
        with told(engine), engine.connect() as connection:
            tokens = Tokens(setting(connection, SALT))
            drills = _write(folder / "drills.csv", _drills(connection, choice, known, tokens))
            _write(folder / "stages.csv", _stages(connection, choice, known, tokens))
            events = _write(folder / "events.csv", _events(connection, choice, known, tokens))
    except OSError as error:
        raise ArchiveError(f"{folder} cannot be written ({error.strerror}). Name another folder with --out.") from error
    return Exported(drills, events)


def _write(path: Path, rows: Iterator[dict[str, Any]]) -> int:
    count = 0
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer: csv.DictWriter[str] | None = None
        for count, row in enumerate(rows, start=1):  # noqa: B007  counted for the report
            if writer is None:
                writer = csv.DictWriter(handle, list(row))
                writer.writeheader()
            writer.writerow(row)
    return count


def _drills(connection: Connection, choice: Choice, known: Known, tokens: Tokens) -> Iterator[dict[str, Any]]:
    first = connection.execute(select(func.min(DRILLS.c.opened_s)).where(*conditions(choice))).scalar()
    for row in _rows(connection, select(DRILLS).where(*conditions(choice)).order_by(DRILLS.c.id)):
        day = None if row["opened_s"] is None or first is None else (row["opened_s"] - first) // DAY_S
        yield {
            "drill": tokens.of("drill", row["digest"]),
            "department": tokens.of("department", row["department"]),
            "crew": tokens.of("crew", row["crew"]),
            "place": tokens.of("place", row["place"]),
            "scenario": _scenario(row["scenario"], known, tokens),
            "kind": row["kind"] if row["kind"] in KINDS else "",
            "day": day,
            **{name: _plain(row[name]) for name in COUNTS},
        }


def _stages(connection: Connection, choice: Choice, known: Known, tokens: Tokens) -> Iterator[dict[str, Any]]:
    statement = (
        select(DRILLS.c.digest, STAGES.c.stage, STAGES.c.spent_ms, STAGES.c.target_ms)
        .join_from(STAGES, DRILLS, STAGES.c.drill == DRILLS.c.id)
        .where(*conditions(choice))
        .order_by(DRILLS.c.id, STAGES.c.stage)
    )
    for row in _rows(connection, statement):
        stage = row["stage"] if row["stage"] in known.stages else tokens.of("stage", row["stage"])
        yield {
            "drill": tokens.of("drill", row["digest"]), "stage": stage, "spent_ms": row["spent_ms"],
            "target_ms": row["target_ms"],
        }  # fmt: skip


def _events(connection: Connection, choice: Choice, known: Known, tokens: Tokens) -> Iterator[dict[str, Any]]:
    statement = (
        select(DRILLS.c.digest, EVENTS.c.n, EVENTS.c.at_ms, EVENTS.c.kind, EVENTS.c.body)
        .join_from(EVENTS, DRILLS, EVENTS.c.drill == DRILLS.c.id)
        .where(*conditions(choice))
        .order_by(DRILLS.c.id, EVENTS.c.n, EVENTS.c.place)
    )
    for row in _rows(connection, statement):
        kept = bare(row["kind"], json.loads(row["body"]), known, tokens)
        yield {
            "drill": tokens.of("drill", row["digest"]), "record": row["n"], "at_ms": row["at_ms"], "event": row["kind"],
            "details": json.dumps(kept, sort_keys=True, separators=(",", ":")),
        }  # fmt: skip


def _rows(connection: Connection, statement: Any) -> Iterator[Mapping[str, Any] | RowMapping]:
    result = connection.execution_options(stream_results=True, yield_per=AT_ONCE).execute(statement)
    yield from result.mappings()


def _scenario(name: str, known: Known, tokens: Tokens) -> str:
    return name if name in known.scenarios else tokens.of("scenario", name)


def _plain(value: Any) -> Any:
    return int(value) if isinstance(value, bool) else value
