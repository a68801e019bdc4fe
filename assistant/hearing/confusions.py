"""How often the phone net takes one phone for another: a measured table, and what each mistake costs.

The file holds nothing but what was counted, so that smoothing and costs can be read here and changed here.
"""

import json
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from assistant.errors import ModelError
from assistant.recipe.phones import ARPABET

FILE: Final = "conf/confusions.json"
"""In a model's folder; made by `python -m tests.bench confusions`."""
NOTHING: Final = "-"
"""Heard where a phone was dropped, "said" where one was put in."""
SYMBOLS: Final = (*ARPABET, NOTHING)
CODE_OF: Final = {symbol: code for code, symbol in enumerate(SYMBOLS)}
FLOOR: Final = 0.001
"""A mistake rarer than one in a thousand is not told from one that was never seen."""
PRIOR: Final = 40.0
"""So many average outcomes are added to those of each phone: one for each symbol."""

Counts = NDArray[np.int64]
Costs = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Confusions:
    """What was counted."""

    counts: Counts
    """Shape (40, 40), said by heard, in the order of SYMBOLS; said NOTHING and heard NOTHING are gaps left alone."""
    net: str
    """Digest of the net that was listened with."""
    material: tuple[str, ...]
    """What was listened to."""

    @property
    def probabilities(self) -> Costs:
        """What is heard, given what was said; each row sums to 1 and nothing is rarer than FLOOR.

        To what was counted of a phone, PRIOR more are added that fared as the average phone did, so that one that was
        hardly ever said is taken for an average one and not for one that is always mistaken.
        """
        added = self.counts + PRIOR * self._average()
        raised = np.maximum(added / added.sum(axis=1, keepdims=True), FLOOR)
        return np.asarray(raised / raised.sum(axis=1, keepdims=True))

    def _average(self) -> Costs:
        """How the average phone fared, as a table; in the row of NOTHING, how often the average gap was filled."""
        counts, phones = self.counts + 1.0, len(ARPABET)
        shares = counts / counts[:phones].sum()
        right, dropped = float(np.trace(shares[:phones, :phones])), float(shares[:phones, phones].sum())
        table = np.full(self.counts.shape, (1 - right - dropped) / (phones - 1))
        np.fill_diagonal(table, right)
        table[:phones, phones] = dropped
        filled = float(counts[phones, :phones].sum() / counts[phones].sum())
        table[phones] = filled / phones
        table[phones, phones] = 1 - filled
        return table

    def costs(self) -> Costs:
        """What each mistake costs, shape (40, 40): symmetric, 0 where none is made, 1 for the average of two phones.

        The log of how much likelier it is to hear a phone as it was said than as the other, the mean of both ways
        round: what would have to go wrong, in the units in which the net itself weighs it.
        """
        logs = np.log(self.probabilities)
        directed = np.maximum(np.diag(logs)[:, None] - logs, 0.0)
        both = (directed + directed.T) / 2
        phones = both[: len(ARPABET), : len(ARPABET)]
        return np.asarray(both / phones[~np.eye(len(ARPABET), dtype=bool)].mean())


def unit_costs() -> Costs:
    """Every mistake costs 1, as in the textbook: the start of counting, and the check of the arithmetic."""
    return 1.0 - np.eye(len(SYMBOLS))


def has_confusions(folder: Path) -> bool:
    """Whether they were measured for the model in `folder`."""
    return (folder / FILE).is_file()


def read_confusions(folder: Path) -> Confusions:
    """The table of the model in `folder`.

    Raises:
        ModelError: if it cannot be understood.
    """
    path = folder / FILE
    counts = np.zeros((len(SYMBOLS), len(SYMBOLS)), np.int64)
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        for said, heard in kept["said"].items():
            for symbol, count in heard.items():
                counts[CODE_OF[said], CODE_OF[symbol]] = count
        return Confusions(counts, str(kept["net"]), tuple(kept["material"]))
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
        raise ModelError(f"{path} cannot be understood ({error}). Install the model again.") from error


def write_confusions(table: Confusions, folder: Path) -> None:
    """Keep a table beside the net that it was measured with; the same counts give the same bytes."""
    rows = {
        said: {symbol: int(count) for symbol, count in zip(SYMBOLS, table.counts[code], strict=True) if count}
        for code, said in enumerate(SYMBOLS)
    }
    head = {"net": table.net, "material": list(table.material)}
    lines = [f'  "{said}": {json.dumps(heard)}' for said, heard in rows.items()]
    text = json.dumps(head, indent=1).removesuffix("\n}") + ',\n "said": {\n' + ",\n".join(lines) + "\n }\n}\n"
    (folder / FILE).write_text(text, encoding="utf-8")


def net_digest(folder: Path) -> str:
    """Which net lies in a model's folder: the beginning of the SHA-256 of its file."""
    return sha256((folder / "am/final.mdl").read_bytes()).hexdigest()[:16]
