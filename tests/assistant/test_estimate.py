"""`estimate`: what a site card allows, in words and as JSON; a wrong card gets one sentence and its own status."""

import json
from pathlib import Path

import pytest

from assistant.cli import main
from tests.protocol.test_sheets import BARE, FULL

FIELDS = {
    "estimate", "about", "value", "low", "high", "unit", "method", "source", "inputs", "cautions", "spoken", "shown",
}  # fmt: skip


def card(tmp_path: Path, text: str) -> str:
    """A card on disk."""
    path = tmp_path / "site.toml"
    path.write_text(text)
    return str(path)


def test_json_holds_every_field(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every estimate has inputs, method, range, unit and source."""
    assert 0 == main(["estimate", card(tmp_path, FULL), "--json"])
    found = json.loads(capsys.readouterr().out)
    assert [] == found["not_possible"]
    assert len(found["estimates"]) > 100
    assert all(FIELDS == set(row) for row in found["estimates"])


def test_words_name_units_and_sources(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same to be read: US units by default, metric when the card says so, the source under each sheet."""
    main(["estimate", card(tmp_path, FULL)])
    us = capsys.readouterr().out
    main(["estimate", card(tmp_path, FULL.replace("[[bin]]", 'units = "metric"\n[[bin]]', 1))])
    metric = capsys.readouterr().out
    assert "562 lbf" in us
    assert "2,502 N (" in metric
    assert "Source: " in us


def test_a_bare_card_names_the_gaps(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What cannot be worked out is listed with the reason, and the command still succeeds."""
    assert 0 == main(["estimate", card(tmp_path, BARE), "--json"])
    assert json.loads(capsys.readouterr().out)["not_possible"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (FULL.replace("[department]", "[departement]"), "department"),
        (FULL.replace("diameter_ft = 30", "diameter_ft = -3"), "site.toml, line"),
        (FULL.replace('"corn"', '"gravel"'), "site.toml, line"),
        (FULL + "\n[house]\nroll_call_min = 0\n", "roll_call_min"),
        ("not toml at all [", "not valid TOML"),
    ],
)
def test_a_wrong_card_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, words: str) -> None:
    """One sentence, status 8."""
    assert 8 == main(["estimate", card(tmp_path, text)])
    message = capsys.readouterr().err.strip()
    assert 1 == len(message.splitlines())
    assert words in message


def test_a_card_that_is_not_there_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    """Status 8 and the name."""
    assert 8 == main(["estimate", "/nowhere/site.toml"])
    assert "/nowhere/site.toml" in capsys.readouterr().err
