"""The bin of the site card on the board of a real run."""

import http.client
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.board import settings_for
from assistant.board.network import own_names
from assistant.clock import SystemClock
from assistant.errors import ProcedureError
from assistant.library import bin_on_card
from protocol.site import read_site
from protocol.units import FOOT_M

PATIENCE_MS = 10_000
CARD = """
[department]
name = "Alder County"
units = "{units}"
[[bin]]
name = "Maple Road 2"
diameter_ft = 27
eave_ft = 24
"""
SECOND = '[[bin]]\nname = "River bin"\ndiameter_ft = 36\neave_ft = 30\n'


def test_a_run_draws_the_bin_of_its_site_card(tmp_path: Path) -> None:
    """`run --site` serves a board whose drawing has the card's bin, in metres, named in the department's units."""
    card = tmp_path / "card.toml"
    card.write_text(CARD.format(units="metric"))
    command = [sys.executable, "-m", "assistant", "run", "--keyboard", "--mute", "--drill", "--port", "0", "--site", str(card),
               "--journal", str(tmp_path / "incident.jsonl")]  # fmt: skip
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        port = next(int(found[1]) for line in process.stdout if (found := re.search(r"127\.0\.0\.1:(\d+)/", line)))
        next(line for line in process.stdout if "How many" in line)
        drawn = _drawn(port)["bin"]
        process.stdin.close()
        process.stdout.read()
    assert {"name": "Maple Road 2", "diameter_m": round(27 * FOOT_M, 4), "eave_m": round(24 * FOOT_M, 4),
            "words": "Maple Road 2: 8.2 m across"} == drawn  # fmt: skip


def test_the_only_bin_is_drawn_and_of_several_the_one_that_is_named() -> None:
    """One bin needs no name; of two none is guessed; a name that is not on the card is refused with those that are."""
    one, two = (read_site(text, "card.toml") for text in (CARD.format(units="us"), CARD.format(units="us") + SECOND))
    found = bin_on_card(one, None)
    assert found is not None
    assert "Maple Road 2" == found.name
    assert bin_on_card(two, None) is None
    named = bin_on_card(two, "river BIN")
    assert named is not None
    assert 36 == named.diameter_ft
    with pytest.raises(ProcedureError, match=r"No bin 'barn' on the site card\. It lists: Maple Road 2, River bin\."):
        bin_on_card(two, "barn")
    with pytest.raises(ProcedureError, match="Give the card with --site"):
        bin_on_card(None, "barn")


def test_the_machines_own_names_are_answered_to_on_the_network_only() -> None:
    """With --lan a tablet may ask by the machine's name; on loopback it may not."""
    assert own_names() == settings_for(0, None, "us", lan=True).names
    assert frozenset() == settings_for(0, None, "us", lan=False).names
    assert all(name == name.lower() for name in own_names())


def _drawn(port: int) -> dict[str, object]:
    """The board's drawing; the console prints a step's words a moment before the board has them."""
    clock = SystemClock()
    until_ms = clock.now_ms() + PATIENCE_MS
    while (board := _state(port)["board"]) is None and clock.now_ms() < until_ms:
        clock.wait_ms(50)
    assert board is not None
    return board["drawing"]


def _state(port: int) -> dict[str, dict[str, dict[str, object]] | None]:
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        line.request("GET", "/state")
        found: dict[str, dict[str, dict[str, object]] | None] = json.loads(line.getresponse().read())
        return found
    finally:
        line.close()
