"""Samples: decoding, trimming, and one loudness for everything that is spoken. All arrays are mono."""

import io
from typing import Final

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from assistant.errors import SpeechError

Samples = NDArray[np.int16]

RATE_HZ: Final = 16_000
FULL_SCALE: Final = 32_768.0
SPEECH_RMS_DBFS: Final = -20.0
PEAK_DBFS: Final = -1.0
FRAME: Final = RATE_HZ // 50
ACTIVE_BELOW_LOUDEST_DB: Final = 30.0
EDGE_BELOW_LOUDEST_DB: Final = 45.0
LEAD_S: Final = 0.01
TAIL_S: Final = 0.06
FADE_S: Final = 0.005


def decode(sound: bytes) -> Samples:
    """The bytes of a sound file as int16 at 16 kHz, channels averaged.

    Raises:
        SpeechError: they are no sound file, or one without samples.
    """
    try:
        data, rate_hz = soundfile.read(io.BytesIO(sound), dtype="float32", always_2d=True)
    except (soundfile.LibsndfileError, RuntimeError, TypeError) as error:
        raise SpeechError(f"The speech engine's sound cannot be read: {error}.") from error
    mono = data.mean(axis=1)
    if mono.size == 0 or not np.isfinite(mono).all():
        raise SpeechError("The speech engine gave a sound without samples.")
    return to_int16(resample(mono, rate_hz, RATE_HZ))


def resample(samples: NDArray[np.float32], from_hz: int, to_hz: int) -> NDArray[np.float32]:
    """Change the rate of float samples."""
    if from_hz == to_hz:
        return samples
    changed: NDArray[np.float32] = soxr.resample(samples, from_hz, to_hz)
    return changed


def to_int16(samples: NDArray[np.floating]) -> Samples:
    """Samples of full scale 1.0 as int16, held at full scale."""
    held: Samples = np.clip(np.rint(samples * FULL_SCALE), -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)
    return held


def frame_rms(samples: Samples) -> NDArray[np.float64]:
    """RMS of each whole 20 ms frame, full scale 1.0; one value for less than a frame."""
    scaled = samples.astype(np.float64) / FULL_SCALE
    count = max(1, scaled.size // FRAME)
    frames = np.resize(scaled, (count, min(FRAME, max(1, scaled.size))))
    return np.asarray(np.sqrt((frames**2).mean(axis=1)))


def speech_active_rms(samples: Samples) -> float:
    """RMS over the 20 ms frames within 30 dB of the loudest one, full scale 1.0; 0 for silence."""
    if samples.size == 0:
        return 0.0
    rms = frame_rms(samples)
    active = rms[rms >= rms.max() * 10 ** (-ACTIVE_BELOW_LOUDEST_DB / 20)]
    return float(np.sqrt((active**2).mean()))


def trimmed(samples: Samples) -> Samples:
    """Without the silence at both ends, bar 10 ms before and 60 ms after, and with 5 ms fades."""
    rms = frame_rms(samples)
    loud = np.flatnonzero(rms > rms.max() * 10 ** (-EDGE_BELOW_LOUDEST_DB / 20))
    if loud.size == 0:
        return samples[:0]
    start = max(0, int(loud[0]) * FRAME - int(LEAD_S * RATE_HZ))
    end = min(samples.size, (int(loud[-1]) + 1) * FRAME + int(TAIL_S * RATE_HZ))
    return faded(samples[start:end])


def faded(samples: Samples) -> Samples:
    """With 5 ms of fade at each end, so that nothing clicks."""
    return faded_out(faded_out(samples[::-1])[::-1])


def faded_out(samples: Samples) -> Samples:
    """With 5 ms of fade at the end."""
    length = min(int(FADE_S * RATE_HZ), samples.size)
    shape = np.ones(samples.size)
    shape[samples.size - length :] = np.linspace(1.0, 0.0, length, endpoint=False)
    return np.rint(samples * shape).astype(np.int16)


def normalised(samples: Samples, target_dbfs: float = SPEECH_RMS_DBFS) -> Samples:
    """At the one speech-active RMS of this program; peaks over -1 dBFS are rounded off, never clipped."""
    scaled = samples.astype(np.float64) / FULL_SCALE
    target = 10 ** (target_dbfs / 20)
    for _ in range(4):
        active = speech_active_rms(to_int16(scaled))
        if active == 0.0:
            return samples
        scaled = _rounded_off(scaled * (target / active))
    return to_int16(scaled)


def _rounded_off(scaled: NDArray[np.float64]) -> NDArray[np.float64]:
    """Leave what is under 70 % of the ceiling alone and bend the rest so that it nears but never passes it."""
    ceiling = 10 ** (PEAK_DBFS / 20)
    knee = 0.7 * ceiling
    over = np.abs(scaled) > knee
    bent = scaled.copy()
    bent[over] = np.sign(scaled[over]) * (
        knee + (ceiling - knee) * np.tanh((np.abs(scaled[over]) - knee) / (ceiling - knee))
    )
    return bent


def duration_ms(samples: Samples) -> int:
    """Length in whole milliseconds, rounded up."""
    return -(-samples.size * 1000 // RATE_HZ)
