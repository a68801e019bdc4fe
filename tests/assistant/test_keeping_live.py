"""`run --keep-audio` through real sound streams: what the debrief plays is what was said."""

import base64
import re
import subprocess
import sys
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.cli import main
from assistant.clock import SystemClock
from assistant.journal import read
from protocol.commands import BeginHearing
from protocol.events import AudioKept, StepConfirmed
from tests.pulse import private_pulse

pytestmark = pytest.mark.realtime
CLIPS = Path(__file__).parents[2] / "audio_fixtures" / "phrases"
SAID = ("one person trapped", "person in plain sight")
START_LIMIT_MS = 60_000
QUIET_MS = 9_000
"""The opening sentences are over by then; a phrase said into the program's own voice might not be taken."""
TRIES = 3
LIKE = 0.6
"""Correlation of the kept clip with what was played, at its best shift: 1 is the same sound."""


def test_the_debrief_plays_the_crew_s_own_words(tmp_path: Path) -> None:
    """Two phrases said into a microphone are found again, each in the clip of the record that it made."""
    journal = tmp_path / "live.jsonl"
    command = [sys.executable, "-m", "assistant", "run", "--drill", "--no-board", "--input", "boom", "--mute"]
    with private_pulse(speakers=("ear",), microphones=("boom",)) as pulse:
        options = ["--journal", str(journal), "--keep-audio"]
        with subprocess.Popen([*command, *options], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
            _wait_for(journal, 3)
            for words in SAID:
                for _ in range(TRIES):
                    before = _records(journal)
                    pulse.play("boom", CLIPS / f"{words.replace(' ', '_')}.flac").wait()
                    if _wait_for(journal, before + 1, QUIET_MS):
                        break
            out, _err = process.communicate(b"/quit\n", timeout=30)
    history = read(journal)
    assert [("crew", "live.crew-1.flac")] == [
        (event.station, event.file) for event in history.events if isinstance(event, AudioKept)
    ]
    assert b"live.crew-1.flac" in out
    assert any(isinstance(event, StepConfirmed) for event in history.events)
    heard = {record.command.origin.heard for record in history.records}
    assert set(SAID) <= heard
    assert 0 == main(["report", str(journal), "--audio"])
    page = (tmp_path / "live.report.html").read_text()
    for words in SAID:
        assert LIKE < max(_likeness(clip, CLIPS / f"{words.replace(' ', '_')}.flac") for clip in _clips(page))


def _records(journal: Path) -> int:
    """Records so far, without the microphone's own, which nobody's words made."""
    records = read(journal).records if journal.exists() and journal.stat().st_size else ()
    return sum(not isinstance(record.command, BeginHearing) for record in records)


def _wait_for(journal: Path, count: int, limit_ms: int = START_LIMIT_MS) -> bool:
    clock = SystemClock()
    while _records(journal) < count:
        if clock.now_ms() > limit_ms:
            return False
        clock.wait_ms(100)
    return True


def _clips(page: str) -> list[np.ndarray]:
    found = sorted(set(re.findall(r"data:audio/flac;base64,([^']+)'", page)))
    return [soundfile.read(BytesIO(base64.b64decode(text)), dtype="float64")[0] for text in found]


def _likeness(clip: np.ndarray, path: Path) -> float:
    whole, _rate = soundfile.read(path, dtype="float64")
    words = whole[len(whole) // 4 : len(whole) // 2]  # well inside the phrase: the program acts before its last silence
    if len(words) > len(clip):
        return 0.0
    size = len(clip) + len(words)
    product = np.fft.irfft(np.fft.rfft(clip, size) * np.conj(np.fft.rfft(words, size)), size)
    power = np.cumsum(np.concatenate([[0.0], clip**2]))
    local = power[len(words) :] - power[: -len(words)]
    return float(np.max(product[: len(local)] / np.sqrt(local * np.sum(words**2) + 1e-9)))
