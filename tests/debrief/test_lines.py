"""Lifelines in the debrief, and records from before they were kept."""

import json
from pathlib import Path
from typing import Any

from assistant.debrief.html_page import html_page
from assistant.debrief.moments import minutes
from assistant.debrief.sections import Cover, report
from assistant.debrief.telling import tell
from protocol import commands as cmd
from tests.debrief.records import MINUTE_MS, Written
from tests.debrief.test_forged import rechained
from tests.drills import VISIBLE

NEWER = frozenset({"line", "tenders", "planned_lines", "tender_names"})
"""Fields that came with lifelines: of entries and of the house rules."""


def test_a_debrief_tells_line_and_tenders(tmp_path: Path) -> None:
    """Who, in, out, on which line with which tenders, each change with its minute; nothing recorded is said so."""
    officer = cmd.Origin("board 1", cmd.Role.OUTSIDE, "board")
    told = Written(tmp_path / "lines.jsonl")
    told.say_all(VISIBLE[: VISIBLE.index("rescuer one going in")])
    told.do(cmd.MoveRescuer(told.now, officer, 1, True, "1", ("Ashby", "Renn")))
    told.say("rescuer two going in")
    told.wait(told.now + 2 * MINUTE_MS)
    told.do(cmd.RecordLine(told.now, officer, 1, "4", ("Cole",)))
    changed = minutes(told.now)
    told.say("rescuer one is out")
    told.say("correction")
    told.say("rescuer one is out")
    told.do(cmd.MoveRescuer(told.now, officer, 3, True, "4", ("Ashby", "Cole")))
    tale = tell(told.close())
    assert tale.condition.verified
    page = html_page(report(tale, Cover("Invented County Rescue", "lines.jsonl")))
    for text in (f"line 1, tenders Ashby, Renn; from {changed} min line 4, tender Cole", "none recorded", "line 4, tenders Ashby, Cole"):
        assert text in page
    assert [(1, 2), (2, 0), (3, 1)] == [(row.slot, len(row.lines)) for row in tale.crew]
    assert ("Ashby", "Renn") == tale.crew[0].lines[0].tenders
    story = [line.text for line in tale.story]
    assert "Rescuer 1 went in, line 1, tenders Ashby, Renn" in story
    assert "Rescuer 1 line 4, tender Cole" in story
    assert "Rescuer 2 went in" in story


def test_a_record_from_before_lines_is_told(tmp_path: Path) -> None:
    """An old record has neither field; it verifies, and the report says that none is recorded."""
    told = Written(tmp_path / "old.jsonl")
    told.say_all(VISIBLE[: VISIBLE.index("walkway boards are laid")])
    path = told.close()
    contents = [old(json.loads(line)) for line in path.read_bytes().splitlines()]
    path.write_bytes(rechained(contents))
    assert not {name for name in NEWER if f'"{name}":' in path.read_text()}
    tale = tell(path)
    assert True is tale.condition.verified
    assert [(1, ()), (2, ())] == [(row.slot, row.lines) for row in tale.crew]
    assert "none recorded" in html_page(report(tale, Cover("Invented County Rescue", "old.jsonl")))


def old(value: Any) -> Any:
    """The same without what older records do not have."""
    if isinstance(value, dict):
        return {name: old(one) for name, one in value.items() if name not in NEWER}
    return [old(one) for one in value] if isinstance(value, list) else value
