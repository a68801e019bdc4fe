"""Renders short clips: `python -m audio_fixtures.make_clips --voices DIR`.

phrases/: phrases of the procedure; the file name is what is said. oov/: speech that is no phrase; nothing may be
accepted. Each voice is one that the speech model never heard in training; noise at about 15 dB. radio_check.flac has no
noise: tests add what they measure.
"""

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np
import soundfile

from audio_fixtures.cast import speak, speech_rms
from audio_fixtures.make_drill import SPEECH_RMS
from audio_fixtures.sounds import RATE, Samples, engine, fan, vacuum

HERE: Final = Path(__file__).parent
VOICES: Final = ("kokoro:am_liam", "pico:en-GB", "kokoro:af_nova", "flite:rms", "kokoro:bm_lewis")
NOISES: Final = (fan, vacuum, engine)
SNR_DB: Final = 15.0
BEFORE_S, AFTER_S = 0.6, 1.2
PHRASES: Final = (
    "one person trapped", "person in plain sight", "affirmative", "negative", "buried to the waist",
    "breathing normally", "talking to us clearly", "yellow corn in the bin", "level surface all round",
    "never been treated", "caught by flowing grain", "unloading gear is off", "padlocks and tags applied",
    "start buttons tried and dead", "panel three standing", "canister is full", "grain at hip bone",
    "hold all work", "mayday mayday mayday", "lifeline has gone slack", "time check", "say again",
    "oxygen two zero decimal niner", "hydrogen sulfide one two",
)  # fmt: skip
OTHER_SPEECH: Final = (
    "did anybody bring the coffee", "the fire truck is parked behind the barn", "I think we should wait a minute",
    "panel", "hand me that wrench please", "the weather will turn this afternoon", "roger that", "one two three",
    "we had a bin like this last year", "please move back from the ladder",
)  # fmt: skip


def main() -> None:
    """Render every clip."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--voices", type=Path, required=True, help="folder with the rebuilt registry voices")
    folder = parser.parse_args().voices
    for kind, texts in (("phrases", PHRASES), ("oov", OTHER_SPEECH)):
        (HERE / kind).mkdir(exist_ok=True)
        for number, text in enumerate(texts):
            voice, noise = VOICES[number % len(VOICES)], NOISES[number % len(NOISES)]
            write(HERE / kind / f"{text.replace(' ', '_')}.flac", clip(speak(voice, text, folder), noise, number))
            print(f"{kind}: {text} ({voice})", flush=True)
    write(HERE / "radio_check.flac", padded(speak("flite:rms", "radio check", folder)))


def clip(speech: Samples, noise: Callable[[float, int], Samples], seed: int) -> Samples:
    """Speech at its level over noise."""
    spoken = padded(speech)
    made = noise(len(spoken) / RATE + 0.1, seed)[: len(spoken)]
    return spoken + made * SPEECH_RMS / 10 ** (SNR_DB / 20)


def padded(speech: Samples) -> Samples:
    """Speech at its level with a lead-in and a lead-out."""
    spoken = speech / speech_rms(speech) * SPEECH_RMS
    return np.concatenate([np.zeros(int(BEFORE_S * RATE)), spoken, np.zeros(int(AFTER_S * RATE))])


def write(path: Path, samples: Samples) -> None:
    """16-bit FLAC at 16 kHz."""
    soundfile.write(path, (np.clip(samples, -1, 1) * 32767).astype(np.int16), RATE, subtype="PCM_16")


if __name__ == "__main__":
    main()
