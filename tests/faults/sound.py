"""Sound: microphone, speaker and sound server go and come back, the speech engine dies and hangs, hearing falls behind."""

import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from assistant.speaking.clips import default_folder
from tests.faults.drive import PROGRAM, VICTIM, Drive, check, drill, nap, now_s
from tests.faults.table import Row
from tests.pulse import PulseServer, missing_programs, private_pulse

CLIPS = Path(__file__).parents[2] / "audio_fixtures" / "phrases"
EAR, BOOM = ("ear",), ("boom",)
VOICE: dict[tuple[tuple[str, ...], tuple[str, ...]], tuple[str, ...]] = {
    (EAR, BOOM): ("--no-board", "--input", "boom", "--output", "ear"),
    ((), BOOM): ("--no-board", "--input", "boom", "--mute"),
    (EAR, ()): ("--no-board", "--keyboard", "--output", "ear"),
}
"""Where there is another device the sound server moves a stream there by itself, so what is pulled out stands alone."""
AWAY_S = 4.0
TOLD_LIMIT_S = 10.0
BACK_LIMIT_S = 40.0
NOTICED_S = 3.0
ENGINE_START_S = 4.0
UNTRIED = "a private sound server needs pulseaudio, pactl, paplay and parec"


class Rig:
    """A live run with a microphone and a loudspeaker of a private sound server."""

    def __init__(self, pulse: PulseServer, drive: Drive) -> None:
        self.pulse = pulse
        self.drive = drive
        self.said: list[str] = []
        self._place = 0
        self.problems: list[str] = []

    def type_some(self, count: int) -> None:
        """Go on with the drill by keyboard."""
        for words in drill()[self._place : self._place + count]:
            if self.drive.say(words) is None:
                self.problems.append(f"not taken: {words}")
            else:
                self.said.append(words)
            self._place += 1

    def speak(self) -> None:
        """Say the next line of the drill into the microphone, up to three times; type it where there is none."""
        if not self.pulse.microphones:
            self.type_some(1)
            return
        words = drill()[self._place]
        self._place += 1
        for _ in range(3):
            mark = len(self.drive.shown)
            self.pulse.play("boom", CLIPS / f"{words.replace(' ', '_')}.flac").wait()
            if self.drive.wait_for(f"voice: {words}", 6.0, mark) is not None:
                self.said.append(words)
                return
        self.problems.append(f"not heard: {words}")

    def told(self, part: str, limit_s: float, mark: int, since_s: float) -> float | None:
        """Seconds from a moment until a part's failure or return was on record."""
        return self.drive.wait_for(f"** {part}:", limit_s, mark, since_s)


@contextmanager
def rig(
    program: Sequence[str] = PROGRAM,
    speakers: tuple[str, ...] = EAR,
    microphones: tuple[str, ...] = BOOM,
    environment: Mapping[str, str] | None = None,
) -> Iterator[Rig | None]:
    """A run that listens and speaks; None where there is no sound server."""
    if missing_programs():
        yield None
        return
    options = VOICE[speakers, microphones]
    with (
        tempfile.TemporaryDirectory() as folder,
        private_pulse(speakers, microphones) as pulse,
        Drive(Path(folder) / "incident.jsonl", options, program, environment) as drive,
    ):
        made = Rig(pulse, drive)
        if not drive.ready():
            made.problems.append(f"did not start: {drive.screen[-300:]}")
        yield made


def away(
    name: str, parts: Sequence[str], take: Callable[[PulseServer], None], give: Callable[[PulseServer], None],
    speakers: tuple[str, ...] = EAR, microphones: tuple[str, ...] = BOOM,
) -> Row:  # fmt: skip
    """Something of the sound goes and comes back; typed lines are taken all the while, spoken ones again afterwards."""
    with rig(PROGRAM, speakers, microphones) as run:
        if run is None:
            return Row(name, "", not_tried=UNTRIED)
        run.speak()
        mark, since_s = len(run.drive.shown), now_s()
        take(run.pulse)
        told = [run.told(part, TOLD_LIMIT_S, mark, since_s) for part in parts]
        run.type_some(1)
        nap(AWAY_S)
        mark, since_s = len(run.drive.shown), now_s()
        give(run.pulse)
        back = [run.told(part, BACK_LIMIT_S, mark, since_s) for part in parts]
        run.speak()
        return _row(name, run, parts, told, back)


