"""`bin-rescue report`: its files, what it says, and how it refuses."""

import csv
import json
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from assistant.cli import main

SITE = """
[department]
name = "Invented County Rescue"
"""


def test_it_writes_page_pdf_csv_and_json(
    records: Mapping[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All five files lie in the folder asked for, under the record's name, and the department's name is on the page."""
    site = tmp_path / "site.toml"
    site.write_text(SITE)
    out = tmp_path / "out"
    assert 0 == main(["report", str(records["drill"]), "--out", str(out), "--site", str(site)])
    names = sorted(path.name for path in out.iterdir())
    assert ["drill.events.csv", "drill.report.html", "drill.report.json", "drill.report.pdf", "drill.stages.csv"] == names
    assert "Invented County Rescue" in (out / "drill.report.html").read_text()
    assert (out / "drill.report.pdf").read_bytes().startswith(b"%PDF")
    assert "Verified" in capsys.readouterr().out


def test_json_and_csv_count_what_the_record_holds(records: Mapping[str, Path], tmp_path: Path) -> None:
    """Times are whole milliseconds, rows are the story's lines, and a cell never becomes a formula."""
    assert 0 == main(["report", str(records["troubled"]), "--out", str(tmp_path)])
    content = json.loads((tmp_path / "troubled.report.json").read_text())
    assert 2 == len(content["emergencies"])
    assert content["score"]["kind"] == "live"
    assert content["condition"]["digest"] == json.loads(records["troubled"].read_bytes().splitlines()[-1])["chain"]
    with (tmp_path / "troubled.events.csv").open(newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert len(content["story"]) == len(rows)
    assert all(not row["text"].startswith(("=", "+", "-", "@")) for row in rows)
    with (tmp_path / "troubled.stages.csv").open(newline="") as handle:
        stages = list(csv.DictReader(handle))
    assert content["end_ms"] == sum(int(row["length_ms"]) for row in stages)


@pytest.mark.parametrize(("make", "status", "sentence"), [
    (lambda _folder: ["report", "nowhere.jsonl"], 6, "Check the name"),
    (lambda folder: ["report", str(folder)], 6, "is not a file"),
    (lambda folder: ["report", str(_rubbish(folder))], 6, "not an incident record"),
])  # fmt: skip
def test_bad_input_gets_one_sentence(
    make: object, status: int, sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A coded error that says what to do."""
    assert callable(make)
    assert status == main(make(tmp_path))
    assert sentence in capsys.readouterr().err


def test_a_folder_that_cannot_be_written_is_named(
    records: Mapping[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file stands where the folder should be."""
    blocked = tmp_path / "blocked"
    blocked.write_text("")
    assert 11 == main(["report", str(records["drill"]), "--out", str(blocked)])
    assert "Name another folder with --out." in capsys.readouterr().err


def test_without_the_pdf_library_the_rest_is_written(
    records: Mapping[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The page is there; the error names the command that installs the rest."""
    monkeypatch.setitem(sys.modules, "reportlab.lib", None)
    assert 11 == main(["report", str(records["drill"]), "--out", str(tmp_path)])
    assert "bin-rescue-assistant[debrief]" in capsys.readouterr().err
    assert (tmp_path / "drill.report.html").exists()


def _rubbish(folder: Path) -> Path:
    path = folder / "notes.txt"
    path.write_text("call the elevator manager\n")
    return path
