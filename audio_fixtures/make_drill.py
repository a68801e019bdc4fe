"""Renders the shipped rehearsal: `python -m audio_fixtures.make_drill --voices DIR`.

The crew's lines come from drill_script.toml; `timing` finds when each is said. Result: drill.flac and drill.json
(what is said when, by whom).
"""

import argparse
import json
import tomllib
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile

from assistant.hearing.blocks import Samples
from audio_fixtures.cast import speak, speech_rms
from audio_fixtures.sounds import RATE, fan
from audio_fixtures.sounds import Samples as Floats
from audio_fixtures.timing import Line, Take, Timed, perform

HERE: Final = Path(__file__).parent
SNR_DB: Final = 10.0
SPEECH_RMS: Final = 0.10
LEAD_OUT_S: Final = 9.0
LONGEST_S: Final = 2400
STEP: Final = 256
"""Samples are rounded to 8 bits: the rounding lies 14 dB or more under the fan, and the file is a third as large."""


def main() -> None:
    """Render the drill."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--voices", type=Path, required=True, help="folder with the rebuilt registry voices")
    parser.add_argument("--model", type=Path, help="speech model (default: the shipped one)")
    parser.add_argument("--seed", type=int, default=9)
    options = parser.parse_args()
    script = tomllib.loads((HERE / "drill_script.toml").read_text(encoding="utf-8"))
    noise = fan(LONGEST_S, options.seed) * SPEECH_RMS / 10 ** (SNR_DB / 20)
    take = Take(coarse(noise), options.model)
    timed = perform(take, list(lines_of(script)), lambda line, speed: render(line, speed, script, options.voices))
    take.linger(LEAD_OUT_S)
    take.close()
    write(take.sound, timed, script)


def lines_of(script: dict[str, Any]) -> Iterator[Line]:
    """The lines in order."""
    for block in script["line"]:
        for text in block["say"]:
            yield Line(block["by"], text)


def render(line: Line, speed: float, script: dict[str, Any], folder: Path) -> Samples:
    """One line as 16 kHz samples at the speech level."""
    raw = speak(script["voices"][line.by], line.text, folder, speed)
    return coarse(raw / speech_rms(raw) * SPEECH_RMS)


def coarse(samples: Floats) -> Samples:
    """int16, rounded to 8 bits."""
    return (np.clip(np.round(samples * 32768 / STEP), -128, 127) * STEP).astype(np.int16)


def write(audio: Samples, timed: list[Timed], script: dict[str, Any]) -> None:
    """drill.flac and drill.json."""
    soundfile.write(HERE / "drill.flac", audio, RATE, subtype="PCM_16", compression_level=1.0)
    manifest = {
        "title": script["title"],
        "voices": script["voices"],
        "snr_db": SNR_DB,
        "noise": "synthesised axial fan",
        "audio_s": round(len(audio) / RATE, 2),
        "lines": [asdict(moment) for moment in timed],
    }
    (HERE / "drill.json").write_text(json.dumps(manifest, indent=1) + "\n", encoding="utf-8")
    again = len(timed) - len({moment.phrase for moment in timed})
    print(f"{len(audio) / RATE:.0f} s, {len(timed)} lines, {again} said again")


if __name__ == "__main__":
    main()
