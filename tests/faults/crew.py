"""A crew for live runs: lines cut from the shipped drill, a fan that never stops, talk that is no command."""

import json
import subprocess
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from assistant.rehearsal import ScriptLine, read_script
from audio_fixtures.sounds import RATE, fan
from tests.faults.drive import nap
from tests.pulse import PulseServer, Recording

FIXTURES = Path(__file__).parents[2] / "audio_fixtures"
LEAD_S = 0.15
TAIL_S = 0.3
QUIET_S = 0.7
QUIET_LEVEL = 200
WAIT_S = 30.0
FAN_RMS = 200.0
"""Beside the fan that is in the clips already, about 10 dB under their speech."""


def boot_s() -> float:
    """The clock that the incident's clock is made from: it goes on while the machine sleeps."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


@dataclass(frozen=True, slots=True)
class Spoken:
    """What somebody said near the microphone, and when (`boot_s`)."""

    text: str
    start_s: float
    end_s: float
    command: bool = True
    """False for talk that must not be taken."""


class Crew:
    """Whoever speaks into a microphone of a private sound server, and hears the loudspeaker."""

    def __init__(self, pulse: PulseServer, folder: Path, microphone: str = "boom", speaker: str = "ear") -> None:
        self.spoken: list[Spoken] = []
        self._pulse = pulse
        self._folder = folder
        self._microphone = microphone
        self._drill, _rate = soundfile.read(FIXTURES / "drill.flac", dtype="int16")
        self._lines = read_script(FIXTURES / "drill.json")
        self._hearing = pulse.record(speaker)

    @property
    def order(self) -> tuple[str, ...]:
        """The drill's phrases in order, each once however often it was said in the recording."""
        firsts = {line.phrase: line.text for line in reversed(self._lines)}
        return tuple(firsts[number] for number in sorted(firsts))

    def say(self, words: str, attempt: int = 0) -> None:
        """Say one phrase of the drill once; a later attempt is another recording of it if there is one."""
        takes = [line for line in self._lines if line.text == words]
        self._play(self._cut(takes[attempt % len(takes)]), words, command=True)

    def talk(self, number: int) -> None:
        """Say something that is no command."""
        clips = sorted((FIXTURES / "oov").glob("*.flac"))
        clip = clips[number % len(clips)]
        self._play(clip, clip.stem.replace("_", " "), command=False)

    def wait_for_quiet(self, limit_s: float = WAIT_S) -> bool:
        """Until the program has been silent for a moment."""
        until = boot_s() + limit_s
        while boot_s() < until:
            if is_quiet(self._hearing):
                return True
            nap(0.1)
        return False

    def hush(self) -> NDArray[np.int16]:
        """Stop listening to the loudspeaker; gives all that came out of it."""
        return self._hearing.stop()

    def _cut(self, line: ScriptLine) -> Path:
        path = self._folder / f"{line.phrase}-{line.start_s}.wav"
        if not path.exists():
            start, end = round((line.start_s - LEAD_S) * RATE), round((line.end_s + TAIL_S) * RATE)
            soundfile.write(path, self._drill[start:end], RATE)
        return path

    def _play(self, clip: Path, words: str, *, command: bool) -> None:
        start = boot_s()
        self._pulse.play(self._microphone, clip).wait()
        self.spoken.append(Spoken(words, start, boot_s(), command))


def is_quiet(recording: Recording) -> bool:
    """Whether the last moment of a recording holds nothing loud."""
    count = 2 * int(QUIET_S * RATE)
    with recording._path.open("rb") as file:
        size = file.seek(0, 2) // 2 * 2
        file.seek(max(0, size - count))
        tail = np.frombuffer(file.read(count), dtype="<i2")
    return bool(tail.size and int(np.abs(tail.astype(np.int32)).max()) < QUIET_LEVEL)


class Fan:
    """An aeration fan that runs near a microphone until it is stopped."""

    def __init__(self, pulse: PulseServer, microphone: str = "boom", rms: float = FAN_RMS) -> None:
        self._sound = np.clip(fan(60.0, 7) * rms, -32768, 32767).astype("<i2").tobytes()
        command = ["pacat", f"--device={microphone}", f"--rate={RATE}", "--channels=1", "--format=s16le"]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, env=pulse._client_env())
        self._thread = threading.Thread(target=self._blow, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Switch it off."""
        self._process.kill()
        self._process.wait()
        self._thread.join(timeout=5)

    def _blow(self) -> None:
        assert self._process.stdin is not None
        try:
            while True:
                self._process.stdin.write(self._sound)
        except (BrokenPipeError, ValueError):
            return


def unsaid(heard: list[tuple[float, str]], spoken: list[Spoken], late_s: float = 4.0) -> Iterator[tuple[float, str]]:
    """What was taken though nobody said it then."""
    for at_s, words in heard:
        if not any(one.text == words and one.start_s <= at_s <= one.end_s + late_s for one in spoken if one.command):
            yield at_s, words


def records_of(journal: Path) -> int:
    """The number of the last whole record."""
    lines = journal.read_bytes().splitlines()
    return int(json.loads(lines[-1]).get("n", 0)) if lines else 0
