"""The list of published values names tests that exist, and gives a reason for every value that has none."""

import ast
import re
from pathlib import Path

from tests.protocol.estimates.test_facts_coverage import COVERED, LEFT_OUT

ROOT = Path(__file__).parents[1]
LIST = (ROOT / "tests" / "PUBLISHED_VALUES.md").read_text(encoding="utf-8")
NAMED = re.findall(r"`(tests/[\w/]+\.py)::(test_\w+)`", LIST)


def test_every_named_test_exists() -> None:
    """No row of the list points to a test that was renamed or removed."""
    files = {file for file, _name in NAMED}
    known = {
        (file, node.name)
        for file in files
        for node in ast.walk(ast.parse((ROOT / file).read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef)
    }
    assert 100 < len(NAMED)
    assert set() == set(NAMED) - known


def test_the_estimates_of_the_list_are_those_of_their_table() -> None:
    """What the estimates' own table covers or leaves out stands in the list too."""
    assert set() == set(COVERED.values()) - {name for _file, name in NAMED}
    assert [] == [value for value in LEFT_OUT if value not in LIST]


def test_what_was_left_out_has_a_reason() -> None:
    """Each line of the last part says what and why."""
    lines = LIST.partition("## Left out")[2].splitlines()[2:]
    assert all(re.match(r"- .+: .{10,}\.$", line) for line in lines), lines
