"""The tutorial of README.md, typed as it stands there: the real recogniser, the files, the words that are quoted."""

import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TUTORIAL = (ROOT / "README.md").read_text(encoding="utf-8").partition("<!-- tutorial -->")[2].partition("<!-- /tutorial -->")[0]
BLOCK = re.compile(r"^```(bash|text)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
CLOCK = re.compile(r"\b(\d):(\d\d):(\d\d)\b")
NUMBER = re.compile(r"\d+(\.\d+)?")
NEAR_S = 3
"""Another machine, or a newer speech model, may hear a phrase a moment sooner or later."""
MADE = ("drills/first.jsonl", "drills/first.report.html", "drills/first.report.json", "drills/first.report.pdf",
        "drills/first.events.csv", "drills/first.stages.csv", "card.pdf")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Typed:
    """One block of commands, what it showed, and what README.md says that it shows."""

    commands: str
    status: int
    shown: str
    trouble: str
    quoted: tuple[str, ...]


@pytest.fixture(scope="module")
def reader(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Typed]]:
    """A folder of somebody who types every line, one after the other."""
    folder = tmp_path_factory.mktemp("reader")
    (folder / ".venv").mkdir()
    (folder / ".venv" / "bin").symlink_to(Path(sys.executable).parent)
    environment = {**os.environ, "XDG_DATA_HOME": str(folder / "home")}
    return folder, list(_type_all(folder, environment))


def _type_all(folder: Path, environment: dict[str, str]) -> Iterator[Typed]:
    blocks = BLOCK.findall(TUTORIAL)
    for place, (sort, content) in enumerate(blocks):
        if sort != "bash":
            continue
        following = blocks[place + 1] if place + 1 < len(blocks) else ("", "")
        quoted = tuple(following[1].splitlines()) if following[0] == "text" else ()
        command = ["bash", "-euo", "pipefail", "-c", content]
        done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)
        yield Typed(content, done.returncode, done.stdout, done.stderr, quoted)


def plain(line: str) -> str:
    """A line with its numbers left out, since they hang on the moment and the machine."""
    return " ".join(NUMBER.sub("#", line).split())


def seconds(line: str) -> list[int]:
    """The clocks in a line."""
    return [int(hours) * 3600 + int(minutes) * 60 + int(rest) for hours, minutes, rest in CLOCK.findall(line)]


def test_every_command_does_its_work(reader: tuple[Path, list[Typed]]) -> None:
    """Each line ends with 0 and complains of nothing."""
    assert [(typed.commands, 0, "") for typed in reader[1]] == [
        (typed.commands, typed.status, typed.trouble) for typed in reader[1]
    ]
    assert ["drill", "report", "archive", "card"] == [typed.commands.split()[1] for typed in reader[1]]


def test_what_is_quoted_is_shown(reader: tuple[Path, list[Typed]]) -> None:
    """Every quoted line stands on the screen in its order, word for word; clocks are off by a few seconds at most."""
    for typed in reader[1]:
        assert typed.quoted, typed.commands
        shown = iter(typed.shown.splitlines())
        for line in typed.quoted:
            found = next((other for other in shown if plain(other) == plain(line)), None)
            assert found is not None, f"'{line}' is not shown by {typed.commands}"
            assert [] == [(one, other) for one, other in zip(seconds(line), seconds(found), strict=True) if abs(one - other) > NEAR_S]


def test_the_files_are_there(reader: tuple[Path, list[Typed]]) -> None:
    """Record, page, PDF, CSV, JSON, card and archive are made and not empty; what else there is was named by nobody."""
    folder = reader[0]
    assert [] == [name for name in MADE if not (folder / name).stat().st_size]
    found = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file() and ".venv" not in path.parts}
    assert {*MADE, "home/bin-rescue-assistant/archive.sqlite"} == found


def test_the_picture_of_the_terminal_shows_this_drill(reader: tuple[Path, list[Typed]]) -> None:
    """Each line in the picture is one that the drill shows, so that the picture is made anew when the words change."""
    picture = (ROOT / "tests/pictures/terminal.svg").read_text(encoding="utf-8")
    rows = re.findall(r"<text[^>]*>(.*?)</text>", picture)
    joined = plain(" ".join(row.replace("&gt;", ">").replace("&amp;", "&") for row in rows))
    shown = [plain(line) for line in reader[1][0].shown.splitlines()]
    lines = [line for line in re.split(r"(?=#:#:# )", joined) if line]
    assert 12 <= len(lines)
    assert [] == [line for line in lines if line.strip() not in shown]


def test_the_extras_that_it_installs_exist() -> None:
    """What pip is told to install besides the program is in pyproject.toml."""
    known = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    named = re.search(r"'\.\[([a-z,]+)\]'", TUTORIAL)
    assert named is not None
    assert set(named[1].split(",")) <= set(known)
