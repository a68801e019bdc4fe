"""A drill on a headset through real sound streams: noise in the ear, words into the microphone, the trainer unheard."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from assistant.clock import SystemClock
from assistant.errors import JournalError
from assistant.journal import read
from protocol import events as ev
from tests.pulse import RATE_HZ, private_pulse

pytestmark = pytest.mark.realtime
CLIP = Path(__file__).parents[2] / "audio_fixtures" / "phrases" / "panel_three_standing.flac"
PATIENCE_MS = 60_000
NOISE_DB = 14.0


def _events(journal: Path) -> tuple[ev.Event, ...]:
    try:
        return read(journal).events
    except JournalError:
        return ()


def _wait_for(journal: Path, kind: type[ev.Event], again: subprocess.Popen[bytes] | None = None) -> bool:
    clock = SystemClock()
    while not any(isinstance(event, kind) for event in _events(journal)):
        if clock.now_ms() > PATIENCE_MS or (again is not None and again.poll() is not None and clock.now_ms() > 12_000):
            return False
        clock.wait_ms(100)
    return True


def test_a_drill_on_a_headset(tmp_path: Path) -> None:
    """A panel is confirmed by voice over the noise; a trainer's note is on record; the drill ends when it is told to."""
    journal = tmp_path / "drill.jsonl"
    command = [sys.executable, "-m", "assistant", "drill", "rescuer_in_trouble", "--no-board", "--input", "boom",
               "--output", "ear", "--noise", "fan", "--noise-db", str(NOISE_DB), "--journal", str(journal)]  # fmt: skip
    with private_pulse(speakers=("ear",), microphones=("boom",)) as pulse:
        recording = pulse.record("ear")
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
            assert process.stdin is not None
            assert _wait_for(journal, ev.DrillBegun)
            taken = any(_wait_for(journal, ev.RepeatConfirmed, pulse.play("boom", CLIP)) for _ in range(4))
            process.stdin.write(b"/pause\n/trainer good hands\n/continue\n/finish enough\n")
            process.stdin.flush()
            assert _wait_for(journal, ev.DrillEnded)
            told = process.communicate(timeout=60)[0].decode()
        heard = recording.stop().astype(np.float64) / 32768
    assert taken
    assert 0 == process.returncode
    assert {ev.DrillPaused, ev.DrillContinued, ev.TrainerNoted} <= {type(event) for event in _events(journal)}
    assert "Time in each stage:" in told
    frames = heard[: len(heard) // 1600 * 1600].reshape(-1, 1600)
    level_db = 20 * np.log10(np.quantile(np.sqrt((frames**2).mean(axis=1)), 0.3) + 1e-9)
    assert -20 - NOISE_DB == pytest.approx(level_db, abs=4), f"{len(heard) / RATE_HZ:.0f} s"
