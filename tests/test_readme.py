"""What the README names exists: commands, options, pictures; its glossary and the screens have the same words."""

import argparse
import re
from pathlib import Path

import pytest

from assistant.cli import parser
from tests.screens import is_in, screens

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
NAMED = sorted({line.strip() for line in re.findall(r"bin-rescue ([a-z][^`\n]*)", README)})


def _commands(of: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    tables = (a.choices for a in of._actions if isinstance(a, argparse._SubParsersAction))
    return {name: sub for table in tables for name, sub in table.items()}


def _options(of: argparse.ArgumentParser) -> set[str]:
    own = set(of._option_string_actions)
    return own.union(*(_options(sub) for sub in _commands(of).values()))


@pytest.mark.parametrize("line", NAMED)
def test_every_command_the_readme_names_is_one_with_those_options(line: str) -> None:
    """A reader who types what the README names is not told that there is no such command or option."""
    name = line.split(maxsplit=1)[0]
    assert name in _commands(parser())
    options = set(re.findall(r"--[a-z][a-z-]*", line))
    assert options - _options(_commands(parser())[name]) == set()


# -------------------------------------------------------------------------------------------------------- pictures

PICTURE = re.compile(r"!\[([^\]]*)\]\(([^)]+)\)")
LARGEST_BYTES = 150_000
STARTS = {".png": b"\x89PNG\r\n\x1a\n", ".svg": b"<svg "}


@pytest.mark.parametrize(("words", "place"), PICTURE.findall(README))
def test_every_picture_is_there_and_told_in_words(words: str, place: str) -> None:
    """A picture that README.md shows is in the repository, is one, is small, and says in words what is on it."""
    path = ROOT / place
    content = path.read_bytes()
    assert content.startswith(STARTS[path.suffix])
    assert 1_000 < len(content) < LARGEST_BYTES
    assert len(words.split()) >= 5


def test_no_picture_lies_about() -> None:
    """Every picture that the command makes is shown, and README.md shows no other."""
    made = {str(path.relative_to(ROOT)) for ending in STARTS for path in (ROOT / "tests/pictures").glob(f"*{ending}")}
    assert made == {place for _words, place in PICTURE.findall(README)}


# -------------------------------------------------------------------------------------------------------- glossary

TRADE_WORDS = (
    "aeration", "bushel", "canister", "cleat", "debrief", "decimal", "drum", "fumigant", "hand-over", "hatch", "hold",
    "inject", "LEL", "lifeline", "lockout", "mayday", "niner", "override", "panel", "ppm", "probe", "read back", "relief",
    "ring", "roll call", "sentry", "site card", "size-up", "stand down", "tender",
)  # fmt: skip
"""Words of the trade that a crew, an officer or a trainer meets, and that an outsider would ask about."""
ENTRIES = re.findall(r"^\| ([^|]+) \| [^|]{8,} \|$", README.partition("## Words")[2], re.MULTILINE)[1:]
EXPLAINED = [word.strip() for entry in ENTRIES for word in re.split(r"[,()]", entry) if word.strip()]


@pytest.mark.parametrize("word", EXPLAINED)
def test_a_word_that_is_explained_is_used(word: str) -> None:
    """Each word of the glossary is spoken, or stands on the board, on the debrief or in the terminal."""
    assert [] != [name for name, text in screens().items() if is_in(word, text)]


@pytest.mark.parametrize("word", TRADE_WORDS)
def test_a_word_of_the_trade_is_explained(word: str) -> None:
    """What is met on a screen or in the headset stands in the glossary."""
    assert [] != [name for name, text in screens().items() if is_in(word, text)]
    assert word in EXPLAINED


def test_the_glossary_is_in_order() -> None:
    """One finds a word without reading them all."""
    assert sorted(ENTRIES, key=str.lower) == ENTRIES
    assert len(set(EXPLAINED)) == len(EXPLAINED)
