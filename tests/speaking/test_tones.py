"""The four sounds keep to the published rows: MIL-STD-1472E 5.3.3 and 5.3.4.3 as read in public copies."""

import numpy as np
import pytest

from assistant.speaking import levels, tones
from assistant.speaking.levels import RATE_HZ
from assistant.speaking.tones import NOTES, Tone


def test_there_are_at_most_four() -> None:
    """Not more than four signals are told apart by ear alone (MIL-STD-1472E 5.3.4.3)."""
    assert set(Tone) == set(NOTES)
    assert len(Tone) <= 4


@pytest.mark.parametrize("which", Tone)
def test_energy_lies_between_500_and_3000_hz(which: Tone) -> None:
    """98 % of the energy is in the preferred band (MIL-STD-1472E 5.3.3.1.1)."""
    samples = tones.tone(which).astype(float)
    power = np.abs(np.fft.rfft(samples)) ** 2
    hertz = np.fft.rfftfreq(samples.size, 1 / RATE_HZ)
    inside = power[(hertz >= tones.LOWEST_HZ) & (hertz <= tones.HIGHEST_HZ)].sum() / power.sum()
    assert inside >= 0.98


def test_the_alarm_is_long_enough_and_ticks_are_short() -> None:
    """A warning lasts at least 0.5 s (MIL-STD-1472E 5.3.6.5); ticks delay their text by at most 0.15 s."""
    lengths = {which: levels.duration_ms(tones.tone(which)) for which in Tone}
    assert lengths.pop(Tone.ALARM) >= tones.ALARM_AT_LEAST_MS
    assert max(lengths.values()) <= tones.TICK_AT_MOST_MS


def test_no_two_sound_alike() -> None:
    """The strongest frequency in each 20 ms of the first 160 ms gives a different row for each of them."""
    shapes = {}
    for which in Tone:
        samples = tones.tone(which).astype(float)
        frames = np.pad(samples, (0, -samples.size % 320)).reshape(-1, 320)
        peaks = np.abs(np.fft.rfft(frames, axis=1)).argmax(axis=1) * 50
        shapes[which] = tuple(peaks[:8].tolist())
    assert len(Tone) == len(set(shapes.values()))


@pytest.mark.parametrize("which", Tone)
def test_tones_are_as_loud_as_speech(which: Tone) -> None:
    """Within 1 dB of the speech level and without a click at either end."""
    samples = tones.tone(which)
    assert pytest.approx(-20.0, abs=1.0) == 20 * np.log10(levels.speech_active_rms(samples))
    assert max(abs(int(samples[0])), abs(int(samples[-1]))) < 200


def test_no_tone_stands_before_a_spoken_alarm() -> None:
    """An alarm's words come first (Simpson and Williams 1980: a tone before a spoken warning slows the response)."""
    speech = np.full(RATE_HZ, 1000, np.int16)
    alarm = tones.with_tone(speech, Tone.ALARM)
    assert np.array_equal(speech, alarm[: speech.size])
    assert alarm.size > speech.size


def test_a_tick_comes_before_its_text_and_a_text_can_stand_alone() -> None:
    """Ticks lead; no tone changes nothing; a tone without text is the tone."""
    speech = np.full(RATE_HZ, 1000, np.int16)
    ticked = tones.with_tone(speech, Tone.ACCEPTED)
    assert np.array_equal(speech, ticked[-speech.size :])
    assert np.array_equal(speech, tones.with_tone(speech, None))
    assert np.array_equal(tones.tone(Tone.REFUSED), tones.with_tone(speech[:0], Tone.REFUSED))
