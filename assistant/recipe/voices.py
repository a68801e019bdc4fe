"""Synthetic voices from registry packages, each as a function text -> 16 kHz mono int16 samples.

Kokoro (Apache-2.0), hibari (Apache-2.0), pico (Apache-2.0), flite and festival (BSD-like), espeak-ng (GPL-3 program; its
output carries no licence). `VOICES` folder: kokoro-int8.onnx and Kokoro's style files, as laid by that folder's set-up.

Voices in NEVER_TRAIN are the unseen voices of every reported figure; TUNING ones are for decisions made while building.
"""

from __future__ import annotations

import functools
import re
import subprocess
import tempfile
from math import gcd
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

RATE: Final = 16_000
NEVER_TRAIN: Final = frozenset(
    "kokoro:af_nova kokoro:am_liam kokoro:am_puck kokoro:bf_isabella kokoro:bm_lewis piper:joe pico:en-GB flite:rms".split()
)
TUNING: Final = ("kokoro:af_river", "kokoro:bm_daniel")
ESPEAK_ACCENTS: Final = tuple(
    "en-gb-scotland en-029 en-us-nyc en-gb-x-rp en-gb-x-gbclan en-gb-x-gbcwmd".split()
)
_UNNATURAL: Final = frozenset("whisper whisperf croak zac travis robosoft".split())
_TO_KOKORO: Final = (
    ("a^ɪ", "I"), ("a^ʊ", "W"), ("d^ʒ", "ʤ"), ("e^ɪ", "A"), ("t^ʃ", "ʧ"), ("ɔ^ɪ", "Y"), ("o^ʊ", "O"),
    ("ə^ʊ", "Q"), ("ə^l", "ᵊl"), ("ʲo", "jo"), ("ʲə", "jə"), ("ʲ", ""), ("ɚ", "əɹ"), ("r", "ɹ"), ("x", "k"),
    ("ç", "k"), ("ɬ", "l"), ("ʌ^ʉ", "W"), ("ʉ", "u"), ("ɵ", "o"), ("ɫ", "l"), ("ʍ", "w"), ("\u0303", ""),
    ("\u0329", ""), ("^", ""), ("\u200d", ""), ("-", ""),
)  # fmt: skip


def _run(command: list[str], text: str | None = None) -> bytes:
    data = None if text is None else text.encode()
    return subprocess.run(command, input=data, capture_output=True, check=True).stdout


def _wave(data: bytes) -> tuple[NDArray[np.float64], int]:
    """(samples, rate) of a 16-bit wave file whose size fields may be wrong, as when it came through a pipe."""
    head, body = data.find(b"fmt "), data.find(b"data")
    rate = int.from_bytes(data[head + 12 : head + 16], "little")
    end = body + 8 + (len(data) - body - 8) // 2 * 2
    return np.frombuffer(data[body + 8 : end], "<i2").astype(np.float64) / 32768, rate