def _row(
    name: str, run: Rig, parts: Sequence[str], told: Sequence[float | None], back: Sequence[float | None]
) -> Row:
    found = check(run.drive.journal, run.said)
    problems = [*run.problems, *found.problems]
    problems += [f"{part}: not told" for part, one in zip(parts, told, strict=True) if one is None]
    problems += [f"{part}: not told within {NOTICED_S:g} s" for part, one in zip(parts, told, strict=True) if one and one > NOTICED_S]
    problems += [f"{part}: not back" for part, one in zip(parts, back, strict=True) if one is None]
    words = f"{', '.join(parts)}; {len(run.said)} lines taken"
    slowest_told = max((one for one in told if one is not None), default=None)
    slowest_back = max((one for one in back if one is not None), default=None)
    return Row(name, words, slowest_told, slowest_back, found.lost, found.doubled, tuple(problems))


def microphone_removed() -> Row:
    """The only microphone's module is unloaded and loaded."""
    return away("microphone removed", ("microphone",), lambda pulse: pulse.pull_out("boom"),
                lambda pulse: pulse.plug_in("boom"), (), BOOM)  # fmt: skip


def speaker_removed() -> Row:
    """The only speaker's module is unloaded and loaded."""
    return away("speaker removed", ("speaker",), lambda pulse: pulse.pull_out("ear"),
                lambda pulse: pulse.plug_in("ear"), EAR, ())  # fmt: skip


def server_restarted() -> Row:
    """The sound server is killed and started again."""
    return away("sound server restarted", ("speaker", "microphone"), PulseServer.stop, PulseServer.start)


def server_hangs() -> Row:
    """The sound server stands still and goes on."""
    return away("sound server hangs", ("speaker", "microphone"), lambda pulse: _signal(pulse, signal.SIGSTOP),
                lambda pulse: _signal(pulse, signal.SIGCONT))  # fmt: skip


def engine(name: str, how: signal.Signals) -> Row:
    """The speech engine's process is killed or stopped; the next sentence that needs it tells, and it is started again.

    The run keeps its clips in a folder of its own, which is emptied, so that every sentence needs the engine.
    """
    with tempfile.TemporaryDirectory() as cache:
        clips = Path(cache) / "bin-rescue-assistant" / "clips"
        if default_folder().is_dir():
            shutil.copytree(default_folder(), clips)
        with rig(speakers=EAR, microphones=(), environment={"XDG_CACHE_HOME": cache}) as run:
            if run is None:
                return Row(name, "", not_tried=UNTRIED)
            run.type_some(3)
            nap(ENGINE_START_S)
            shutil.rmtree(clips)
            children = _children(run.drive.process.pid)
            for child in children:
                os.kill(child, how)
            mark, asked_s = len(run.drive.shown), now_s()
            run.type_some(1)
            told = run.told("speech engine", TOLD_LIMIT_S, mark, asked_s)
            back = run.drive.wait_for("Speech engine works again", BACK_LIMIT_S, mark, now_s())
            run.problems += [] if children else ["no speech engine was running"]
            run.type_some(2)
            return _row(name, run, ("speech engine",), [told], [back])


def backlog() -> Row:
    """Each block takes 0.2 s longer to decode than it lasts, a hundred times: a flood of sound that cannot be kept up with."""
    name = "hearing falls behind"
    with rig((*VICTIM, "slow-ear=0.2")) as run:
        if run is None:
            return Row(name, "", not_tried=UNTRIED)
        mark, since_s = len(run.drive.shown), now_s()
        told = run.told("hearing", TOLD_LIMIT_S, mark, since_s)
        took = [run.drive.say(words) or 99.0 for words in drill(3)]
        run.said += drill(3)
        run.drive.wait_for("keeps up again", BACK_LIMIT_S, mark)
        back = run.drive.wait_for("Hearing works again", BACK_LIMIT_S, mark, now_s())
        heard = next((line.text for line in run.drive.shown if "Not heard since" in line.text), "not counted")
        row = _row(f"{name} (slowest answer {max(took):.1f} s)", run, ("hearing",), [told], [back])
    return Row(name, f"{heard.partition(': ')[2]} Slowest typed answer meanwhile {max(took):.1f} s", row.told_s, row.back_s,
               row.lost, row.doubled, row.problems)  # fmt: skip


def _signal(pulse: PulseServer, number: signal.Signals) -> None:
    assert pulse._process is not None
    pulse._process.send_signal(number)


def _children(parent: int) -> list[int]:
    done = subprocess.run(["ps", "-o", "pid=", "--ppid", str(parent)], capture_output=True, text=True, check=False)
    return [int(pid) for pid in done.stdout.split()]
