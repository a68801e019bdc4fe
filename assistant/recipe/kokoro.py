"""Kokoro speech in bulk on a GPU: several texts spoken in one clip, then cut at the pauses by the voice's own durations.

Each worker is one process. It writes DIR/kokoro_W_N.npz: `pcm` (int16, 16 kHz, all pieces joined), `ends` (end sample of
each piece), `phones` (what each piece says), until its time is up.
"""

from __future__ import annotations

import itertools
import json
import random
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import torch
from torch.nn import functional

from assistant.recipe import kokoro_graph
from assistant.recipe.texts import SHARES
from assistant.recipe.voices import NEVER_TRAIN, TUNING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

RATE: Final = 16_000
STYLE_ROWS: Final = 300
MOST_TOKENS: Final = 440
DURATIONS: Final = "/encoder/Clip_output_0"
FRAME_SAMPLES: Final = 400
"""Samples at 16 kHz for one unit of the voice's durations (600 at its own 24 kHz)."""
BEYOND: Final = 0.25
"""How far outside 0..1 the weights of a blend may lie."""
TILT: Final = 0.3
"""Most that a voice is moved along the spread of the voices, in standard deviations; a share TILTED is moved."""
TILTED: Final = 0.5
SYMBOL_IDS: Final[dict[str, int]] = dict(
    zip(
        ';:,.!?—…"()“” \u0303ʣʥʦʨᵝꭧAIOQSTWYᵊabcdefhijklmnopqrstuvwxyzɑɐɒæβɔɕçɖðʤəɚɛɜɟɡɥɨɪʝɯɰŋɳɲɴøɸθœɹɾɻʁɽʂʃʈʧʊʋʌɣɤχʎʒʔˈˌːʰʲ↓→↗↘ᵻ',
        [*range(1, 7), *range(9, 26), 31, 33, 35, 36, 39, *range(41, 49), *range(50, 73), 75, 76, 77, 78, 80, 81, 82, 83,
         85, 86, 87, 90, 92, 99, 101, 102, 103, *range(110, 117), 118, 119, 120, 123, 125, 126, *range(128, 134), 135, 136,
         138, 139, 140, 142, 143, 147, 148, 156, 157, 158, 162, 164, 169, 171, 172, 173, 177],
        strict=False,
    )
)  # fmt: skip


def symbol_ids(symbols: str) -> list[int]:
    """Token numbers of Kokoro's phoneme symbols; unknown ones are dropped."""
    return [SYMBOL_IDS[symbol] for symbol in symbols if symbol in SYMBOL_IDS]


class Speaker:
    """The Kokoro graph on one device, giving 16 kHz samples and the duration of each token."""

    def __init__(self, model: str, device: str) -> None:
        self.graph = kokoro_graph.load(model, device, frozenset({DURATIONS}))
        at = np.arange(-48, 49)
        taps = np.sinc(at / 3.0) * np.kaiser(97, 8.0)
        self.taps = torch.from_numpy((2 * taps / taps.sum()).astype("f4")).to(device)[None, None]

    @torch.inference_mode()
    def say(self, ids: list[int], style: NDArray[np.float32], speed: float) -> tuple[Any, Any]:
        """(int16 samples at 16 kHz, duration of each token in units of FRAME_SAMPLES)."""
        values = kokoro_graph.run(self.graph, [0, *ids, 0], style, speed)
        wave = values[self.graph.result].reshape(1, 1, -1).float()
        doubled = torch.zeros(1, 1, 2 * wave.shape[-1], device=wave.device)
        doubled[..., ::2] = wave
        out = functional.conv1d(functional.pad(doubled, (48, 48)), self.taps, stride=3).reshape(-1)
        pcm = (out.clamp(-1, 1) * 32767).to(torch.int16).cpu().numpy()
        return pcm, values[DURATIONS].reshape(-1).cpu().numpy()


