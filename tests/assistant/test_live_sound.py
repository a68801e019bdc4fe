"""The live path through real sound streams: a crew's voices into a microphone, the program's voice out of a speaker."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from assistant.clock import SystemClock
from assistant.journal import read
from assistant.replay import rebuild
from tests.pulse import RATE_HZ, PulseServer, Recording, private_pulse

pytestmark = pytest.mark.realtime
CLIPS = Path(__file__).parents[2] / "audio_fixtures" / "phrases"
SAID = (
    "one person trapped", "person in plain sight", "affirmative", "buried to the waist", "breathing normally",
    "talking to us clearly", "yellow corn in the bin", "level surface all round", "never been treated", "affirmative",
    "caught by flowing grain", "unloading gear is off", "padlocks and tags applied",
)  # fmt: skip
STEPS = 11
START_LIMIT_MS = 60_000
ANSWER_LIMIT_MS = 12_000
TRIES = 3
QUIET_S = 0.7


def _records(journal: Path) -> int:
    """Records so far that somebody's words made: the program's own beginning is none of them."""
    records = read(journal).records if journal.exists() and journal.stat().st_size else ()
    return sum(record.command.origin.how == "voice" for record in records)


def _wait_for_record(journal: Path, count: int, limit_ms: int) -> bool:
    clock = SystemClock()
    while _records(journal) < count:
        if clock.now_ms() > limit_ms:
            return False
        clock.wait_ms(100)
    return True


def _wait_for_start(journal: Path) -> bool:
    clock = SystemClock()
    while not (journal.exists() and journal.stat().st_size):
        if clock.now_ms() > START_LIMIT_MS:
            return False
        clock.wait_ms(100)
    return True


def _wait_for_quiet(recording: Recording) -> None:
    """Until the program has been silent for a moment, as a person waits to speak."""
    clock = SystemClock()
    while clock.now_ms() < START_LIMIT_MS:
        raw = recording._path.read_bytes()
        tail = np.frombuffer(raw[len(raw) // 2 * 2 - 2 * int(QUIET_S * RATE_HZ) :], dtype="<i2")
        if tail.size and int(np.abs(tail.astype(np.int32)).max()) < 200:
            return
        clock.wait_ms(100)


def _say(pulse: PulseServer, recording: Recording, journal: Path, words: str) -> bool:
    """Say words up to three times, until the record grows."""
    for _ in range(TRIES):
        _wait_for_quiet(recording)
        before = _records(journal)
        pulse.play("boom", CLIPS / f"{words.replace(' ', '_')}.flac").wait()
        if _wait_for_record(journal, before + 1, ANSWER_LIMIT_MS):
            return True
    return False


def test_ten_steps_by_voice_through_real_sound_streams(tmp_path: Path) -> None:
    """A drill is led by voice: PortAudio in, PortAudio out, at least ten steps confirmed and spoken."""
    journal, saved = tmp_path / "live.jsonl", tmp_path / "heard.wav"
    command = [sys.executable, "-m", "assistant", "run", "--drill", "--no-board", "--input", "boom", "--output", "ear"]
    with private_pulse(speakers=("ear",), microphones=("boom",)) as pulse:
        recording = pulse.record("ear")
        options = ["--journal", str(journal), "--save-audio", str(saved)]
        with subprocess.Popen([*command, *options], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
            assert _wait_for_start(journal)
            unheard = [words for words in SAID if not _say(pulse, recording, journal, words)]
            process.communicate(b"/quit\n", timeout=30)
        heard = recording.stop()
    assert [] == unheard
    assert STEPS <= rebuild(read(journal)).steps_confirmed
    assert 10 * RATE_HZ < np.count_nonzero(np.abs(heard.astype(np.int32)) > 500)
    assert saved.stat().st_size > 10 * RATE_HZ
