"""The private sound server carries sound both ways through PortAudio."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.pulse import RATE_HZ, missing_programs, private_pulse


def test_the_programs_are_installed() -> None:
    """A private sound server needs its programs; the README's test command installs them."""
    assert [] == missing_programs()



def _tone(seconds: float, hz: float = 1000.0) -> np.ndarray:
    moments = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    return (8000 * np.sin(2 * np.pi * hz * moments)).astype(np.int16)


def _loud_s(samples: np.ndarray) -> float:
    return float(np.count_nonzero(np.abs(samples.astype(np.int32)) > 1000)) / RATE_HZ


def test_a_speaker_is_heard() -> None:
    """What PortAudio plays on a named speaker is recorded from it, at its level."""
    with private_pulse(speakers=("headset", "other")) as pulse:
        import sounddevice  # noqa: PLC0415  PortAudio looks at the devices when it is loaded

        recording, silence = pulse.record("headset"), pulse.record("other")
        sounddevice.play(_tone(0.5), RATE_HZ, device="headset", blocking=True)
        heard, other = recording.stop(), silence.stop()
    assert 0 == np.count_nonzero(other)
    assert _loud_s(_tone(0.4)) <= _loud_s(heard)
    assert pytest.approx(8000, rel=0.05) == int(np.abs(heard.astype(np.int32)).max())


def test_a_microphone_hears_a_recording(tmp_path: Path) -> None:
    """A file played into a microphone arrives through a PortAudio input stream."""
    soundfile.write(tmp_path / "tone.wav", _tone(1.0), RATE_HZ)
    with private_pulse(speakers=(), microphones=("boom",)) as pulse:
        import sounddevice  # noqa: PLC0415  PortAudio looks at the devices when it is loaded

        playing = pulse.play("boom", tmp_path / "tone.wav")
        heard = sounddevice.rec(2 * RATE_HZ, RATE_HZ, channels=1, dtype="int16", device="boom", blocking=True)
        playing.wait()
    assert 0.6 <= _loud_s(heard[:, 0])


def test_devices_come_and_go() -> None:
    """A speaker that was pulled out can be plugged in again, and the server can be restarted."""
    with private_pulse(speakers=("headset",)) as pulse:
        pulse.pull_out("headset")
        with pytest.raises(TimeoutError):
            pulse.record("headset", limit_ms=300)
        pulse.plug_in("headset")
        pulse.record("headset").stop()
        pulse.stop()
        pulse.start()
        pulse.record("headset").stop()