def trimmed(pcm: NDArray[np.int16], pad: int = 1280, floor_db: float = -42) -> NDArray[np.int16]:
    """Without the quiet ends, keeping `pad` samples of them."""
    step = 320
    level = np.sqrt(np.mean(pcm[: len(pcm) // step * step].astype("f4").reshape(-1, step) ** 2, axis=1))
    loud = np.flatnonzero(level > level.max(initial=0) * 10 ** (floor_db / 20))
    return pcm[max(0, loud[0] * step - pad) : (loud[-1] + 1) * step + pad] if len(loud) else pcm


def cut(
    pcm: NDArray[np.int16], durations: NDArray[np.float32], marks: list[int]
) -> list[tuple[NDArray[np.int16], int, int]]:
    """Pieces (samples, first text, text after the last) of a clip of several texts.

    Args:
        pcm: the clip.
        durations: per token, with the leading zero token.
        marks: token position of the end mark of each text.
    """
    ends = np.cumsum(durations) * FRAME_SAMPLES
    if abs(ends[-1] - len(pcm)) > 2 * FRAME_SAMPLES:
        return []
    level = np.sqrt((pcm[: len(pcm) // 320 * 320].astype("f4").reshape(-1, 320) ** 2).mean(1))
    quiet = 0.03 * np.sqrt((level**2).mean())
    pieces, start, first = [], 0, 0
    for text, mark in enumerate(marks):
        end = len(pcm)
        if text + 1 < len(marks):
            low = max(int(ends[mark] - durations[mark] * FRAME_SAMPLES) - 1600, start + 1600) // 320
            high = int(ends[mark] + 1600) // 320
            if high <= low + 1:
                continue
            at = low + int(np.argmin(level[low:high]))
            if level[at] > quiet:
                continue
            end = at * 320 + 160
        if end - start > 3200:
            pieces.append((trimmed(pcm[start:end]), first, text + 1))
        start, first = end, text + 1
    return pieces


@dataclass(slots=True)
class Casting:
    """Draws who speaks (single voices, blends of two or three and beyond them, foreign accents, tilts), what, and how."""

    kinds: dict[str, list[dict[str, str]]]
    styles: dict[str, NDArray[np.float32]]
    draw: random.Random
    english: list[str] = field(init=False)
    foreign: list[str] = field(init=False)
    spread: NDArray[np.float32] = field(init=False)
    """[voices, 256]: how each voice differs from all others' mean, so scaled that random sums spread as the voices do."""

    def __post_init__(self) -> None:
        barred = {name.removeprefix("kokoro:") for name in (*NEVER_TRAIN, *TUNING)}
        self.english = [name for name in self.styles if name[0] in "ab" and name not in barred]
        self.foreign = [name for name in self.styles if name[0] not in "ab"]
        people = np.stack([self.styles[name].mean(0) for name in (*self.english, *self.foreign)])
        self.spread = (people - people.mean(0)) / np.float32(len(people)) ** np.float32(0.5)

    def style(self) -> tuple[NDArray[np.float32], str]:
        """([rows, 256] style, 'us' or 'gb') of a new person."""
        names, weights = self._blend()
        style: NDArray[np.float32] = np.sum([w * self.styles[name] for w, name in zip(weights, names, strict=True)], axis=0)
        if self.draw.random() < TILTED:
            much = self.draw.uniform(0, TILT)
            turns = np.array([self.draw.gauss(0, much) for _ in self.spread], np.float32)
            style = style + turns @ self.spread
        main = names[int(np.argmax(weights))]
        accent = "gb" if (main[0] == "b") != (self.draw.random() < 0.1) else "us"
        return style.astype(np.float32), accent

    def _blend(self) -> tuple[list[str], list[float]]:
        """Voices and their weights, which sum to 1: alone, of two, or of three, and for some outside 0..1."""
        chance = self.draw.random()
        if chance < 0.2:
            return [self.draw.choice(self.english)], [1.0]
        if chance < 0.26:
            return [self.draw.choice(self.foreign)], [1.0]
        count = 2 if chance < 0.65 else 3
        names = self.draw.sample(self.english, count)
        if self.draw.random() < 0.3:
            names[-1] = self.draw.choice(self.foreign)
        beyond = BEYOND if self.draw.random() < 0.4 else 0.0
        weights = [self.draw.uniform(-beyond, 1 + beyond) for _ in names[1:]]
        while not -beyond <= 1 - sum(weights) <= 1 + beyond:
            weights = [self.draw.uniform(-beyond, 1 + beyond) for _ in names[1:]]
        return names, [1 - sum(weights), *weights]

    def script(self, accent: str) -> tuple[list[int], list[int], list[str]]:
        """(tokens, position of the end mark of each text, phones of each text) of one clip."""
        ids: list[int] = []
        marks: list[int] = []
        phones: list[str] = []
        goal = self.draw.randint(60, 400)
        while len(ids) < goal:
            kind = self.draw.choices(list(SHARES), list(SHARES.values()))[0]
            unit = self.draw.choice(self.kinds[kind])
            other = "other" in unit and self.draw.random() < 0.35
            tokens = symbol_ids(unit["other" if other else accent])
            if len(ids) + len(tokens) > MOST_TOKENS:
                break
            if self.draw.random() < 0.25:
                tokens[-1] = SYMBOL_IDS[self.draw.choice(",,!?;")]
            ids += ([SYMBOL_IDS[" "]] if ids else []) + tokens
            marks.append(len(ids))
            phones.append(unit[f"{accent}_phones"])
        return ids, marks, phones


def load_styles(path: Path) -> dict[str, NDArray[np.float32]]:
    """Style packs by voice name from styles.npz."""
    with np.load(path) as packs:
        return {name: packs[name].astype("f4") for name in packs.files}


def run_worker(folder: Path, model: str, number: int, seed: int, device: str, going: Callable[[], bool]) -> float:
    """Speak until `going()` is false; returns hours kept."""
    torch.set_num_threads(1)
    if device != "cpu":
        torch.cuda.set_device(device)
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    kinds: dict[str, list[dict[str, str]]] = {}
    for unit in json.loads((folder / "units.json").read_text(encoding="utf-8")):
        kinds.setdefault(unit["kind"], []).append(unit)
    casting = Casting(kinds, load_styles(folder / "styles.npz"), random.Random(f"{seed} {number}"))
    speaker = Speaker(model, device)
    pieces: list[Any] = []
    said: list[str] = []
    total = 0
    names = itertools.count()
    while True:
        if pieces and (not going() or sum(map(len, pieces)) > RATE * 240):
            _write_shard(folder, f"kokoro_{number}_{next(names)}", pieces, said)
            total += sum(map(len, pieces))
            print(f"worker {number}: {total / RATE:.0f} s kept", flush=True)
            pieces, said = [], []
        if not going():
            return total / RATE / 3600
        style, accent = casting.style()
        ids, marks, phones = casting.script(accent)
        row = casting.draw.randint(15, STYLE_ROWS - 1)
        pcm, durations = speaker.say(ids, style[row], casting.draw.uniform(0.78, 1.3))
        for piece, first, after in cut(pcm, durations, marks):
            pieces.append(piece)
            said.append("|".join(phones[first:after]))


def _write_shard(folder: Path, name: str, pieces: list[Any], said: list[str]) -> None:
    partial = folder / f"{name}.part.npz"
    np.savez(partial, pcm=np.concatenate(pieces), ends=np.cumsum([len(piece) for piece in pieces]), phones=np.array(said))
    partial.rename(folder / f"{name}.npz")