def _resampled(samples: NDArray[np.float64], rate: int) -> NDArray[np.float64]:
    from scipy.signal import resample_poly

    if rate == RATE or not len(samples):
        return samples
    common = gcd(rate, RATE)
    out: NDArray[np.float64] = resample_poly(samples, RATE // common, rate // common)
    return out


def trimmed(samples: NDArray[np.float64], pad_s: float = 0.08, floor_db: float = -42) -> NDArray[np.float64]:
    """Without the silence at both ends, keeping `pad_s` seconds of it; silence is judged against the loudest 20 ms."""
    step = RATE // 50
    if len(samples) < 2 * step:
        return samples
    level = np.sqrt(np.mean(samples[: len(samples) // step * step].reshape(-1, step) ** 2, axis=1))
    loud = np.flatnonzero(level > level.max() * 10 ** (floor_db / 20))
    if not len(loud):
        return samples
    pad = int(pad_s * RATE)
    return samples[max(0, loud[0] * step - pad) : (loud[-1] + 1) * step + pad]


def _finished(samples: NDArray[np.float64], rate: int, shift: float) -> NDArray[np.int16]:
    """To 16 kHz int16, trimmed; `shift` raises pitch and formants by that factor."""
    nominal = round(rate * shift / 50) * 50 if abs(shift - 1) > 1e-3 else rate
    out = trimmed(_resampled(samples.astype(np.float64).ravel(), nominal))
    peak = np.abs(out).max() if len(out) else 0.0
    return (out * (0.99 / peak if peak > 0.99 else 1.0) * 32767).astype(np.int16)


@functools.cache
def _hibari() -> Any:
    from hibari import Hibari

    return Hibari(threads=1)


@functools.cache
def _misaki(*, british: bool) -> Any:
    from hibari.g2p import G2P

    return G2P(british=british)


@functools.cache
def _pico(voice: str) -> Any:
    import ttspico

    return ttspico.TtsEngine(voice)


def symbols(text: str, accent: str) -> str:
    """Kokoro's phoneme symbols for `text`: accent 'us' or 'gb' by lexicon, else the name of an espeak-ng voice."""
    ended = text if text[-1] in ".?!," else text + "."
    if accent in ("us", "gb"):
        return str(_misaki(british=accent == "gb")(ended))
    spoken = _run(["espeak-ng", "-q", "--ipa", "--tie=^", "-v", accent, text]).decode()
    spoken = re.sub(r"\s+", " ", re.sub(r"\([a-z-]+\)", "", spoken)).strip()
    for old, new in _TO_KOKORO:
        spoken = spoken.replace(old, new)
    if accent.startswith("en-us"):
        for old, new in (("ɜːɹ", "ɜɹ"), ("ɜː", "ɜɹ"), ("ɪə", "iə"), ("ː", ""), ("o", "ɔ"), ("ɐ", "ə")):
            spoken = spoken.replace(old, new)
    return spoken + "."


def hibari(voice: str, text: str, speed: float, semitones: float) -> NDArray[np.int16]:
    """The one distilled voice ('heart'); pitch moves with formants."""
    del voice
    shift = 2 ** (semitones / 12)
    spoken = _hibari().from_phonemes(symbols(text, "us"), speed=speed / shift, seed=None)
    return _finished(np.asarray(spoken), 24_000, shift)


def pico(voice: str, text: str, speed: float, semitones: float) -> NDArray[np.int16]:
    """Voice 'en-US' (or 'en-GB', never for training); its own pitch control leaves formants alone."""
    engine = _pico(voice)
    engine.rate = int(np.clip(round(100 * speed), 20, 500))
    engine.pitch = int(np.clip(round(100 * 2 ** (semitones / 12)), 50, 200))
    return _finished(np.frombuffer(engine.speak(text), "<i2").astype(np.float64) / 32768, RATE, 1.0)


def flite(voice: str, text: str, speed: float, semitones: float) -> NDArray[np.int16]:
    """Voices slt, awb, kal16, kal."""
    shift = 2 ** (semitones / 12)
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "out.wav"
        stretch = f"duration_stretch={shift / speed:.4f}"
        _run(["flite", "-voice", voice, "--setf", stretch, "-t", text, "-o", str(target)])
        samples, rate = _wave(target.read_bytes())
    return _finished(samples, rate, shift)


def festival(voice: str, text: str, speed: float, semitones: float) -> NDArray[np.int16]:
    """Voice ked_diphone."""
    shift = 2 ** (semitones / 12)
    stretch = f"(Parameter.set 'Duration_Stretch {shift / speed:.4f})"
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "out.wav"
        _run(["text2wave", "-eval", f"(voice_{voice})", "-eval", stretch, "-o", str(target)], text)
        samples, rate = _wave(target.read_bytes())
    return _finished(samples, rate, shift)


def espeak(voice: str, text: str, speed: float, semitones: float) -> NDArray[np.int16]:
    """Any espeak-ng voice such as en-us+f3; about nine semitones of pitch each way."""
    pitch = int(np.clip(round(50 + 50 * semitones / 9), 0, 99))
    rate = int(np.clip(round(165 * speed), 80, 450))
    samples, wave_rate = _wave(_run(["espeak-ng", "-v", voice, "-s", str(rate), "-p", str(pitch), "--stdout", text]))
    return _finished(samples, wave_rate, 1.0)


@functools.cache
def espeak_variants() -> tuple[str, ...]:
    """Timbres of espeak-ng that still sound like a person."""
    lines = _run(["espeak-ng", "--voices=variant"]).decode().splitlines()[1:]
    names = [line.split("!v/")[1].split()[0] for line in lines if "!v/" in line]
    return tuple(name for name in names if name.lower() not in _UNNATURAL)


ENGINES: Final = {"hibari": hibari, "pico": pico, "flite": flite, "festival": festival, "espeak": espeak}


def speak(voice: str, text: str, speed: float = 1.0, semitones: float = 0.0) -> NDArray[np.int16]:
    """Speak with 'engine:voice', for example 'flite:slt'."""
    engine, _, name = voice.partition(":")
    return ENGINES[engine](name, text, speed, semitones)
