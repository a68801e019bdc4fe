"""How the shipped model's words are said, as a small file beside its graph, so that graphs can be built where it runs."""

from __future__ import annotations

import gzip
from typing import TYPE_CHECKING, Final

from assistant.recipe.phones import Pronunciation, pronunciations

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

FILE: Final = "graph/lexicon.txt.gz"


def write(words: Iterable[str], path: Path) -> None:
    """One line a word: the word, then its pronunciations parted by bars. The same words give the same bytes."""
    lines = [f"{word} {'|'.join(' '.join(said) for said in pronunciations(word))}" for word in sorted(set(words))]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(gzip.compress(("\n".join(lines) + "\n").encode(), mtime=0))


def read(path: Path) -> dict[str, tuple[Pronunciation, ...]]:
    """Pronunciations by word."""
    found = {}
    for line in gzip.decompress(path.read_bytes()).decode().splitlines():
        word, _, said = line.partition(" ")
        found[word] = tuple(tuple(way.split()) for way in said.split("|"))
    return found
