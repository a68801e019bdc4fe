"""Levels of phrases and of all that was heard: exact on made-up blocks, then through the shipped recogniser."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.hearing.blocks import BLOCK_S, RATE, Block
from assistant.hearing.level import FLOOR_S, LevelMeter, dbfs
from assistant.hearing.listener import Heard, Listener, ListenPhrase
from assistant.hearing.recogniser import SpeechModel
from protocol.headset import Sound, Verdict, verdict_of
from protocol.phrases import QUERY_PHRASES, every_phrase
from tests.books import shipped_book

CLIP = Path(__file__).parents[2] / "audio_fixtures" / "radio_check.flac"
SIZE = round(BLOCK_S * RATE)
LEAD_S = 6.0


def square(amplitude: int, start_s: float) -> Block:
    """A block whose root mean square is its amplitude."""
    return Block(np.where(np.arange(SIZE) % 2, amplitude, -amplitude).astype(np.int16), start_s)


def told(*parts: tuple[int, int]) -> LevelMeter:
    """Amplitudes, each for so many blocks, one after the other from zero."""
    meter, at_s = LevelMeter(), 0.0
    for amplitude, blocks in parts:
        for _ in range(blocks):
            meter.feed(square(amplitude, at_s))
            at_s += BLOCK_S
    return meter


def test_a_sine_at_full_scale_has_minus_three_decibels() -> None:
    """The root mean square of a full-scale sine is 3.01 dB under full scale (by definition)."""
    wave = 32767 * np.sin(2 * np.pi * 1000 * np.arange(RATE) / RATE)
    assert -3.0 == dbfs(float(np.sqrt(np.mean(wave**2))))


def test_a_phrase_and_the_quiet_before_it_are_measured_exactly() -> None:
    """Half of full scale is -6.02 dB; 1/100 is -40; the voice alone is the difference of the powers."""
    meter = told((328, 50), (16384, 10), (328, 10))
    sound = meter.phrase(50 * BLOCK_S, 60 * BLOCK_S)
    assert Sound(-6.0, -40.0, -6.0, 0.0) == sound
    assert sound.snr_db is not None
    assert sound.snr_db == pytest.approx(10 * np.log10(10**3.4 - 1))


def test_the_noise_in_the_phrase_is_taken_out() -> None:
    """Voice and noise of one power together are 3.01 dB over the noise: 0 dB signal to noise, not 3."""
    sound = told((1000, 50), (1414, 10)).phrase(50 * BLOCK_S, 60 * BLOCK_S)
    assert sound is not None
    assert sound.snr_db == pytest.approx(0.0, abs=0.1)


def test_a_louder_and_a_softer_half_are_one_power() -> None:
    """(3000² + 1000²) / 2 is 2236²."""
    sound = told((100, 50), (3000, 5), (1000, 5)).phrase(50 * BLOCK_S, 60 * BLOCK_S)
    assert sound is not None
    assert dbfs(2236.07) == sound.speech_dbfs
    assert dbfs(3000) == sound.peak_dbfs


def test_somebody_who_spoke_before_is_not_the_noise_floor() -> None:
    """Quiet in one of five seconds before is enough to find it."""
    sound = told((100, 17), (8000, 66), (4000, 10)).phrase(83 * BLOCK_S, 93 * BLOCK_S)
    assert sound is not None
    assert dbfs(100) == sound.floor_dbfs


def test_what_lies_further_back_does_not_count() -> None:
    """The noise of before five seconds is over."""
    sound = told((8000, 60), (100, round(FLOOR_S / BLOCK_S)), (4000, 10)).phrase(60 * BLOCK_S + FLOOR_S, 9.2)
    assert sound is not None
    assert dbfs(100) == sound.floor_dbfs


def test_without_quiet_before_the_floor_is_not_made_up() -> None:
    """Under half a second before the phrase: measured is the phrase alone."""
    sound = told((100, 8), (4000, 10)).phrase(8 * BLOCK_S, 18 * BLOCK_S)
    assert Sound(dbfs(4000), None, dbfs(4000), 0.0) == sound
    assert Verdict.UNMEASURED is verdict_of(sound)


def test_a_phrase_that_is_not_kept_any_more_is_not_measured() -> None:
    """Twelve seconds are kept."""
    assert told((100, 300)).phrase(1.0, 2.0) is None


def test_clipping_is_a_share_of_the_phrase() -> None:
    """Blocks at full scale: one in ten."""
    sound = told((100, 50), (32767, 1), (8000, 9)).phrase(50 * BLOCK_S, 60 * BLOCK_S)
    assert sound is not None
    assert (0.1, 0.0) == (sound.clipped_share, sound.peak_dbfs)


def test_all_that_was_heard_is_measured_where_nothing_says_what_was_speech() -> None:
    """The loudest tenth over the quietest fifteen of a hundred."""
    assert Sound(dbfs(8000), dbfs(100), dbfs(8000), 0.0) == told((100, 60), (8000, 40)).report()
    assert Sound(-120.0, None, -120.0, 0.0) == LevelMeter().report()


# ------------------------------------------------------------------------------------ through the shipped recogniser


@pytest.fixture(scope="module")
def model() -> SpeechModel:
    """The shipped model."""
    return SpeechModel()


def heard_at(model: SpeechModel, snr_db: float, gain_db: float) -> tuple[list[Heard], Sound | None]:
    """What is understood, and measured, when the clip is said at a signal to noise and louder or softer than usual."""
    clip, _rate = soundfile.read(CLIP)
    speech = np.concatenate([np.zeros(round(LEAD_S * RATE)), clip, np.zeros(RATE)])
    frames = clip[: len(clip) // 320 * 320].reshape(-1, 320)
    power = np.mean(frames**2, axis=1)
    rms = np.sqrt(np.mean(power[power > power.max() * 1e-3]))
    noise = np.random.default_rng(5).standard_normal(len(speech)) * rms * 10 ** (-snr_db / 20)
    wave = np.clip((speech + noise) * 10 ** (gain_db / 20), -1, 1)
    samples = (wave * 32767).astype(np.int16)
    ear, meter = Listener(model, known=every_phrase(shipped_book())), LevelMeter()
    ear.set_phrases([ListenPhrase(text) for text, _query in QUERY_PHRASES])
    heard, sound = [], None
    for start in range(0, len(samples) // SIZE * SIZE, SIZE):
        block = Block(samples[start : start + SIZE], start / RATE)
        meter.feed(block)
        for one in ear.feed(block):
            heard.append(one)
            sound = meter.phrase(one.start_s, one.end_s)
    return heard, sound


@pytest.mark.parametrize(
    ("snr_db", "gain_db", "verdict"),
    [
        (25.0, 0.0, Verdict.GOOD),
        (6.0, 0.0, Verdict.RAISE),
        (0.0, 0.0, Verdict.NOISY),
        (25.0, -32.0, Verdict.QUIET),
        (25.0, 18.0, Verdict.LOUD),
    ],
)
def test_a_spoken_radio_check_gets_its_verdict(
    model: SpeechModel, snr_db: float, gain_db: float, verdict: Verdict
) -> None:
    """The recogniser's own span of the phrase gives speech and floor; what was mixed is measured within two decibels."""
    heard, sound = heard_at(model, snr_db, gain_db)
    assert ["radio check"] == [one.text for one in heard]
    assert sound is not None
    assert verdict is verdict_of(sound)
    if verdict is not Verdict.LOUD:
        assert sound.snr_db == pytest.approx(snr_db, abs=2.0)
