"""Which phones the net takes for which, counted on tuning material alone, and how near phrases may sound.

    python -m tests.bench confusions --model DIR --clips DIR --audio DIR [--curve] [--every N]

Writes conf/confusions.json into the model's folder: run it again after every `assistant.recipe export` or `make`, for
the table belongs to one net. DIR of --clips holds clips of the tuning voices (ENGINE_VOICE/the_words.wav), that of
--audio speech/ with the recordings of people; only tuning speakers are listened to. --curve writes nothing: with the
table that lies there, it measures how often a made-up rival fits a phrase as well as what was said, by distance, from
which `assistant.hearing.near_phrases.LIMIT` was chosen.

The net's best free path (the likeliest output of each row; a phone fires in one row, "no phone" and silence fill the
others) is laid beside the listed pronunciation that it is nearest to: first with every mistake at cost 1, then once more
with the costs that came of it.
"""

import argparse
import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain, groupby
from pathlib import Path
from typing import Final

import numpy as np

from assistant.hearing.blocks import Samples
from assistant.hearing.cepstra import Frames
from assistant.hearing.confusions import (
    CODE_OF,
    NOTHING,
    SYMBOLS,
    Confusions,
    Costs,
    net_digest,
    unit_costs,
    write_confusions,
)
from assistant.hearing.phone_net import ROW_S, PhoneNet, PhoneStream
from assistant.hearing.recogniser import shipped_model
from assistant.hearing.sound_distance import Codes, aligned, edit_distances, ways_of
from assistant.recipe.corpus import spoken_words
from assistant.recipe.net_file import read_net
from assistant.recipe.phones import BLANK, PDF_OF, SILENCE
from assistant.recipe.speakers import HUMAN_SETS, use_of
from assistant.recipe.voices import TUNING
from tests.bench import hearing_sound as sound
from tests.bench.hearing_material import folder_of

SNRS_DB: Final[tuple[float | None, ...]] = (None, 10.0, 0.0)
BEFORE_S, AFTER_S = 0.1, 0.2
"""What fires earlier before a phrase, or later after it, was not taken for a part of it."""
TAIL_S = 0.5
_SYMBOL_OF = {pdf: CODE_OF[phone] for phone, pdf in PDF_OF.items()}


@dataclass(frozen=True, slots=True)
class Clip:
    """A clean recording, and all the ways in which its words are said."""

    text: str
    wave: sound.Wave
    ways: tuple[Codes, ...]


@dataclass(frozen=True, slots=True)
class Listened:
    """What the net heard of a clip."""

    ways: tuple[Codes, ...]
    path: Codes


def main() -> None:
    """Count and write, or show the curve."""
    given = _arguments()
    net = PhoneNet.of_file(read_net(given.model / "am/final.mdl"))
    clips = list(chain(voice_clips(given.clips), () if given.curve else people_clips(given.audio)))
    clips = clips[:: given.every]
    if given.curve:
        from tests.bench import confusions_curve  # noqa: PLC0415  it needs this module

        confusions_curve.show(given.model, net, clips)
        return
    heard = list(listen(net, clips))
    table = counted(heard, net_digest(given.model))
    write_confusions(table, given.model)
    print(report(table, len(clips)))


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.bench confusions")
    parser.add_argument("--model", type=Path, default=shipped_model())
    parser.add_argument("--clips", type=Path, required=True)
    parser.add_argument("--audio", type=Path, required=True)
    parser.add_argument("--curve", action="store_true", help="how often rivals win, by distance; writes nothing")
    parser.add_argument("--every", type=int, default=1, metavar="N", help="only every N-th clip, for a quick look")
    return parser.parse_args()


def voice_clips(folder: Path) -> Iterator[Clip]:
    """Phrases of the tuning voices."""
    for voice in TUNING:
        for path in sorted((folder / folder_of(voice)).glob("*.wav")):
            text = path.stem.replace("_", " ")
            yield Clip(text, sound.read(path), ways_of(text.split()))


