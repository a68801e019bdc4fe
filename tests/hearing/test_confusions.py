"""The measured table of mistaken phones: whole, of the net that ships, and turned into costs that make sense."""

from pathlib import Path

import numpy as np
import pytest

from assistant.errors import ModelError
from assistant.hearing.confusions import (
    CODE_OF,
    FILE,
    FLOOR,
    NOTHING,
    SYMBOLS,
    Confusions,
    net_digest,
    read_confusions,
    write_confusions,
)
from assistant.hearing.recogniser import shipped_model
from assistant.recipe.phones import ARPABET

TABLE = read_confusions(shipped_model())
NONE_SEEN = Confusions(np.zeros((40, 40), np.int64), "", ())


def test_the_table_was_measured_with_the_net_that_ships() -> None:
    """A new net needs a new table: python -m tests.bench confusions."""
    assert TABLE.net == net_digest(shipped_model())


def test_the_file_is_small() -> None:
    """It is read at each check and lies in the package."""
    assert (shipped_model() / FILE).stat().st_size < 30_000


@pytest.mark.parametrize("symbol", SYMBOLS)
def test_every_symbol_has_a_row_of_probabilities(symbol: str) -> None:
    """The whole table is walked: each row sums to 1, nothing is impossible, and as said is likelier than anything else."""
    row = TABLE.probabilities[CODE_OF[symbol]]
    assert len(SYMBOLS) == len(row)
    assert row.sum() == pytest.approx(1.0)
    assert row.min() > FLOOR / 2
    assert CODE_OF[symbol] == row.argmax()


@pytest.mark.parametrize("phone", ARPABET)
def test_every_phone_was_heard_in_the_measurement(phone: str) -> None:
    """No phone's row is made of averages alone; the rarest in English, ZH, hardly occurs in what people say."""
    assert TABLE.counts[CODE_OF[phone]].sum() >= (1 if phone == "ZH" else 20)


def test_costs_are_symmetric_and_the_average_is_one() -> None:
    """Nothing is free but hearing right, and the unit is the average of two different phones."""
    costs = TABLE.costs()
    phones = costs[:39, :39]
    others = ~np.eye(39, dtype=bool)
    assert np.array_equal(costs, costs.T)
    assert not costs.diagonal().any()
    assert costs[~np.eye(40, dtype=bool)].min() > 0
    assert phones[others].mean() == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("near", "far"),
    [("M N", "M S"), ("S Z", "S M"), ("T D", "T M"), ("IH AH", "IH S"), ("CH JH", "CH N"), ("AA AO", "AA IY")],
)
def test_what_phonetics_calls_alike_is_mistaken_sooner(near: str, far: str) -> None:
    """Phones that share manner or place are nearer than those that share neither.

    Source: Miller and Nicely, J. Acoust. Soc. Am. 27 (1955): in noise, place and voicing are lost first, nasality and
    frication last (from memory).
    """
    costs = TABLE.costs()
    (one, like), (same, unlike) = near.split(), far.split()
    assert costs[CODE_OF[one], CODE_OF[like]] < costs[CODE_OF[same], CODE_OF[unlike]]


def test_a_phone_that_was_never_said_fares_as_the_average() -> None:
    """Nothing counted gives one cost for all, not zero."""
    costs = NONE_SEEN.costs()
    assert costs[:39, :39][~np.eye(39, dtype=bool)] == pytest.approx(1.0)
    counts = TABLE.counts.copy()
    counts[CODE_OF["ZH"]] = 0
    assert Confusions(counts, "", ()).costs()[CODE_OF["ZH"], CODE_OF["M"]] > 0.5


def test_a_table_comes_back_as_it_was_written(tmp_path: Path) -> None:
    """Counts, digest and material survive, and the same table gives the same bytes."""
    (tmp_path / "conf").mkdir()
    write_confusions(TABLE, tmp_path)
    again = read_confusions(tmp_path)
    assert np.array_equal(TABLE.counts, again.counts)
    assert (TABLE.net, TABLE.material) == (again.net, again.material)
    assert (shipped_model() / FILE).read_bytes() == (tmp_path / FILE).read_bytes()


@pytest.mark.parametrize("text", ["", "[]", '{"said": {"QQ": {}}}', '{"net": "", "material": [], "said": {"AA": 3}}'])
def test_a_table_that_cannot_be_understood_is_named(tmp_path: Path, text: str) -> None:
    """One sentence with the file's name, no traceback."""
    (tmp_path / "conf").mkdir()
    (tmp_path / FILE).write_text(text, encoding="utf-8")
    with pytest.raises(ModelError, match=r"confusions\.json cannot be understood"):
        read_confusions(tmp_path)


def test_nothing_stands_last() -> None:
    """The codes of phones are those of ARPABET; what stands for no phone comes after them."""
    assert [*ARPABET, NOTHING] == list(SYMBOLS)
