"""The commands as a user gives them: bad input gets one clear sentence and its own exit status."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.cli import main
from assistant.journal import read
from assistant.library import shipped_texts
from assistant.replay import rebuild
from tests.drills import VISIBLE


def said(capsys: pytest.CaptureFixture[str]) -> str:
    """The one sentence on standard error."""
    text = capsys.readouterr().err.strip()
    assert 1 == len(text.splitlines()), text
    return text


def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lines: list[str]) -> Path:
    """Run a typed drill and give its record."""
    script = tmp_path / "lines.txt"
    script.write_text("\n".join(lines) + "\n")
    journal = tmp_path / "incident.jsonl"
    with script.open() as stream:
        monkeypatch.setattr("sys.stdin", stream)
        main(["run", "--keyboard", "--mute", "--no-board", "--drill", "--journal", str(journal)])
    return journal


def test_a_typed_drill_runs_to_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Everything can be driven without a microphone, and the record verifies."""
    journal = typed(tmp_path, monkeypatch, list(VISIBLE))
    assert "Ended: closed." in capsys.readouterr().out
    assert 0 == main(["replay", str(journal), "--verify"])
    assert "Verified" in capsys.readouterr().out


def test_a_stopped_drill_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A run that ends early says so, and resume shows the same step."""
    journal = typed(tmp_path, monkeypatch, list(VISIBLE[:12]))
    capsys.readouterr()
    assert 0 == main(["resume", str(journal), "--show"])
    found = json.loads(capsys.readouterr().out)
    assert not found["closed"]
    assert "locked" == found["step"]


def test_the_shipped_procedure_is_in_order(capsys: pytest.CaptureFixture[str]) -> None:
    """`check` without a file checks what is shipped."""
    assert 0 == main(["check"])
    assert "in order" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ('needs = ["flow_is_off"]', 'needs = ["flow_is_of"]', "there is no guard 'flow_is_of'"),
        ('say = ["padlocks and tags applied"]', 'say = ["unloading gear is off", "unloading gear is off"]', "stands twice"),
        ('to = "driven"', 'to = "drive"', "leads to 'drive'"),
        ('stage = "vacuum"', 'stage = "vakuum"', "there is no stage 'vakuum'"),
    ],
)
def test_a_wrong_procedure_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, reason: str
) -> None:
    """Refused with file, line and reason."""
    text = shipped_texts()["partial_entrapment"]
    assert old in text
    path = tmp_path / "ours.toml"
    path.write_text(text.replace(old, new, 1))
    assert 8 == main(["check", str(path)])
    message = said(capsys)
    assert reason in message
    assert "ours, line" in message


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["check", "/nowhere/x.toml"], 8, "cannot be read"),
        (["replay", "/nowhere/x.jsonl"], 6, "cannot be read"),
        (["resume", "/nowhere/x.jsonl"], 6, "cannot be opened"),
        (["rehearse", "/nowhere/x.wav"], 3, "there is no such file"),
        (["hear", "--model", "/nowhere", "/nowhere/x.wav"], 4, "no speech model at /nowhere"),
        (["hear", "--phrases", "/nowhere/list.txt", "/nowhere/x.wav"], 2, "cannot be read"),
        (["run", "--keyboard", "--mute", "--no-board", "--journal", "/proc/x/y.jsonl"], 6, "cannot be written"),
    ],
)
def test_what_is_not_there_is_named(
    capsys: pytest.CaptureFixture[str], arguments: list[str], status: int, words: str
) -> None:
    """One sentence, non-zero exit."""
    assert status == main(arguments)
    assert words in said(capsys)


def test_a_folder_that_is_no_model_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A wrong model directory says what is missing in it."""
    assert 4 == main(["hear", "--model", str(tmp_path), "x.wav"])
    assert "am/final.mdl" in said(capsys)


def test_a_read_only_folder_loses_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A record that cannot be begun stops the run before anything is said."""
    (tmp_path / "plain").write_text("")
    assert 6 == main(["run", "--keyboard", "--mute", "--no-board", "--journal", str(tmp_path / "plain" / "x.jsonl")])
    assert "Choose another folder" in said(capsys)


def without_sound(arguments: list[str], typed_lines: str = "") -> subprocess.CompletedProcess[str]:
    """Run the program on a machine whose sound server cannot be reached."""
    environment = {**os.environ, "PULSE_SERVER": "unix:/nonexistent"}
    command = [sys.executable, "-m", "assistant", *arguments]
    return subprocess.run(
        command, input=typed_lines, capture_output=True, text=True, env=environment, check=False, timeout=120
    )


def test_without_sound_the_run_goes_on_typed(tmp_path: Path) -> None:
    """No microphone and no speaker: both are announced, typing leads on, nothing is lost."""
    journal = tmp_path / "incident.jsonl"
    lines = "one person trapped\n/note typed\n/quit\n"
    done = without_sound(["run", "--drill", "--no-board", "--journal", str(journal)], lines)
    assert 10 == done.returncode, done.stderr
    assert "Microphone lost." in done.stdout
    assert "Speaker lost." in done.stdout
    state = rebuild(read(journal))
    assert "visible" == state.step
    assert {"microphone", "speaker"} <= set(state.failed_parts)


@pytest.mark.parametrize("option", ["--input", "--output"])
def test_a_device_asked_for_by_name_must_be_there(tmp_path: Path, option: str) -> None:
    """A named microphone or speaker that is not there is an error, not a silent substitute."""
    done = without_sound(["run", option, "headset nine", "--no-board", "--journal", str(tmp_path / "x.jsonl")])
    assert 3 == done.returncode
    assert "headset nine" in done.stderr


def test_devices_says_when_there_is_none() -> None:
    """No sound device: one sentence with what to do."""
    done = without_sound(["devices"])
    assert 3 == done.returncode
    assert "Plug in a headset" in done.stderr
