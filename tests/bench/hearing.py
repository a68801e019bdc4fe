"""How well it hears: phrases in machine noise by voices that were never trained on, and what it takes for a phrase.

    python -m tests.bench hearing --audio DIR [--voices DIR] [--model DIR] [--quick] [--compare] [--json FILE] [--plot FILE]
    python -m tests.bench hearing --audio DIR [--voices DIR] --seed 2 --per-cell 110 --levels 10,5,0
    python -m tests.bench hearing --audio DIR [--voices DIR] [--model DIR] --tune

DIR of --audio holds speech/ and noise/ with their metadata.tsv; --voices the synthetic voices, with rendered clips in
clips/ENGINE_VOICE/the_words.wav (missing ones are rendered there if the voices' packages are installed). --tune chooses
the thresholds of the second look on tuning material alone and writes them into the model's folder.

Signal to noise: RMS of the frames that are speech over RMS of the noise. All phrases of the shipped procedure are in
force at once. Times count from the end of the last frame of speech in the clean clip.
"""

import argparse
import os
import platform
import resource
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from assistant.clock import SystemClock, cpu_seconds
from assistant.hearing.blocks import RATE
from assistant.hearing.listener import ListenPhrase
from tests.bench import hearing_plot, hearing_tune, hearing_voices
from tests.bench.hearing_ears import Ear, OurEar, dumps, rivals
from tests.bench.hearing_material import SNRS_DB, TEN_WORDS, Material, Stretch, shipped_phrases
from tests.bench.hearing_score import Tally, outcome, poisson
from tests.bench.hearing_words import an4
from tests.bench.speed import _processor

Row = dict[str, Any]


def main() -> None:
    """Measure, print, and write what was asked for."""
    given = _arguments()
    clips = hearing_voices.ready(given.voices, [phrase.text for phrase in shipped_phrases()])
    if given.tune:
        hearing_tune.tune(Material(given.audio, clips, tuning=True), given.model, quick=given.quick)
        return
    machine = (
        f"{platform.machine()}, {os.cpu_count()} cores, {_processor()}, Python {platform.python_version()}, "
        f"load {os.getloadavg()[0]:.1f}; one thread"
    )
    print(machine)
    ours, loading = _ready(given.model)
    ears: list[Ear] = [ours, *(rivals(shipped_phrases(), given.whisper) if given.compare else ())]
    found: Row = {"machine": machine, "loading": loading, "listeners": {}}
    for ear in ears:
        print(f"\n== {ear.name}")
        found["listeners"][ear.name] = _measured(ear, given, clips)
    found["people"] = _people(given, clips)
    if given.json:
        given.json.write_text(dumps(found), encoding="utf-8")
    if given.plot:
        given.plot.write_text(hearing_plot.svg(found), encoding="utf-8")


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.bench hearing")
    parser.add_argument("--audio", type=Path, required=True)
    parser.add_argument("--voices", type=Path, default=Path("voices"))
    parser.add_argument("--model", type=Path)
    parser.add_argument("--quick", action="store_true", help="a tenth of everything")
    parser.add_argument("--seed", type=int, default=1, help="of phrases and noise; another draws others")
    parser.add_argument(
        "--levels", type=_levels, default=SNRS_DB, metavar="DB,DB", help="signal to noise ratios, 'clean' for none"
    )
    parser.add_argument("--per-cell", type=int, help="phrases of each voice at each signal to noise ratio")
    parser.add_argument("--machine-hours", type=float, help="of machines alone")
    parser.add_argument("--talk-s", type=float, default=1e9, help="seconds of each set of talk, at most")
    parser.add_argument("--tune", action="store_true")
    parser.add_argument("--compare", action="store_true", help="general recognisers too, where installed")
    parser.add_argument("--whisper", type=Path, help="folder of the tiny model for --compare")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--plot", type=Path)
    given = parser.parse_args()
    given.per_cell = given.per_cell or (5 if given.quick else 40)
    given.machine_hours = given.machine_hours if given.machine_hours is not None else (0.2 if given.quick else 10.0)
    given.talk_s = 90.0 if given.quick else given.talk_s
    return given


def _levels(text: str) -> tuple[float | None, ...]:
    return tuple(None if part == "clean" else float(part) for part in text.split(","))


def _ready(model: Path | None) -> tuple[OurEar, Row]:
    before_mb = _memory_mb()
    clock, cpu_s = SystemClock(), cpu_seconds()
    ours = OurEar(shipped_phrases(), model)
    ours.hear(np.zeros(RATE, np.int16))
    loading = {
        "load_s": clock.now_ms() / 1000, "load_cpu_s": cpu_seconds() - cpu_s, "memory_mb": _memory_mb() - before_mb,
    }  # fmt: skip
    ours.cpu_s = 0.0
    print(
        f"loading, with all phrases: {loading['load_s']:.2f} s ({loading['load_cpu_s']:.2f} CPU s); "
        f"memory over the bare process {loading['memory_mb']:.0f} MB"
    )
    return ours, loading


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _measured(ear: Ear, given: argparse.Namespace, clips: Path) -> Row:
    material = Material(given.audio, clips, tuning=False, seed=given.seed)
    phrases = _phrases(ear, material, given)
    alone: dict[str, list[float]] = {}
    for stretches in (material.talk(given.talk_s), material.machines(given.machine_hours)):
        _false(ear, stretches, alone)
    print("false accepts                    number   hours   an hour  [95 %]    CPU s per s")
    rows = {kind: _false_row(kind, *values) for kind, values in alone.items()}
    return {**phrases, "false_accepts": rows}


