"""A drill that was stopped in the middle goes on with its scenario: surprises, simulated grain, score."""

import io
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.cli import main
from assistant.clock import ManualClock
from assistant.commands.resuming import PLAIN, SEVERAL
from assistant.drill.director import Director
from assistant.drill.going_on import NOT_BEGUN, follow
from assistant.drill.preparing import begin, prepare
from assistant.drill.scenarios import load_scenario
from assistant.drill.telling import facts
from assistant.incident import open_incident, resume_incident
from assistant.journal import KeptScenario, read
from assistant.library import load_book, source_for
from protocol import commands as cmd
from protocol import events as ev
from protocol.score import Tally
from tests.drill.rig import Rig
from tests.drill.test_director import TO_VACUUM

QUIET = ("--keyboard", "--mute", "--no-board")
WAIT_S = 30
OWN = """
[scenario]
id = "ours"
title = "Our own"
place = "Ashcombe farm"
aim = "To try it"
briefing = "Ashcombe farm."
minutes = 2
prepared = ["one person trapped"]
ends = "step breathing"

[[inject]]
id = "first"
on = "step visible"
say = "A dog barks."

[[inject]]
id = "second"
on = "step depth"
delay_s = 1
say = "The owner wants to know how long."
expects = ["answer time"]

[[inject]]
id = "third"
on = "step depth"
delay_s = 1.2
say = "It begins to rain."
"""


def again(rig: Rig) -> Director:
    """A director that knows nothing but the record."""
    made = Director(rig.loaded.scenario, rig.loaded.book)
    follow(rig.memory.records, made.follow)
    return made


def level(director: Director) -> tuple[float, float, float, float, int]:
    """Where the simulated grain is."""
    assert director.simulation is not None
    grain = director.simulation.grain
    return grain.inside_m3, grain.outside_m3, grain.in_drum_m3, grain.carried_m3, grain.drums


def test_at_every_moment_the_record_is_enough() -> None:
    """Stopped anywhere in a drill with a leak: the same were given, and the grain stands as it stood at the last record."""
    rig = Rig("chest_leak")
    rig.say("vacuum hose is ready")
    said = {20: "canister is full", 45: "canister is full", 60: "the ring is leaking", 70: "leaking corner closed",
            90: "canister is full", 100: "hold all work", 110: "resume all work"}  # fmt: skip
    for second in range(130):
        rig.wait(1)
        if second in said:
            rig.say(said[second])
        if second % 13:
            continue
        rebuilt = again(rig)
        assert (rig.director.given, rig.director.told) == (rebuilt.given, rebuilt.told)
        rebuilt.poll(rig.now_ms)
        assert level(rig.director) == pytest.approx(level(rebuilt), abs=2e-3)
    assert "running_in" in rig.director.told


def test_what_waits_still_comes_and_once() -> None:
    """Three seconds after its step, though the program was stopped in between; then never again."""
    rig = Rig("bad_air")
    rig.say("kneeling by the person")
    rig.wait(1)
    rebuilt = again(rig)
    assert () == tuple(rebuilt.poll(rig.now_ms))
    assert ["meter_alarm"] == [order.command.inject for order in rebuilt.poll(rig.now_ms + 2_500)]  # type: ignore[union-attr]
    rig.wait(5)
    assert () == tuple(again(rig).poll(rig.now_ms + 60_000))


def test_a_rewind_before_the_stop_is_kept() -> None:
    """Put back before it was stopped, the drill still brings the surprise again after its step."""
    rig = Rig("bad_air")
    rig.say("kneeling by the person")
    rig.wait(10)
    rig.do(cmd.RewindDrill(0, cmd.Origin("trainer", cmd.Role.BOTH, "keyboard"), "beside"))
    rebuilt = again(rig)
    assert frozenset() == rebuilt.told
    assert rig.director.given == rebuilt.given


def test_drums_and_marks_are_not_told_twice() -> None:
    """A full drum and a mark that the crew has heard of are not called again by the program that goes on."""
    rig = Rig("waist_deep")
    rig.say(*TO_VACUUM)
    rig.wait(30)
    assert {"grain.waist", "drum.1"} <= set(rig.injects())
    assert () == tuple(again(rig).poll(rig.now_ms + 60_000))


# ------------------------------------------------------------------------------------------------- the real program


