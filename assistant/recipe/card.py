"""Facts about a model directory that can be read off it, for its card."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from assistant.recipe import lexicon

if TYPE_CHECKING:
    from pathlib import Path


def facts(model: Path) -> str:
    """A Markdown table: bytes, words, and the digest of each file."""
    files = sorted(path for path in model.rglob("*") if path.is_file() and path.suffix != ".md")
    total = sum(path.stat().st_size for path in files)
    words = len(lexicon.read(model / lexicon.FILE))
    rows = [f"| {path.relative_to(model)} | {path.stat().st_size} | {_digest(path)} |" for path in files]
    head = [f"{words} words, {total} bytes in {len(files)} files.", "", "| file | bytes | SHA-256, first 16 |", "| --- | --- | --- |"]
    return "\n".join([*head, *rows]) + "\n"


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]
