"""Renders the shipped rehearsal: `python -m audio_fixtures.make_drill --voices DIR`.

The crew's lines come from drill_script.toml. When each is said depends on the program: the drill is run once with typed
words, each line waiting until the station has finished speaking, and the moments found that way are where the rendered
lines are laid over fan noise. Result: drill.flac and drill.json (what is said when, by whom).
"""

import argparse
import json
import tomllib
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile
from numpy.typing import NDArray

from audio_fixtures.cast import speak
from audio_fixtures.sounds import RATE, fan
from audio_fixtures.timing import Line, Timed, time_lines

HERE: Final = Path(__file__).parent
SNR_DB: Final = 10.0
SPEECH_RMS: Final = 0.10
LEAD_OUT_S: Final = 6.0
BITS: Final = 8
"""Samples are rounded to 8 bits: the rounding lies 14 dB or more under the fan noise, and the file is a third as large."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """One rendered line."""

    line: Line
    samples: NDArray[np.float64]


def main() -> None:
    """Render the drill."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--voices", type=Path, required=True, help="folder with the rebuilt registry voices")
    parser.add_argument("--seed", type=int, default=9)
    options = parser.parse_args()
    script = tomllib.loads((HERE / "drill_script.toml").read_text(encoding="utf-8"))
    spoken = []
    for line in lines_of(script):
        spoken.append(Spoken(line, render(line, script["voices"], options.voices)))
        print(f"{len(spoken):3d} {line.by:8s} {line.text}", flush=True)
    timed = time_lines([(one.line, len(one.samples) / RATE) for one in spoken])
    write(mix(spoken, timed, options.seed), timed, script)


def lines_of(script: dict[str, Any]) -> Iterator[Line]:
    """The lines in order."""
    for block in script["line"]:
        for text in block["say"]:
            yield Line(block["by"], text)


def render(line: Line, cast: dict[str, str], folder: Path) -> NDArray[np.float64]:
    """One line as 16 kHz samples at the speech level."""
    raw = speak(cast[line.by], line.text, folder)
    return raw / speech_rms(raw) * SPEECH_RMS


def speech_rms(samples: NDArray[np.float64]) -> float:
    """RMS over the frames within 30 dB of the loudest: the speech-active level."""
    frames = samples[: len(samples) // 320 * 320].reshape(-1, 320)
    power = np.mean(frames**2, axis=1)
    return float(np.sqrt(np.mean(power[power > power.max() * 1e-3])))


def mix(spoken: list[Spoken], timed: list[Timed], seed: int) -> NDArray[np.float64]:
    """All lines at their moments over fan noise."""
    length = int((timed[-1].end_s + LEAD_OUT_S) * RATE)
    audio = fan(length / RATE, seed)[:length] * SPEECH_RMS / 10 ** (SNR_DB / 20)
    for one, moment in zip(spoken, timed, strict=True):
        start = int(moment.start_s * RATE)
        audio[start : start + len(one.samples)] += one.samples
    return audio


def write(audio: NDArray[np.float64], timed: list[Timed], script: dict[str, Any]) -> None:
    """drill.flac and drill.json."""
    step = 2 ** (16 - BITS)
    rounded = (np.clip(np.round(audio * 32768 / step), -(2 ** (BITS - 1)), 2 ** (BITS - 1) - 1) * step).astype(np.int16)
    soundfile.write(HERE / "drill.flac", rounded, RATE, subtype="PCM_16", compression_level=1.0)
    manifest = {
        "title": script["title"],
        "voices": script["voices"],
        "snr_db": SNR_DB,
        "noise": "synthesised axial fan",
        "audio_s": round(len(rounded) / RATE, 2),
        "lines": [asdict(moment) for moment in timed],
    }
    (HERE / "drill.json").write_text(json.dumps(manifest, indent=1) + "\n", encoding="utf-8")
    print(f"{len(rounded) / RATE:.0f} s, {len(timed)} lines, {(HERE / 'drill.flac').stat().st_size} bytes")


if __name__ == "__main__":
    main()
