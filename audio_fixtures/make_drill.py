"""Renders the shipped rehearsal and the scenarios: `python -m audio_fixtures.make_drill --voices DIR`.

Every recording is made from a script (drill_script.toml, scenarios/NAME.toml): the lines are spoken by voices that the
speech model never heard, over a fan 10 dB under them, and `timing` finds when each is said. Result: a FLAC and a JSON
that says what is said when, by whom. What is up to date is left alone; `--only NAME` picks some, `--again` makes them
anew. A recording that fails is told at the end and leaves the old one as it was.
"""

import argparse
import hashlib
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile

from assistant.drill.noise import noise_loop
from assistant.drill.scenarios import load_scenario
from assistant.hearing.blocks import Samples
from assistant.hearing.recogniser import shipped_model
from assistant.library import load_book
from audio_fixtures.cast import speak, speech_rms
from audio_fixtures.scripts import Line, Recording, Script, read_script, recordings
from audio_fixtures.sounds import RATE, fan
from audio_fixtures.sounds import Samples as Floats
from audio_fixtures.timing import Performance, Take, Timed

HERE: Final = Path(__file__).parent
SNR_DB: Final = 10.0
SPEECH_RMS: Final = 0.10
LEAD_OUT_S: Final = 9.0
LEAD_OUT_SCENARIO_S: Final = 4.0
LONGEST_S: Final = 2400
STEP: Final = 256
"""Samples are rounded to 8 bits: the rounding lies 14 dB or more under the fan, and the file is a third as large."""


def main() -> int:
    """Render what is not up to date."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--voices", type=Path, required=True, help="folder with the rebuilt registry voices")
    parser.add_argument("--model", type=Path, help="speech model (default: the shipped one)")
    parser.add_argument("--only", action="append", metavar="NAME", help="only this one; may be given again")
    parser.add_argument("--again", action="store_true", help="also what is up to date")
    parser.add_argument("--seed", type=int, default=9)
    options = parser.parse_args()
    every = list(recordings())
    unknown = set(options.only or ()) - {one.name for one in every}
    if unknown:
        parser.error(f"no recording is called {min(unknown)}: there are {', '.join(one.name for one in every)}")
    failed = [one.name for one in every if one.name in (options.only or [one.name]) and not _make(one, options)]
    if failed:
        print(f"NOT made: {', '.join(failed)}", file=sys.stderr)
    return 1 if failed else 0


def _make(one: Recording, options: argparse.Namespace) -> bool:
    """Make one recording; whether it is there and up to date."""
    made_from = digest(one, options.model, options.seed)
    if not options.again and _known_digest(one) == made_from:
        print(f"{one.name}: up to date", flush=True)
        return True
    print(f"{one.name}: being made", flush=True)
    script = read_script(one.script)
    noise = noise_for(one, options.seed)
    take = Take(noise, options.model, script)
    try:
        timed = Performance(take, lambda line, speed: render(line, speed, script, options.voices)).of(script)
        take.linger(LEAD_OUT_SCENARIO_S if script.scenario else LEAD_OUT_S)
    except ValueError as error:
        print(f"{one.name}: {error}", file=sys.stderr)
        return False
    finally:
        take.close()
    if not take.closed:
        print(f"{one.name}: the script ended before the drill did", file=sys.stderr)
        return False
    sound = take.speech if one.scenario else take.sound
    write(one, sound, timed, script, {"noise": noise_words(one, options.seed), "made_from": made_from})
    return True


def digest(one: Recording, model: Path | None, seed: int) -> str:
    """What a recording is made from: script, scenario, procedure, listening, speech model, seed."""
    script = read_script(one.script)
    book = load_scenario(script.scenario).book if script.scenario else load_book()
    sources = [one.script, *sorted((HERE.parent / "assistant" / "hearing").glob("*.py"))]
    sources += sorted(path for path in (model or shipped_model()).rglob("*") if path.is_file() and path.suffix != ".md")
    if script.scenario:
        sources.append(HERE.parent / "assistant" / "scenarios" / f"{script.scenario}.toml")
    found = hashlib.sha256(f"{book.digest} {seed}".encode())
    for path in sources:
        found.update(path.read_bytes())
    return found.hexdigest()


def noise_for(one: Recording, seed: int) -> Samples:
    """What stands behind the speech."""
    if one.scenario:
        return noise_loop("fan", SNR_DB, seed)
    return coarse(fan(LONGEST_S, seed) * SPEECH_RMS / 10 ** (SNR_DB / 20))


def noise_words(one: Recording, seed: int) -> str | dict[str, str | float]:
    """The noise as the manifest tells it."""
    if one.scenario:
        return {"kind": "fan", "below_voice_db": SNR_DB, "seed": seed}
    return "synthesised axial fan"


def _known_digest(one: Recording) -> str:
    if not (one.manifest.exists() and one.target.with_suffix(".flac").exists()):
        return ""
    known: dict[str, Any] = json.loads(one.manifest.read_text(encoding="utf-8"))
    return str(known.get("made_from", ""))


def render(line: Line, speed: float, script: Script, folder: Path) -> Samples:
    """One line as 16 kHz samples at the speech level."""
    raw = speak(script.voices[line.by], line.text, folder, speed)
    return coarse(raw / speech_rms(raw) * SPEECH_RMS)


def coarse(samples: Floats) -> Samples:
    """int16, rounded to 8 bits."""
    return (np.clip(np.round(samples * 32768 / STEP), -128, 127) * STEP).astype(np.int16)


def write(one: Recording, audio: Samples, timed: list[Timed], script: Script, more: dict[str, Any]) -> None:
    """The FLAC, then the JSON; each takes the old one's place when it is whole."""
    part = one.target.with_suffix(".part.flac")
    soundfile.write(part, audio, RATE, subtype="PCM_16", compression_level=1.0)
    manifest = {
        "title": script.title,
        **({"scenario": script.scenario} if script.scenario else {}),
        "voices": dict(script.voices),
        "snr_db": SNR_DB,
        **more,
        "audio_s": round(len(audio) / RATE, 2),
        "lines": [asdict(moment) for moment in timed],
    }
    part.replace(one.target.with_suffix(".flac"))
    one.manifest.write_text(json.dumps(manifest, indent=1) + "\n", encoding="utf-8")
    again = len(timed) - len({moment.phrase for moment in timed})
    print(f"{one.name}: {len(audio) / RATE:.0f} s, {len(timed)} lines, {again} said again", flush=True)


if __name__ == "__main__":
    sys.exit(main())
