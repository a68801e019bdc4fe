"""`bin-rescue archive` as typed."""

import json
import sys
from collections.abc import Mapping
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

from assistant.archive.questions import TrendAsked, TrendRow
from assistant.archive.trend_plot import trend_plot
from assistant.cli import main
from assistant.debrief.picture import Picture, Stroke, Words
from assistant.debrief.png import dashes, png
from assistant.errors import DebriefError

SITE = '[department]\nname = "Invented County Rescue"\n'


def test_add_list_trend_and_export(
    url: str, records: Mapping[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One after the other, on each database, with every picture drawn."""
    site = tmp_path / "site.toml"
    site.write_text(SITE)
    paths = [str(records[name]) for name in ("drill", "troubled")]
    assert 0 == main(["archive", "add", *paths, "--db", url, "--site", str(site), "--crew", "B shift"])
    assert 0 == main(["archive", "add", paths[0], "--db", url])
    assert "already there, nothing changed" in capsys.readouterr().out
    assert 0 == main(["archive", "list", "--db", url])
    assert "2 records." in capsys.readouterr().out
    assert 0 == main(["archive", "list", "--db", url, "--kind", "live", "--json"])
    (row,) = json.loads(capsys.readouterr().out)
    assert ("Invented County Rescue", "B shift") == (row["department"], row["crew"])
    drawn = ["--svg", str(tmp_path / "t.svg"), "--png", str(tmp_path / "t.png")]
    assert 0 == main(["archive", "trend", "--db", url, *drawn])
    assert "Prove the air" in capsys.readouterr().out
    assert ET.parse(tmp_path / "t.svg").getroot().tag.endswith("svg")
    with Image.open(tmp_path / "t.png") as image:
        assert 1440 == image.width
    assert 0 == main(["archive", "export", "--db", url, "--out", str(tmp_path / "out")])
    assert "2 records" in capsys.readouterr().out


def test_a_bad_record_does_not_stop_the_others(
    url: str, records: Mapping[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is named, the others are added, and the exit status says that something was wrong."""
    other = tmp_path / "other.jsonl"
    other.write_text("hello\n")
    paths = [str(other), str(records["altered"]), str(records["drill"])]
    assert 13 == main(["archive", "add", *paths, "--db", url])
    said = capsys.readouterr()
    assert "not an incident record" in said.out
    assert "--damaged" in said.out
    assert "added as" in said.out
    assert "2 of 3 records were not added" in said.err


def test_an_empty_archive_says_so(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """No table without rows, no empty picture without a word."""
    assert 0 == main(["archive", "trend", "--db", url])
    assert "No drill is archived that fits." in capsys.readouterr().out
    assert 13 == main(["archive", "trend", "--db", url, "--by", "weather"])


def test_without_the_library_the_command_is_named(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One sentence with what to install."""
    monkeypatch.setitem(sys.modules, "sqlalchemy", None)
    assert 13 == main(["archive", "list"])
    assert "pip install 'bin-rescue-assistant[archive]'" in capsys.readouterr().err


def test_a_trend_is_drawn_on_its_paper() -> None:
    """Many groups and stretches stay inside the picture, and each group has its name."""
    rows = [
        TrendRow(f"Crew {group}", f"20{year:02d}", 5, 60_000 * year, 90_000.0 * year, 120_000 * year)
        for group in "ABCDEFG"
        for year in range(10, 40)
    ]
    picture = trend_plot(rows, TrendAsked(by="crew", every="year"), {})
    for shape in picture.shapes:
        points = [(shape.x, shape.y)] if isinstance(shape, Words) else shape.points
        assert all(0 <= x <= picture.width and 0 <= y <= picture.height for x, y in points)
    assert {"Crew A", "Crew G"} <= {shape.text for shape in picture.shapes if isinstance(shape, Words)}
    assert "not named" in {
        shape.text for shape in trend_plot([TrendRow("", "2026", 1, 0, 0, 0)], TrendAsked(by="crew"), {}).shapes
        if isinstance(shape, Words)
    }  # fmt: skip


def test_dashes_go_round_corners() -> None:
    """The drawn pieces and the gaps take turns along the whole line, corners included."""
    pieces = dashes([(0, 0), (10, 0), (10, 10)], [6, 4])
    assert [((0, 0), (6, 0)), ((10, 0), (10, 6))] == pieces


def test_a_png_shows_what_was_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """A black line is black where it lies and white beside it; without its library the command is named."""
    from io import BytesIO  # noqa: PLC0415

    picture = Picture(20, (Stroke(((0, 10), (40, 10)), 4), Words(5, 8, "x")), "a line", 40)
    with Image.open(BytesIO(png(picture))) as image:
        assert (80, 40) == image.size
        assert 0 == image.getpixel((40, 20))
        assert 255 == image.getpixel((70, 5))
    monkeypatch.setitem(sys.modules, "PIL", None)
    with pytest.raises(DebriefError, match=r"\[debrief\]"):
        png(picture)
