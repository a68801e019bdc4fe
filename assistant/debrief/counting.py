"""A tale as JSON and CSV, for those who count."""

import csv
import io
import json
from collections.abc import Iterable, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime, tzinfo
from enum import Enum
from typing import Any

from assistant.debrief.moments import local_time, minutes
from assistant.debrief.tale import Tale

FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What makes a spreadsheet take a cell for a formula."""


def as_json(tale: Tale, department: str = "") -> str:
    """The whole tale as one JSON object; times in milliseconds since the start, lengths in metres."""
    content = {"department": department, **_plain(tale)}
    return json.dumps(content, ensure_ascii=False, indent=1).encode(errors="backslashreplace").decode() + "\n"


def events_csv(tale: Tale) -> str:
    """Every line of the story, one a row."""
    rows = (
        (line.n, line.at_ms, minutes(line.at_ms), local_time(tale.opened, line.at_ms, tale.zone), line.sort, line.who,
         line.text)
        for line in tale.story
    )  # fmt: skip
    return _csv(("record", "at_ms", "minutes", "local", "sort", "who", "text"), rows)


def stages_csv(tale: Tale) -> str:
    """Every stay in a stage, one a row."""
    rows = (
        (row.stage, row.title, row.span.from_ms, row.span.to_ms, row.span.length_ms, int(row.emergency),
         int(row.span.open))
        for row in tale.stages
    )  # fmt: skip
    return _csv(("stage", "title", "from_ms", "to_ms", "length_ms", "emergency", "not_ended"), rows)


def _csv(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(head)
    for row in rows:
        writer.writerow([_cell(value) for value in row])
    return out.getvalue()


def _cell(value: object) -> object:
    if not isinstance(value, str):
        return value
    text = value.encode(errors="backslashreplace").decode()
    return f"'{text}" if text.startswith(FORMULA) else text


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, tzinfo):
        return str(value)
    return value.value if isinstance(value, Enum) else value
