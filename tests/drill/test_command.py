"""`bin-rescue drill` as its user gives it: typed, without sound; and every slip gets one sentence."""

import io
import json
from pathlib import Path

import pytest

from assistant.cli import main
from assistant.drill.preparing import dry_run
from assistant.drill.scenarios import load_scenario, shipped
from assistant.errors import ScenarioError
from assistant.journal import read
from protocol import events as ev

QUIET = ["--keyboard", "--mute", "--no-board"]
TO_JOINED = ["panel three standing", "panel four standing", "every joint is fastened"]


def typed(monkeypatch: pytest.MonkeyPatch, journal: Path, lines: list[str], *more: str) -> int:
    """A drill led from the keyboard."""
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(lines) + "\n"))
    return main(["drill", "rescuer_in_trouble", *QUIET, "--journal", str(journal), *more])


def test_a_typed_drill_ends_with_its_facts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Led to its end it returns 0, tells what was counted, and grades nobody."""
    journal = tmp_path / "drill.jsonl"
    assert 0 == typed(monkeypatch, journal, TO_JOINED)
    said = capsys.readouterr().out
    assert "This is a drill. A rescuer in trouble." in said
    assert "the scenario is worked through" in said
    assert "Time in each stage:" in said
    assert "Roll calls: 0 asked, 0 missed." in said
    assert "department's own rules" not in said
    history = read(journal)
    assert "drill" == history.header.kind
    assert 0 == main(["replay", "--verify", str(journal)])


def test_the_trainer_types_beside_the_crew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Notes are on record, injects are told, and a drill that is broken off returns another number."""
    journal = tmp_path / "drill.jsonl"
    assert 10 == typed(monkeypatch, journal, ["/trainer good hands", "/inject down", "panel three standing"])
    events = read(journal).events
    assert ["good hands"] == [event.text for event in events if isinstance(event, ev.TrainerNoted)]
    assert ["down"] == [event.inject for event in events if isinstance(event, ev.InjectGiven)]
    assert "not finished" in capsys.readouterr().out


def test_the_facts_come_as_json(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The last line, for those who count."""
    typed(monkeypatch, tmp_path / "drill.jsonl", ["panel three standing", "/finish enough"], "--json")
    found = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert ("rescuer_in_trouble", "enough", True, 1) == (
        found["scenario"], found["ended_by"], found["closed"], found["steps_confirmed"]
    )  # fmt: skip


def test_what_is_shipped_is_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """Each with its title, its length and what it is for."""
    assert 0 == main(["drill", "--list"])
    listed = capsys.readouterr().out
    assert 6 == len(shipped())
    assert [] == [name for name in shipped() if f"{name} " not in listed]


@pytest.mark.parametrize("name", shipped())
def test_check_takes_a_scenario(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """By its name or as a file, a scenario is checked like a procedure."""
    assert 0 == main(["check", name])
    assert "in order" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["drill"], 2, "Name a scenario"),
        (["drill", "no_such"], 14, "There is no scenario 'no_such'. Shipped: bad_air"),
        (["drill", "/nowhere/x.toml"], 14, "cannot be read"),
        (["drill", "waist_deep", "--fast"], 2, "--fast is for a recording"),
        (["drill", "waist_deep", "--audio", "/nowhere/x.wav"], 3, "there is no such file"),
        (["drill", "waist_deep", "--site", "/nowhere/x.toml"], 8, "cannot be read"),
    ],
)
def test_a_slip_gets_one_sentence(
    capsys: pytest.CaptureFixture[str], arguments: list[str], status: int, words: str
) -> None:
    """And a number of its own."""
    assert status == main(arguments)
    said = capsys.readouterr().err.strip()
    assert 1 == len(said.splitlines())
    assert words in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--pace", "0.1"], "0.1 is not between 1 and 60"),
        (["--pace", "fast"], "'fast' is no number"),
        (["--noise-db", "99"], "99 is not between -20 and 60"),
        (["--noise", "rain"], "invalid choice: 'rain'"),
    ],
)
def test_an_odd_number_is_refused(capsys: pytest.CaptureFixture[str], arguments: list[str], words: str) -> None:
    """Before anything begins."""
    with pytest.raises(SystemExit, match="2"):
        main(["drill", "waist_deep", *arguments])
    assert words in capsys.readouterr().err


# -------------------------------------------------------------------------------------------------- a department's own

OWN = """
[scenario]
id = "ours"
title = "Our own"
place = "Ashcombe farm"
aim = "To try it"
briefing = "Ashcombe farm."
minutes = 2
ends = "step visible"
prepared = ["one person trapped"]
card = "card.toml"
"""
CARD = """
[department]
name = "Ashcombe fire department"
[house]
roll_call_min = 7
[scoring.stage_min]
size_up = 2
[[scoring.grade]]
name = "quick enough"
longest_min = 1
"""


def own(tmp_path: Path, text: str = OWN, card: str = CARD) -> Path:
    """A scenario of one's own, with a site card beside it."""
    (tmp_path / "card.toml").write_text(card)
    path = tmp_path / "ours.toml"
    head, _line, rest = text.partition('card = "card.toml"\n')
    path.write_text(f'card = "card.toml"\n{head}{rest}' if _line else text)
    return path


def test_a_departments_own_card_and_grade(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The card beside the scenario gives intervals and targets; the grade that it sets is told as its own."""
    monkeypatch.setattr("sys.stdin", io.StringIO("person in plain sight\naffirmative\n"))
    journal = tmp_path / "drill.jsonl"
    assert 0 == main(["drill", str(own(tmp_path)), *QUIET, "--journal", str(journal)])
    said = capsys.readouterr().out
    assert "By the department's own rules: quick enough." in said
    assert "wanted 0:02:00" in said
    assert 7 == read(journal).header.house["roll_call_min"]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"one person trapped"', '"one person traped"', "prepared line 1, 'one person traped', at step 'people': means nothing"),
        ('"one person trapped"', '"one person trapped", "hold all work", "person in plain sight"', "line 3.*all work is held"),
        ('card = "card.toml"', 'card = "../card.toml"', "the name of a file beside the scenario"),
        ("minutes = 2", "minutes = 'two'", "ours.toml, line 9: scenario.minutes"),
        ("[scenario]", "scenario = 3", "ours.toml"),
    ],
)  # fmt: skip
def test_a_broken_one_is_refused_in_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, words: str
) -> None:
    """With its file and the reason, before anybody is told anything."""
    assert old in OWN
    path = own(tmp_path)
    path.write_text(path.read_text().replace(old, new, 1))
    assert 14 == main(["drill", str(path), *QUIET])
    said = capsys.readouterr().err.strip()
    assert 1 == len(said.splitlines())
    with pytest.raises(ScenarioError, match=words):
        dry_run(load_scenario(str(path)))


def test_check_refuses_a_broken_scenario(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As the drill does, with the same number."""
    path = own(tmp_path, OWN.replace("minutes = 2", ""))
    assert 14 == main(["check", str(path)])
    assert "minutes: Field required" in capsys.readouterr().err
