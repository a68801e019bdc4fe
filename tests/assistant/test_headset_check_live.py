"""`devices --test` through real sound streams: it asks aloud, understands the answer, and measures what was mixed."""

import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.pulse import RATE_HZ, private_pulse

pytestmark = pytest.mark.realtime
CLIP = Path(__file__).parents[2] / "audio_fixtures" / "radio_check.flac"
LEAD_S, TAIL_S = 6, 10
VOICE_RMS = 0.1
"""Of the clip, where somebody speaks."""


def spoken(path: Path, snr_db: float, words: bool) -> Path:
    """The clip, or nothing, in a hiss."""
    clip, _rate = soundfile.read(CLIP)
    sound = np.concatenate([np.zeros(LEAD_S * RATE_HZ), clip * words, np.zeros(TAIL_S * RATE_HZ)])
    hiss = np.random.default_rng(2).standard_normal(len(sound)) * VOICE_RMS * 10 ** (-snr_db / 20)
    soundfile.write(path, np.clip(sound + hiss, -1, 1), RATE_HZ)
    return path


@pytest.mark.parametrize(
    ("snr_db", "words", "status", "told"),
    [
        (25, True, 0, r"Understood: radio check \(.*\)\. Verdict: good\."),
        (0, True, 0, r"Understood: radio check \(.*\)\. Verdict: too noisy for voice: use the board or the keyboard\."),
        (30, False, 10, r"Not understood within 11 seconds\. Verdict: too quiet: is this the right microphone\?"),
    ],
)
def test_a_headset_is_checked_before_a_run(tmp_path: Path, snr_db: float, words: bool, status: int, told: str) -> None:
    """The question sounds in the ear, and what is said into the microphone is understood or not."""
    recording = spoken(tmp_path / "boom.wav", snr_db, words)
    command = [sys.executable, "-m", "assistant", "devices", "--test", "11", "--input", "boom", "--output", "ear"]
    with private_pulse(speakers=("ear",), microphones=("boom",)) as pulse:
        ear = pulse.record("ear")
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None
            lines = iter(process.stdout.readline, "")
            assert any(line.startswith("Say, radio check.") for line in lines)
            boom = pulse.play("boom", recording)
            rest = "".join(lines)
        boom.kill()
        boom.wait()
        heard = ear.stop()
    assert status == process.returncode
    assert re.search(told, rest), rest
    assert np.count_nonzero(np.abs(heard.astype(np.int32)) > 500) > RATE_HZ // 4
    if words:
        measured = re.search(r"signal to noise (-?\d+) dB", rest)
        assert measured is not None
        assert abs(int(measured[1]) - snr_db) <= 3
