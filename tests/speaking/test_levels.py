"""Everything spoken has one loudness, no clipping and no silence at its ends."""

import io

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import SpeechError
from assistant.speaking import levels
from assistant.speaking.levels import FULL_SCALE, RATE_HZ, Samples


def noise(seconds: float, rms: float, seed: int = 1) -> Samples:
    """White noise of a known RMS, full scale 1.0."""
    draws = np.random.default_rng(seed).normal(0, rms, int(seconds * RATE_HZ))
    return levels.to_int16(draws)


def dbfs(value: float) -> float:
    """Decibels under full scale."""
    return float(20 * np.log10(value))


def test_active_rms_ignores_pauses() -> None:
    """A second of noise at -26 dBFS keeps that level when ten seconds of silence are added."""
    spoken = noise(1.0, 10 ** (-26 / 20))
    padded = np.concatenate([spoken, np.zeros(10 * RATE_HZ, np.int16)])
    assert pytest.approx(-26.0, abs=0.2) == dbfs(levels.speech_active_rms(padded))


@settings(deadline=None)
@given(st.floats(-50, -6), st.integers(0, 5))
def test_every_level_comes_to_the_same(from_dbfs: float, seed: int) -> None:
    """From whisper to clipping, the result is within 0.5 dB of -20 dBFS and under -1 dBFS peak."""
    result = levels.normalised(noise(0.5, 10 ** (from_dbfs / 20), seed))
    assert pytest.approx(-20.0, abs=0.5) == dbfs(levels.speech_active_rms(result))
    assert dbfs(np.abs(result.astype(int)).max() / FULL_SCALE) <= -0.99


def test_peaks_are_rounded_off_not_clipped() -> None:
    """A sound with rare high peaks stays under the ceiling without flat tops."""
    spiky = noise(1.0, 0.01)
    spiky[::800] = 30_000
    result = levels.normalised(spiky)
    assert dbfs(np.abs(result.astype(int)).max() / FULL_SCALE) <= -0.99


def test_silence_stays_silence() -> None:
    """Nothing is not amplified, and trims to nothing."""
    silence = np.zeros(RATE_HZ, np.int16)
    assert 0 == np.abs(levels.normalised(silence)).max()
    assert 0 == levels.trimmed(silence).size


def test_trimming_keeps_the_speech() -> None:
    """Half a second between silences comes out as half a second and at most 0.12 s of edges, fading to zero."""
    spoken = noise(0.5, 0.1)
    gap = np.zeros(RATE_HZ // 2, np.int16)
    result = levels.trimmed(np.concatenate([gap, spoken, gap]))
    assert 0.5 * RATE_HZ <= result.size <= 0.62 * RATE_HZ
    assert 0 == result[0]
    assert abs(int(result[-1])) < 100


@pytest.mark.parametrize(("rate_hz", "channels"), [(8_000, 1), (16_000, 2), (22_050, 1), (44_100, 2)])
def test_any_rate_and_channels_decode(rate_hz: int, channels: int) -> None:
    """A 440 Hz tone stays one second of 440 Hz."""
    tone = 0.5 * np.sin(2 * np.pi * 440 * np.arange(rate_hz) / rate_hz)
    held = io.BytesIO()
    soundfile.write(held, np.repeat(tone[:, np.newaxis], channels, axis=1), rate_hz, format="WAV")
    samples = levels.decode(held.getvalue())
    spectrum = np.abs(np.fft.rfft(samples.astype(float)))
    assert pytest.approx(RATE_HZ, abs=2) == samples.size
    assert pytest.approx(440, abs=1) == spectrum.argmax() * RATE_HZ / samples.size


@given(st.binary(max_size=200))
def test_rubbish_is_a_speech_error(sound: bytes) -> None:
    """Bytes that are no sound file give the coded error and nothing else."""
    with pytest.raises(SpeechError):
        levels.decode(sound)


def test_a_sound_without_samples_is_a_speech_error() -> None:
    """A valid header with no samples is refused; pyttsx3 is known to write such files."""
    held = io.BytesIO()
    soundfile.write(held, np.zeros((0, 1)), 22_050, format="WAV")
    with pytest.raises(SpeechError, match="without samples"):
        levels.decode(held.getvalue())
