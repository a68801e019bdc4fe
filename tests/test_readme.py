"""What the README names exists."""

import argparse
import re
from pathlib import Path

import pytest

from assistant.cli import parser

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
NAMED = sorted({line.strip() for line in re.findall(r"bin-rescue ([a-z][^`\n]*)", README)})


def _commands(of: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    tables = (a.choices for a in of._actions if isinstance(a, argparse._SubParsersAction))
    return {name: sub for table in tables for name, sub in table.items()}


def _options(of: argparse.ArgumentParser) -> set[str]:
    own = set(of._option_string_actions)
    return own.union(*(_options(sub) for sub in _commands(of).values()))


@pytest.mark.parametrize("line", NAMED)
def test_every_command_the_readme_names_is_one_with_those_options(line: str) -> None:
    """A reader who types what the README names is not told that there is no such command or option."""
    name = line.split(maxsplit=1)[0]
    assert name in _commands(parser())
    options = set(re.findall(r"--[a-z][a-z-]*", line))
    assert options - _options(_commands(parser())[name]) == set()
