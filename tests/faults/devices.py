"""Devices that are not there at the start, and streams that the sound server moves to another."""

import json
import subprocess
import tempfile
from pathlib import Path

from tests.faults.drive import Drive, check, nap, now_s
from tests.faults.sound import AWAY_S, BACK_LIMIT_S, TOLD_LIMIT_S, UNTRIED, Rig
from tests.faults.table import Row
from tests.pulse import PulseServer, missing_programs, private_pulse

UNNAMED = ("--no-board",)
NAMED = ("--no-board", "--input", "boom", "--output", "ear")
SETTLED_S = 3.0
"""The program looks every 2.5 s where its streams are."""


def missing_at_start() -> Row:
    """The run begins without a sound server, so without microphone and speaker; it comes seconds later."""
    name = "no microphone, no speaker at start"
    if missing_programs():
        return Row(name, "", not_tried=UNTRIED)
    with tempfile.TemporaryDirectory() as folder, private_pulse(("ear",), ("boom",)) as pulse:
        pulse.stop()
        with Drive(Path(folder) / "incident.jsonl", UNNAMED) as drive:
            run = Rig(pulse, drive)
            drive.ready()
            began = now_s()
            told = [run.told(part, TOLD_LIMIT_S, 0, began) for part in ("microphone", "speaker")]
            run.type_some(1)
            nap(AWAY_S)
            mark, since = len(drive.shown), now_s()
            pulse.start()
            pulse._pactl("set-default-source", "boom.monitor")
            back = [drive.wait_for(f"{part} works again.", BACK_LIMIT_S, mark, since) for part in ("Microphone", "Speaker")]
            run.speak()
            found = check(drive.journal, run.said)
    problems = [*run.problems, *found.problems, *(["not told"] if None in told else []), *(["not found"] if None in back else [])]
    return Row(name, f"typed meanwhile, spoken afterwards: {len(run.said)} lines", _most(told), _most(back), found.lost, found.doubled,
               tuple(problems))  # fmt: skip


def moved() -> Row:
    """Somebody (or the server) moves the microphone's stream to another microphone, and back."""
    name = "stream moved to another microphone"
    if missing_programs():
        return Row(name, "", not_tried=UNTRIED)
    with (
        tempfile.TemporaryDirectory() as folder,
        private_pulse(("ear",), ("boom", "webcam")) as pulse,
        Drive(Path(folder) / "incident.jsonl", NAMED) as drive,
    ):
        run = Rig(pulse, drive)
        if not drive.ready():
            run.problems.append(f"did not start: {drive.screen[-300:]}")
        nap(SETTLED_S)
        mark, since = len(drive.shown), now_s()
        move(pulse, drive.process.pid, "webcam")
        told = run.told("chosen microphone", TOLD_LIMIT_S, mark, since)
        mark, since = len(drive.shown), now_s()
        move(pulse, drive.process.pid, "boom")
        back = drive.wait_for("Chosen microphone works again.", BACK_LIMIT_S, mark, since)
        run.speak()
        found = check(drive.journal, run.said)
    problems = [*run.problems, *found.problems, *([] if told else ["not told"]), *([] if back else ["its return not told"])]
    return Row(name, f"{len(run.said)} lines taken afterwards", told, back, found.lost, found.doubled, tuple(problems))


def move(pulse: PulseServer, pid: int, microphone: str) -> None:
    """Move a program's recording stream."""
    streams = json.loads(pulse._pactl("-f", "json", "list", "source-outputs"))
    own = [row["index"] for row in streams if row["properties"].get("application.process.id") == str(pid)]
    for index in own:
        subprocess.run(["pactl", "move-source-output", str(index), f"{microphone}.monitor"], env=pulse._client_env(), check=True)


def _most(values: list[float | None]) -> float | None:
    return max((value for value in values if value is not None), default=None)
