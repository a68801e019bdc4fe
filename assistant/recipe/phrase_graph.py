"""A model directory for one procedure: the shipped net, with a graph that hears that procedure's phrases whole.

This runs where the program runs: numpy and the standard library only. Measured on the two tuning voices at 0 dB: 90
of 90 phrases right with whole phrases, 74 of 90 with the same phrases as word strings.
"""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, Final

from assistant.errors import ModelError
from assistant.recipe import graph, lexicon, model_files

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from assistant.recipe.phones import Pronunciation

    Known = Mapping[str, tuple[Pronunciation, ...]]

COSTS: Final = graph.GraphSettings(unknown_phone=2.5)


def write(
    shipped: Path, phrases: Iterable[str], out: Path, words: Iterable[str] = (), known: Known | None = None
) -> dict[str, str]:
    """Write a model directory to `out`; load it as any other and give it the unit names as its phrase list.

    Args:
        shipped: the model that comes with the program.
        phrases: heard whole.
        out: an empty or new folder.
        words: heard one by one as well, for numbers and spelled readings.
        known: the model's lexicon, if it has been read already.

    Returns:
        unit name in the recogniser's results -> phrase.

    Raises:
        ModelError: if the model has no lexicon or does not know a word.
    """
    known = known or _lexicon(shipped)
    texts, singles = list(dict.fromkeys(phrases)), list(dict.fromkeys(words))
    missing = sorted({word for text in (*texts, *singles) for word in text.split()} - known.keys())
    if missing:
        raise ModelError(f"The speech model does not know: {', '.join(missing)}. Reword the phrases.")
    for part in ("am", "conf"):
        shutil.copytree(shipped / part, out / part, dirs_exist_ok=True)
    model_files.write_graph(graph.build(singles, COSTS, texts, known.__getitem__), out)
    return {graph.unit_name(text): text for text in texts}


def _lexicon(shipped: Path) -> Known:
    path = shipped / lexicon.FILE
    if not path.is_file():
        raise ModelError(f"{shipped} has no {lexicon.FILE}: it can only hear phrases as word strings.")
    return lexicon.read(path)