def _phrases(ear: Ear, material: Material, given: argparse.Namespace) -> Row:
    by_snr: dict[str, Tally] = defaultdict(Tally)
    by_noise: dict[str, Tally] = defaultdict(Tally)
    by_voice: dict[str, Tally] = defaultdict(Tally)
    waits: list[float] = []
    seconds, begun = 0.0, ear.cpu_s
    for one in material.utterances(given.per_cell, given.levels):
        taken = ear.hear(one.samples)
        what = outcome(one.text, taken)
        level = "clean" if one.snr_db is None else f"{one.snr_db:.0f} dB"
        if what == "wrong":
            print(f'    {one.voice}, {one.noise} {level}: "{one.text}" taken for "{", ".join(row.text for row in taken)}"')
        for table, key in ((by_snr, level), (by_noise, f"{one.noise} {level}"), (by_voice, one.voice)):
            table[key].add(what)
        if what == "right":
            waits.append(taken[0].at_s - one.ends_s)
        seconds += len(one.samples) / RATE
    for title, table in (("signal to noise", by_snr), ("noise", by_noise), ("voice", by_voice)):
        _print_tallies(title, table)
    middle, most, worst = np.quantile(waits, [0.5, 0.95, 1.0]) if waits else (0.0, 0.0, 0.0)
    cpu = (ear.cpu_s - begun) / seconds
    print(f"end of phrase to acceptance: p50 {middle:.2f}, p95 {most:.2f}, max {worst:.2f} s; {cpu:.3f} CPU s per s")
    return {
        "by_snr": {key: tally.row() for key, tally in by_snr.items()},
        "by_noise": {key: tally.row() for key, tally in by_noise.items()},
        "by_voice": {key: tally.row() for key, tally in by_voice.items()},
        "wait_s": {"p50": middle, "p95": most, "max": worst}, "cpu_s_per_s": cpu,
    }  # fmt: skip


def _print_tallies(title: str, table: dict[str, Tally]) -> None:
    print(f"{title:26}    n   right  [95 %]         wrong  [95 %]        missed", flush=True)
    for key, tally in sorted(table.items(), key=lambda item: item[0] if title == "noise" else ""):
        row = tally.row()
        print(
            f"  {key:22} {row['n']:5}   {row['right']:5.1f}  [{row['right_low']:.1f} {row['right_high']:.1f}]"
            f"   {row['wrong']:5.1f}  [{row['wrong_low']:.1f} {row['wrong_high']:.1f}]   {row['missed']:5.1f}"
        )


def _false(ear: Ear, stretches: Iterable[Stretch], found: dict[str, list[float]]) -> None:
    for one in stretches:
        begun = ear.cpu_s
        taken = ear.hear(one.samples)
        sums = found.setdefault(one.kind, [0.0, 0.0, 0.0])
        for place, value in enumerate((len(taken), len(one.samples) / RATE / 3600, ear.cpu_s - begun)):
            sums[place] += value
        for extra in taken:
            print(f'    {one.kind}: took "{extra.text}" at {extra.at_s:.1f} s', flush=True)


def _false_row(kind: str, count: float, hours: float, cpu_s: float) -> Row:
    low, high = poisson(int(count), hours)
    cpu = cpu_s / hours / 3600
    print(f"  {kind:30} {count:6.0f}   {hours:6.3f}   {count / hours:6.2f}  [{low:.2f} {high:.2f}]   {cpu:.3f}", flush=True)
    return {"count": count, "hours": hours, "an_hour": count / hours, "low": low, "high": high, "cpu_s_per_s": cpu}


def _people(given: argparse.Namespace, clips: Path) -> Row:
    """The ten words of Google Speech Commands as the whole list, by people who only test."""
    ear = OurEar([ListenPhrase(word) for word in TEN_WORDS], given.model)
    print("\n== people, ten words (Google Speech Commands, test speakers)")
    material, most, rows = Material(given.audio, clips, tuning=False), 60 if given.quick else 10_000, {}
    for snr_db in (None, 10.0, 5.0):
        ten, others = Tally(), Tally()
        for word, samples in material.words(most, snr_db):
            taken = ear.hear(samples)
            if word in TEN_WORDS:
                ten.add(outcome(word, taken))
            else:
                others.add("wrong" if taken else "missed")
        level = "clean" if snr_db is None else f"{snr_db:.0f} dB"
        rows[level] = {"ten_words": ten.row(), "other_words": others.row()}
        print(
            f"  {level:6} right {rows[level]['ten_words']['right']:.1f} %, wrong {rows[level]['ten_words']['wrong']:.1f} %"
            f" of {ten.total}; other words taken {rows[level]['other_words']['wrong']:.1f} % of {others.total}",
            flush=True,
        )
    print("\n== people, any word after any other (AN4, test speakers)")
    for snr_db in (None, 10.0):
        errors, said = an4(material, given.model, snr_db, most)
        level = "clean" if snr_db is None else f"{snr_db:.0f} dB"
        rows.setdefault("an4", {})[level] = {"errors": errors, "words": said}
        print(f"  {level:6} word errors {100 * errors / said:.1f} % of {said}", flush=True)
    return rows


if __name__ == "__main__":
    main()