def people_clips(audio: Path) -> Iterator[Clip]:
    """Recordings of people who tune."""
    for collection in HUMAN_SETS:
        folder = audio / "speech" / collection
        with (folder / "metadata.tsv").open(encoding="utf-8") as table:
            rows = list(csv.DictReader(table, delimiter="\t"))
        for row in rows:
            words = spoken_words(row["text_or_label"])
            if words is None or use_of(collection, row["file"], row["speaker"]) != "tune":
                continue
            wave = sound.read(folder / row["file"])
            if wave.std() > 1e-4:
                yield Clip(" ".join(words), wave, ways_of(words))


def listen(net: PhoneNet, clips: Iterable[Clip]) -> Iterator[Listened]:
    """Every clip clean and in noise, kinds of noise in turn."""
    rng = np.random.default_rng(1)
    kinds = tuple(sound.INVENTED.values())
    for place, clip in enumerate(clips):
        for snr_db in SNRS_DB:
            wave = sound.padded(clip.wave, tail_s=TAIL_S)
            noise = None if snr_db is None else kinds[place % len(kinds)](rng, len(wave))
            rows = scores(net, sound.mixed(wave, noise, snr_db, rng))
            yield Listened(clip.ways, free_path(rows, sound.LEAD_S - BEFORE_S, sound.speech_end_s(wave) + AFTER_S))


def scores(net: PhoneNet, samples: Samples) -> Frames:
    """All rows of a clip."""
    stream = PhoneStream(net)
    return np.concatenate([stream.feed(samples), stream.finish()])


def free_path(rows: Frames, from_s: float, to_s: float) -> Codes:
    """The phones that fire between two times, with nothing to guide the net; one in rows side by side fires once."""
    best = rows[int(from_s / ROW_S) : int(to_s / ROW_S) + 1].argmax(axis=1)
    fired = (int(pdf) for pdf, _rows in groupby(best))
    return tuple(_SYMBOL_OF[pdf] for pdf in fired if pdf not in {BLANK, SILENCE})


def counted(heard: Iterable[Listened], digest: str) -> Confusions:
    """The table: laid with unit costs, then with its own."""
    kept = list(heard)
    material = (
        f"phrases of {' and '.join(TUNING)}, tuning speakers of {', '.join(HUMAN_SETS[:4])}",
        "clean, and at 10 and 0 dB in invented fan, vacuum, engine and rattle",
        f"{len(kept)} times listened",
    )
    first = Confusions(_counts(kept, unit_costs()), digest, material)
    return Confusions(_counts(kept, first.costs()), digest, material)


def _counts(heard: Iterable[Listened], costs: Costs) -> np.ndarray[tuple[int, int], np.dtype[np.int64]]:
    gap = CODE_OF[NOTHING]
    counts = np.zeros((len(SYMBOLS), len(SYMBOLS)), np.int64)
    for one in heard:
        distances = edit_distances([(way, one.path) for way in one.ways], costs)
        said = one.ways[int(distances.argmin())]
        pairs = aligned(said, one.path, costs)[1]
        for spoken, taken in pairs:
            counts[spoken, taken] += 1
        counts[gap, gap] += max(0, len(said) + 1 - sum(spoken == gap for spoken, _ in pairs))
    return counts


def report(table: Confusions, clips: int) -> str:
    """What came of it, in a few lines."""
    counts, gap = table.counts, CODE_OF[NOTHING]
    said = counts[:gap].sum()
    right = np.trace(counts[:gap, :gap])
    dropped, put_in = counts[:gap, gap].sum(), counts[gap, :gap].sum()
    shares = {"heard as said": right, "as another": said - right - dropped, "dropped": dropped, "put in": put_in}
    lines = [f"{clips} clips, {said} phones: " + ", ".join(f"{n / said:.1%} {what}" for what, n in shares.items())]
    costs = table.costs()
    near = sorted(
        (costs[one, other], SYMBOLS[one], SYMBOLS[other]) for one in range(gap + 1) for other in range(one)
    )
    lines.append("nearest: " + ", ".join(f"{a}/{b} {cost:.2f}" for cost, a, b in near[:15]))
    return "\n".join(lines)


if __name__ == "__main__":
    main()
