"""Recordings of every usual kind are read; anything else is named in one sentence."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.errors import AudioError
from assistant.hearing.blocks import RATE
from assistant.hearing.files import FileSource

SECONDS = 1.0
TONE_HZ = 440.0


def tone(rate: int, channels: int = 1) -> np.ndarray:
    """A second of 440 Hz at a quarter of full scale, float64 in [-1, 1], shape (rate, channels)."""
    wave = 0.25 * np.sin(2 * np.pi * TONE_HZ * np.arange(int(SECONDS * rate)) / rate)
    return np.repeat(wave[:, None], channels, axis=1)


def sound_of(path: Path) -> np.ndarray:
    """All samples of a recording as the program hears them."""
    source = FileSource(path)
    blocks = list(source.blocks())
    source.close()
    starts = [block.start_s for block in blocks]
    assert starts == sorted(starts)
    return np.concatenate([block.samples for block in blocks])


@pytest.mark.parametrize("rate", [8000, 11025, 16000, 22050, 44100, 48000, 96000, 192000])
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_any_rate_and_channel_count_becomes_16_khz_mono(tmp_path: Path, rate: int, channels: int) -> None:
    """The tone keeps its frequency, level and length, checked with numpy's FFT as the independent reference."""
    path = tmp_path / "tone.wav"
    soundfile.write(path, tone(rate, channels), rate, subtype="PCM_16")
    heard = sound_of(path)
    assert pytest.approx(SECONDS * RATE, abs=0.01 * RATE) == len(heard)
    middle = heard[2000:-2000].astype(float)
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle))))
    assert pytest.approx(TONE_HZ, abs=3) == float(np.argmax(spectrum)) * RATE / len(middle)
    assert pytest.approx(0.25 * 32768 / np.sqrt(2), rel=0.02) == float(np.sqrt(np.mean(middle**2)))


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE", "ULAW"])
def test_any_sample_width_is_read(tmp_path: Path, subtype: str) -> None:
    """Eight bits to floating point: the level is the same within the width's own rounding."""
    path = tmp_path / "tone.wav"
    soundfile.write(path, tone(16000), 16000, subtype=subtype)
    assert pytest.approx(0.25 * 32768 / np.sqrt(2), rel=0.03) == float(
        np.sqrt(np.mean(sound_of(path).astype(float) ** 2))
    )


def test_flac_is_read(tmp_path: Path) -> None:
    """FLAC as well as WAV."""
    path = tmp_path / "tone.flac"
    soundfile.write(path, tone(44100, 2), 44100)
    assert pytest.approx(SECONDS * RATE, abs=200) == len(sound_of(path))


def test_too_loud_is_held_at_full_scale(tmp_path: Path) -> None:
    """Floating point above full scale is clipped, not wrapped."""
    path = tmp_path / "loud.wav"
    soundfile.write(path, 8 * tone(16000), 16000, subtype="FLOAT")
    heard = sound_of(path)
    assert (32767, -32768) == (heard.max(), heard.min())


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("empty.wav", b"", "is not a recording"),
        ("text.wav", b"this is a letter, not a sound\n" * 50, "is not a recording"),
        ("none.wav", None, "there is no such file"),
        ("head.wav", b"RIFF\x24\x00\x00\x00WAVEfmt ", "is not a recording"),
    ],
)
def test_what_is_no_recording_is_named(tmp_path: Path, name: str, content: bytes | None, words: str) -> None:
    """One clear sentence with what to do."""
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(AudioError, match=words):
        FileSource(path)


def test_a_folder_is_no_recording(tmp_path: Path) -> None:
    """A folder is named as one."""
    with pytest.raises(AudioError, match="is a folder"):
        FileSource(tmp_path)


def test_other_formats_are_refused_by_name(tmp_path: Path) -> None:
    """Only WAV and FLAC are taken; the sentence says what it is and what to do."""
    path = tmp_path / "tone.ogg"
    soundfile.write(path, tone(16000), 16000, format="OGG", subtype="VORBIS")
    with pytest.raises(AudioError, match=r"is OGG\. Convert it to WAV or FLAC"):
        FileSource(path)


def test_a_wav_without_sound_is_refused(tmp_path: Path) -> None:
    """A whole header with nothing behind it."""
    path = tmp_path / "silent.wav"
    soundfile.write(path, np.zeros((0, 1)), 16000)
    with pytest.raises(AudioError, match="holds no sound"):
        FileSource(path)


def test_a_cut_wav_is_refused(tmp_path: Path) -> None:
    """A file whose header promises more than it holds was not copied whole."""
    path = tmp_path / "cut.wav"
    soundfile.write(path, tone(16000), 16000)
    path.write_bytes(path.read_bytes()[:9000])
    with pytest.raises(AudioError, match="cut short"):
        FileSource(path)


def test_a_broken_flac_says_where_to_go(tmp_path: Path) -> None:
    """A FLAC that breaks off in the middle is an error, not silence."""
    path = tmp_path / "broken.flac"
    soundfile.write(path, np.random.default_rng(1).uniform(-0.5, 0.5, (80000, 1)), 16000)
    data = bytearray(path.read_bytes())
    data[len(data) // 2 :] = bytes(len(data) - len(data) // 2)
    path.write_bytes(data)
    with pytest.raises(AudioError, match="breaks off"):
        sound_of(path)


@pytest.mark.parametrize("rate", [100, 1_000_000])
def test_absurd_rates_are_refused(tmp_path: Path, rate: int) -> None:
    """Below 4 and above 384 thousand samples a second is no speech recording."""
    path = tmp_path / "odd.wav"
    soundfile.write(path, np.zeros((1000, 1)), rate)
    with pytest.raises(AudioError, match="samples a second"):
        FileSource(path)
