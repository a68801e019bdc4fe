"""Voices for rendered recordings: registry voices by the name 'engine:voice'."""

from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from assistant.recipe import voices
from assistant.recipe.kokoro import symbol_ids

KOKORO_RATE: Final = 24_000
STYLES: Final = "npm/node_modules/kokoro-js/voices"


def speak(voice: str, text: str, folder: Path, speed: float = 1.0) -> NDArray[np.float64]:
    """A text in a voice, 16 kHz, silence trimmed, between -1 and 1.

    Args:
        voice: for example 'flite:rms' or 'kokoro:am_puck'.
        text: what to say.
        folder: where Kokoro's model and styles are.
        speed: 1 is the voice's own.
    """
    engine, _colon, name = voice.partition(":")
    if engine == "kokoro":
        return voices.trimmed(_kokoro(name, text, folder, speed), pad_s=0.02)
    return voices.trimmed(voices.speak(voice, text, speed).astype(np.float64) / 32768, pad_s=0.02)


def speech_rms(samples: NDArray[np.float64]) -> float:
    """RMS over the frames within 30 dB of the loudest: the speech-active level."""
    frames = samples[: len(samples) // 320 * 320].reshape(-1, 320)
    power = np.mean(frames**2, axis=1)
    return float(np.sqrt(np.mean(power[power > power.max() * 1e-3])))


def _kokoro(name: str, text: str, folder: Path, speed: float) -> NDArray[np.float64]:
    accent = "gb" if name.startswith("b") else "us"
    ids = symbol_ids(voices.symbols(text, accent))
    style = np.fromfile(folder / STYLES / f"{name}.bin", np.float32).reshape(-1, 1, 256)[len(ids)]
    tokens = np.array([[0, *ids, 0]], np.int64)
    session = _session(folder / "kokoro-int8.onnx")
    names = [entry.name for entry in session.get_inputs()]
    spoken = session.run(None, dict(zip(names, (tokens, style, np.array([speed], np.float32)), strict=True)))[0]
    from scipy.signal import resample_poly  # noqa: PLC0415  needed only to render

    return np.asarray(resample_poly(np.ravel(spoken), 2, 3), np.float64)


@cache
def _session(path: Path) -> Any:
    import onnxruntime  # noqa: PLC0415  needed only to render

    return onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
