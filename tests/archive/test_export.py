"""The export that names nobody."""

import csv
import json
from pathlib import Path

import pytest
from sqlalchemy import Engine

from assistant.archive.deidentified import export
from assistant.archive.loading import Labels, add
from assistant.archive.questions import Choice
from assistant.archive.store import open_archive
from assistant.archive.tokens import Known, Tokens, bare, shipped_scenarios
from assistant.errors import ArchiveError
from assistant.library import load_book
from protocol import commands as cmd
from tests.debrief.records import Written
from tests.drills import VISIBLE

NAMES = (
    "Marlow", "Quillan", "Tessaly", "Ostrander", "Birchfield", "Havelock", "Penhallow", "Corwin", "Dunmore",
    "Lassiter", "Yarrow", "Whitlock", "Zeller", "Trevanion", "Ravensworth", "Ellwood", "Sedgeley", "Tarporley",
)  # fmt: skip
"""Invented people and places, each planted somewhere else."""


@pytest.fixture
def told(tmp_path: Path) -> Path:
    """A drill with a name in every free text that a record can hold."""
    drill = Written(tmp_path / "Marlow-farm.jsonl")
    officer = cmd.Origin("Quillan tablet", cmd.Role.OUTSIDE, "board", "Tessaly says so", None)
    drill.do(cmd.BeginDrill(drill.now, officer, "ostrander_silo", "Ostrander elevator", "You are at Birchfield farm."))
    drill.say_all(VISIBLE[: VISIBLE.index("nobody has pulled so far")])
    drill.do(cmd.Override(drill.now, officer, drill.session.state.step, "Havelock saw it.", "no"))
    drill.do(cmd.Note(drill.now, officer, "Penhallow brought rope."))
    drill.do(cmd.ReportPart(drill.now, cmd.PROGRAM, "Corwin's headset", works=False, detail="Dunmore dropped it."))
    drill.do(cmd.GiveInject(drill.now, officer, "lassiter_arrives", "both", "Lassiter arrives with a second vacuum."))
    drill.do(cmd.TrainerNote(drill.now, officer, "Yarrow was slow."))
    drill.say_all(VISIBLE[VISIBLE.index("harness and anchor inspected") : VISIBLE.index("rescuer one going in")])
    drill.do(cmd.MoveRescuer(drill.now, officer, 1, True, "Sedgeley 3", ("Ravensworth", "Ellwood")))
    drill.do(cmd.RecordLine(drill.now, officer, 1, "12", ("Tarporley",)))
    drill.do(cmd.RaiseEmergency(drill.now, officer, "whitlock_lost"))
    return drill.close()


@pytest.fixture
def exported(archive: Engine, told: Path, tmp_path: Path) -> Path:
    """The export of an archive with that drill, from each database."""
    add(archive, told, Labels("Zeller Fire", "Trevanion's crew", "Marlow bin 3"))
    export(archive, tmp_path / "out", Choice(), Known.of(load_book().procedure))
    return tmp_path / "out"


def test_no_name_is_left(exported: Path, told: Path) -> None:
    """Every name was in the record or its labels, and none is in any file of the export, in whatever spelling."""
    record = told.read_text() + told.name + "Zeller Fire Trevanion's crew"
    written = "".join(path.read_text() for path in exported.iterdir()).casefold()
    for name in NAMES:
        assert name in record or name.casefold() in record.casefold()
        assert name.casefold() not in written


def test_what_is_left_still_counts(exported: Path) -> None:
    """Stages, steps, gases and numbers are kept, so that somebody can count."""
    with (exported / "events.csv").open(newline="") as handle:
        events = list(csv.DictReader(handle))
    readings = [json.loads(row["details"]) for row in events if row["event"] == "AirRead"]
    assert {"gas": "oxygen", "place": "hatch", "value": "20.9", "verdict": "good"} == readings[0]
    assert {"people", "visible", "depth"} <= {json.loads(row["details"]).get("step") for row in events}
    with (exported / "stages.csv").open(newline="") as handle:
        assert {"size_up", "air"} <= {row["stage"] for row in csv.DictReader(handle)}
    with (exported / "drills.csv").open(newline="") as handle:
        (drill,) = csv.DictReader(handle)
    assert "0" == drill["day"]
    assert drill["crew"].startswith("crew-")
    assert "opened" not in " ".join(drill)


