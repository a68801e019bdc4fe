"""Levels and the verdict before a run."""

import numpy as np
import pytest

from assistant.hearing.blocks import RATE, Block
from assistant.hearing.level import LevelMeter, LevelReport, Verdict, dbfs


def measured(speech_dbfs: float, noise_dbfs: float, gain: float = 1.0) -> LevelReport:
    """Ten seconds of noise with a burst of a second in every three."""
    chance = np.random.default_rng(4)
    meter = LevelMeter()
    for number in range(166):
        level = speech_dbfs if number // 16 % 3 == 0 else noise_dbfs
        wave = chance.standard_normal(960) * 32768 * 10 ** (level / 20) * gain
        meter.feed(Block(np.clip(wave, -32768, 32767).astype(np.int16), number * 0.06))
    return meter.report()


def test_a_sine_at_full_scale_has_minus_three_decibels() -> None:
    """The root mean square of a full-scale sine is 3.01 dB under full scale (by definition)."""
    wave = 32767 * np.sin(2 * np.pi * 1000 * np.arange(RATE) / RATE)
    assert pytest.approx(-3.01, abs=0.01) == dbfs(float(np.sqrt(np.mean(wave**2))))


@pytest.mark.parametrize(
    ("speech", "noise", "verdict"),
    [
        (-20, -45, Verdict.GOOD),
        (-20, -26, Verdict.RAISE),
        (-20, -21, Verdict.NOISY),
        (-55, -80, Verdict.QUIET),
        (0, -40, Verdict.CLIPPING),
    ],
)
def test_the_verdict_is_plain(speech: float, noise: float, verdict: Verdict) -> None:
    """Good, raise the boom, too noisy, too quiet, too loud."""
    assert verdict is measured(speech, noise).verdict


def test_signal_to_noise_is_measured() -> None:
    """Bursts of noise 20 dB over the floor are read as 20 dB, within a decibel."""
    assert pytest.approx(20, abs=1) == measured(-20, -40).snr_db


def test_nothing_is_silence() -> None:
    """Without a block there is no level to boast of."""
    assert Verdict.QUIET is LevelMeter().report().verdict
