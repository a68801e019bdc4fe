"""What `python -m tests.fuzz` runs: for each target a function of bytes, and right inputs to begin from."""

import argparse
import io
import json
from collections.abc import Callable, Sequence
from contextlib import redirect_stdout
from itertools import islice
from pathlib import Path

import numpy as np
import soundfile

from assistant.commands.estimating import estimate
from assistant.errors import AssistantError, AudioError
from assistant.hearing.files import FileSource
from assistant.hearing.hear import read_phrases
from assistant.journal import _link, read
from assistant.library import load_book, load_site, shipped_texts, source_for
from assistant.replay import book_of, rebuild, verify
from protocol.errors import NumberError, ProtocolError
from protocol.history import fold
from protocol.numbers import NUMBER_WORDS, count_words, figure_words, parse_number
from protocol.rules import decide
from protocol.state import State
from tests.faults.records import made

Run = Callable[[bytes], None]
Made = tuple[Run, Sequence[bytes]]


def _record(folder: Path) -> Made:
    """Bytes as a record, as they are."""
    path = folder / "record.jsonl"

    def run(data: bytes) -> None:
        path.write_bytes(data)
        try:
            history = read(path)
            rebuild(history)
            verify(history)
        except AssistantError:
            return

    return run, [made(folder / f"{count}.jsonl", count) for count in (1, 3)]


def _forged(folder: Path) -> Made:
    """Lines as a forger would write them: every line that is JSON gets a digest that fits; the header is right."""
    path = folder / "forged.jsonl"
    right = [json.loads(line) for line in made(folder / "right.jsonl", 6).splitlines()]
    header = {name: value for name, value in right[0].items() if name != "chain"}
    seeds = [json.dumps({name: value for name, value in line.items() if name != "chain"}).encode() for line in right[1:]]

    def chained(data: bytes) -> bytes:
        chain = _link("", header)
        out = json.dumps({**header, "chain": chain}).encode() + b"\n"
        for number, line in enumerate(data.splitlines()):
            try:
                value = json.loads(line)
            except (ValueError, RecursionError):
                continue
            plain = {**value, "n": number + 1} if isinstance(value, dict) else {"content": value}
            chain = _link(chain, plain)
            out += json.dumps({**plain, "chain": chain}).encode() + b"\n"
        return out

    whole = folder / "right.jsonl"
    book = book_of(read(whole))

    def run(data: bytes) -> None:
        path.write_bytes(chained(data))
        state = State()
        try:
            for record in read(path).records:
                decide(book, state, record.command)
                state = fold(record.events, state)
        except (AssistantError, ProtocolError):
            return

    return run, [b"\n".join(seeds[:count]) for count in (1, 2, 6)] + seeds


def _loader(name: str, load: Callable[[Path], object], seeds: Sequence[bytes], folder: Path) -> Made:
    path = folder / name

    def run(data: bytes) -> None:
        path.write_bytes(data)
        try:
            load(path)
        except AssistantError:
            return

    return run, seeds


def _procedure(folder: Path) -> Made:
    return _loader("own.toml", load_book, [text.encode() for text in shipped_texts().values()], folder)


def _site(folder: Path) -> Made:
    def load(path: Path) -> object:
        source_for(None, load_site(path))
        with redirect_stdout(io.StringIO()):
            return estimate(argparse.Namespace(site=path, json=True))

    return _loader("site.toml", load, [CARD.encode()], folder)


def _phrases(folder: Path) -> Made:
    return _loader("phrases.txt", read_phrases, [b"panel two set\ngrain at knees\n", "MAYDAY\r\n\n# caf\u00e9\n".encode()], folder)


def _numbers(folder: Path) -> Made:
    """Each byte picks a word."""
    del folder

    words = [*sorted(NUMBER_WORDS), "and", "", "eleventy", "-1", "0", "\u0663", "nan"]

    def run(data: bytes) -> None:
        said = [words[byte % len(words)] for byte in data]
        for heard in (said, " ".join(said), data.decode(errors="replace")):
            try:
                number = parse_number(heard)
            except NumberError:
                continue
            assert number.value.is_finite()
            assert 0 <= number.value < 10**12
            figure_words(number.text)
            if number.value == int(number.value) and number.value < 1000:
                count_words(int(number.value))

    return run, [bytes(range(count)) for count in (1, 4, 12)] + [b"two zero decimal niner"]


def _sound(folder: Path) -> Made:
    """A recording, at most two thousand blocks of it."""

    def run(data: bytes) -> None:
        path = folder / "sound"
        path.write_bytes(data)
        try:
            source = FileSource(path)
        except AudioError:
            return
        try:
            for block in islice(source.blocks(), 2_000):
                assert block.samples.dtype == np.int16
        except AudioError:
            return
        finally:
            source.close()

    tone = (8_000 * np.sin(np.arange(2_000) / 5)).astype(np.int16)
    seeds = []
    for kind, subtype, rate in (("WAV", "PCM_16", 16_000), ("FLAC", "PCM_16", 16_000), ("WAV", "FLOAT", 48_000), ("WAV", "ULAW", 8_000),
                                ("WAV", "IMA_ADPCM", 8_000), ("RF64", "PCM_24", 44_100)):  # fmt: skip
        held = io.BytesIO()
        soundfile.write(held, tone, rate, format=kind, subtype=subtype)
        seeds.append(held.getvalue())
    return run, seeds


CARD = """
[department]
name = "Elm Creek"
units = "metric"
[[bin]]
name = "North"
diameter_ft = 30
eave_ft = 24
grain = "corn"
auger_bu_h = 5000
[[panels]]
count = 4
width_in = 24
length_ft = 5
[[vacuum]]
name = "Drum"
canister_gal = 16
[[meter]]
name = "Four"
gases = ["oxygen", "phosphine"]
[[crew]]
name = "A"
role = "tender"
[house]
roll_call_min = 15
[[wording]]
step = "boards"
say = ["the boards are all down"]
"""
TARGETS: dict[str, Callable[[Path], Made]] = {
    "forged": _forged,
    "numbers": _numbers,
    "phrases": _phrases,
    "procedure": _procedure,
    "record": _record,
    "site": _site,
    "sound": _sound,
}


def prepared(target: str, folder: Path) -> Made:
    """A target's function and its first inputs; `folder` is its own."""
    return TARGETS[target](folder)