def test_the_same_name_gets_the_same_token() -> None:
    """In capitals or not; another sort, name or archive gets another; nothing stays nothing."""
    tokens = Tokens("salt")
    assert tokens.of("crew", "B Shift") == tokens.of("crew", " b  shift ")
    others = {tokens.of("crew", "B shift"), tokens.of("place", "B shift"), tokens.of("crew", "C shift"),
              Tokens("other").of("crew", "B shift")}  # fmt: skip
    assert 4 == len(others)
    assert "" == tokens.of("crew", "  ")


def test_another_archive_gives_other_tokens(told: Path, tmp_path: Path) -> None:
    """So that nobody can compare two archives, or try names against a published export."""
    lines = []
    for name in ("one", "two"):
        engine = open_archive(f"sqlite:///{tmp_path}/{name}.sqlite")
        add(engine, told, Labels(crew="B shift"))
        export(engine, tmp_path / name, Choice(), Known.of(load_book().procedure))
        engine.dispose()
        lines.append((tmp_path / name / "drills.csv").read_text().splitlines()[1].split(",")[:3])
    assert lines[0][0] != lines[1][0]
    assert lines[0][2] != lines[1][2]


def test_a_department_s_own_words_are_not_known() -> None:
    """A step, stage or answer that the shipped procedure does not have is dropped, not passed on."""
    known = Known.of(load_book().procedure)
    assert {} == bare("StepEntered", {"step": "call_marlow"}, known, Tokens("s"))
    assert {} == bare("FactLearned", {"fact": "owner", "value": "Marlow"}, known, Tokens("s"))
    assert {} == bare("Unheard", {"text": "Marlow", "total": 3}, known, Tokens("s"))
    assert {"slot": 2} == bare("RescuerEntered", {"slot": 2, "name": "Marlow"}, known, Tokens("s"))
    assert {} == bare("CanisterCounted", {"total": "Marlow"}, known, Tokens("s"))
    assert {"gas": "oxygen"} == bare("AirRead", {"gas": "oxygen", "value": "Marlow", "place": "Marlow"}, known, Tokens("s"))


def test_the_shipped_scenarios_name_nobody() -> None:
    """They are the same in every department, so their names are kept."""
    assert "waist_deep" in shipped_scenarios()


def test_a_folder_that_cannot_be_written_is_named(archive: Engine, tmp_path: Path) -> None:
    """A file stands where the folder should be."""
    (tmp_path / "blocked").write_text("")
    with pytest.raises(ArchiveError, match="Name another folder with --out"):
        export(archive, tmp_path / "blocked", Choice(), Known.of(load_book().procedure))


def test_tenders_and_tags_become_tokens() -> None:
    """A line's number stays; a tag with letters may name somebody; the same tender has the same token everywhere."""
    known, tokens = Known.of(load_book().procedure), Tokens("s")
    body = {"slot": 2, "line": "12", "tenders": ["Marlow", "Quillan"]}
    kept = bare("RescuerEntered", body, known, tokens)
    assert {"slot": 2, "line": "12", "tenders": [tokens.of("tender", "Marlow"), tokens.of("tender", "Quillan")]} == kept
    assert kept["tenders"][0].startswith("tender-")
    assert {"line": tokens.of("line", "Marlow A"), "tenders": kept["tenders"][:1]} == bare(
        "LineRecorded", {"line": "Marlow A", "tenders": ["marlow", 5]}, known, tokens
    )
    assert {"slot": 1} == bare("RescuerEntered", {"slot": 1, "line": "", "tenders": []}, known, tokens)
    assert {"slot": 1} == bare("RescuerLeft", {"slot": 1, "line": "12", "tenders": ["Marlow"]}, known, tokens)