def begin_and_kill(folder: Path, lines: list[str], until: str) -> Path:
    """A typed drill in a process of its own, killed as soon as it shows some words."""
    (folder / "ours.toml").write_text(OWN)
    journal = folder / "drill.jsonl"
    command = [sys.executable, "-m", "assistant", "drill", str(folder / "ours.toml"), *QUIET, "--journal", str(journal)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write("".join(f"{line}\n" for line in lines))
        process.stdin.flush()
        shown = []
        for line in process.stdout:
            shown.append(line)
            if until in line:
                break
        process.kill()
    assert until in shown[-1], "".join(shown)
    return journal


def given(journal: Path) -> list[str]:
    """The surprises on record, in order."""
    return [event.inject for event in read(journal).events if isinstance(event, ev.InjectGiven)]


def go_on(journal: Path, lines: list[str], until: str = "") -> str:
    """Resume it, type lines, and once some words were shown the rest; gives the screen."""
    command = [sys.executable, "-m", "assistant", "resume", str(journal), *QUIET]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        shown = []
        for line in process.stdout:
            shown.append(line)
            if until and until in line:
                process.stdin.write("".join(f"{words}\n" for words in lines))
                process.stdin.flush()
                until = ""
        process.wait(WAIT_S)
    return "".join(shown)


def test_killed_in_the_middle_it_goes_on_with_its_surprises(tmp_path: Path) -> None:
    """Kill -9 after one surprise, the scenario's file gone: the others come, once each, and the score is whole."""
    typed = ["person in plain sight", "affirmative", "buried to the waist"]
    journal = begin_and_kill(tmp_path, typed, "crew keyboard: buried to the waist")
    (tmp_path / "ours.toml").unlink()
    assert ["first"] == given(journal)
    said = go_on(journal, ["time check", "breathing normally"], "It begins to rain.")
    assert "The scenario goes on: 1 of its 3 surprises was given, and will not be given again." in said
    assert ["first", "second", "third"] == given(journal)
    events = read(journal).events
    assert ["the scenario is worked through"] == [event.why for event in events if isinstance(event, ev.DrillEnded)]
    assert "Drill 'Our own'" in said
    assert "3 steps confirmed." in said
    told = {row[2]: row[3] for line in said.splitlines() if line.startswith("  0:") and len(row := line.split("  ")) > 3}
    assert "(no answer needed)" == told["A dog barks."]
    assert told["The owner wants to know how long."].startswith("answered after")


def test_a_paused_drill_is_still_paused_and_its_facts_are_whole(tmp_path: Path) -> None:
    """Stopped while it stood still it stands still until the trainer lets it go on; the facts count from the first line."""
    journal = begin_and_kill(tmp_path, ["person in plain sight", "affirmative", "/pause"], "Stand still.")
    said = go_on(journal, ["/continue", "/finish enough"], "The scenario goes on")
    history = read(journal)
    paused, continued = (next(event for event in history.events if isinstance(event, kind))
                         for kind in (ev.DrillPaused, ev.DrillContinued))  # fmt: skip
    assert 0 <= continued.at_ms - paused.at_ms < 100
    tally = Tally(load_book().procedure)
    for record in history.records:
        tally.take(record.events)
        tally.hear(record.command)
    assert 1 == tally.score().steps_confirmed
    assert [line for line in facts(tally.score(), load_book().procedure) if line not in said.splitlines()] == []


# ------------------------------------------------------------------------------------------- what cannot go on, told


def stopped(folder: Path, kept: KeptScenario | None, *, begun: bool) -> Path:
    """The record of a drill that was stopped early."""
    journal = folder / "drill.jsonl"
    loaded = load_scenario("bad_air")
    incident = open_incident(loaded.source, journal, "drill", ManualClock(), kept)
    prepare(incident.session, loaded)
    if begun:
        begin(incident.session, loaded, 0)
    incident.journal.close()
    return journal


@pytest.mark.parametrize(
    ("kept", "words"),
    [
        (None, "The record does not hold the scenario 'bad_air'"),
        (KeptScenario("theirs.toml", "[scenario]\n", 1.0), "The scenario in the record cannot be used. theirs.toml, line 1"),
        (replace(load_scenario("bad_air").kept(), pace=0.0), "cannot be used: pace 0"),
        (KeptScenario("theirs.toml", f"{'a.' * 90_000}a = 1\n", 1.0), "theirs.toml: a name of many parts joined by dots"),
    ],
)
def test_a_scenario_that_cannot_go_on_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], kept: KeptScenario | None, words: str
) -> None:
    """In one sentence, and the drill goes on as a plain one."""
    journal = stopped(tmp_path, kept, begun=True)
    monkeypatch.setattr("sys.stdin", io.StringIO("kneeling by the person\n"))
    assert 10 == main(["resume", str(journal), *QUIET])
    said = capsys.readouterr().out
    line = next(line for line in said.splitlines() if words in line)
    assert line.endswith(PLAIN)
    assert "crew keyboard: kneeling by the person" in said


def test_several_headsets_leave_the_scenario_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A drill's scenario is led on one headset; that it is left out is told."""
    journal = stopped(tmp_path, load_scenario("bad_air").kept(), begun=True)
    monkeypatch.setattr("sys.stdin", io.StringIO("/quit\n"))
    assert 10 == main(["resume", str(journal), *QUIET, "--headset", "one:both"])
    assert f"{SEVERAL} {PLAIN}" in capsys.readouterr().out


def test_a_drill_that_nobody_heard_of_is_begun_anew(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Stopped while it was prepared, it says what to do; the record is let go."""
    journal = stopped(tmp_path, load_scenario("bad_air").kept(), begun=False)
    assert 2 == main(["resume", str(journal), *QUIET])
    assert f"bin-rescue: {NOT_BEGUN}" == capsys.readouterr().err.strip()
    resume_incident(journal).journal.close()


def test_a_record_keeps_its_scenario(tmp_path: Path) -> None:
    """Text, name and pace come back as they were written; a record without one reads as before."""
    kept = load_scenario("chest_leak").kept(7.5)
    assert kept == read(stopped(tmp_path, kept, begun=True)).header.scenario
    plain = open_incident(source_for(), tmp_path / "plain.jsonl", "live", ManualClock())
    plain.journal.close()
    assert read(tmp_path / "plain.jsonl").header.scenario is None
    assert b"scenario" not in (tmp_path / "plain.jsonl").read_bytes().split(b'"texts"')[0]
