"""All words that a crew, an officer or a trainer can meet: spoken, on the board, on the debrief's pages, in the terminal."""

import ast
import re
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path

from assistant.library import load_book
from protocol.phrases import every_phrase
from protocol.spoken_texts import fixed_texts

ROOT = Path(__file__).parent.parent
ROOMS: Mapping[str, tuple[str, ...]] = {
    "spoken": ("protocol/wording.py", "protocol/rules", "protocol/handover.py", "protocol/timers.py",
               "protocol/numbers.py"),
    "board": ("assistant/board",),
    "report": ("assistant/debrief",),
    "terminal": ("assistant/commands", "assistant/drill", "protocol/units.py"),
}
"""Where the sentences of each are written."""


@cache
def screens() -> dict[str, str]:
    """The text of each."""
    book = load_book()
    found = {name: " ".join(_strings(places)) for name, places in ROOMS.items()}
    steps = [text for step in book.procedure.steps for text in (step.title, step.inside, step.outside, step.caution)]
    page = [path.read_text(encoding="utf-8") for path in (ROOT / "assistant/board/page").glob("*.[hj]*")]
    found["spoken"] = " ".join([found["spoken"], *fixed_texts(book), *every_phrase(book), *filter(None, steps)])
    found["board"] = " ".join([found["board"], *page])
    return found


def is_in(word: str, text: str) -> bool:
    """Whether a word is there, alone or with an ending."""
    return bool(re.search(rf"\b{re.escape(word)}(s|es)?\b", text, re.IGNORECASE))


def _strings(places: Iterable[str]) -> Iterator[str]:
    """Every string in the code of some places that is no docstring."""
    files = [file for place in places for file in ([ROOT / place] if place.endswith(".py") else (ROOT / place).glob("*.py"))]
    for file in files:
        tree = ast.parse(file.read_text(encoding="utf-8"))
        told = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in told:
                yield node.value
