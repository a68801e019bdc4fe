"""Records of incidents that were written by somebody else."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import AssistantError, JournalError
from assistant.incident import resume_incident
from assistant.journal import _link, read
from assistant.replay import book_of, rebuild, verify
from tests.faults.records import made
from tests.fuzz.values import JSON, places, with_value

LINES = 6


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A place for files that are written again and again."""
    return tmp_path_factory.mktemp("records")


class Right:
    """A right record, line by line, without its digests; its name in a failure is short."""

    def __init__(self, path: Path) -> None:
        lines = [json.loads(line) for line in made(path, LINES).splitlines()]
        self.lines: list[Any] = [{name: value for name, value in line.items() if name != "chain"} for line in lines]


@pytest.fixture(scope="module")
def right(folder: Path) -> Right:
    """A right record."""
    return Right(folder / "right.jsonl")


def forged(lines: list[Any]) -> bytes:
    """The lines with digests that fit: a forger knows how they are made."""
    chain, out = "", b""
    for line in lines:
        plain = line if isinstance(line, dict) else {"content": line}
        chain = _link(chain, plain)
        out += json.dumps({**plain, "chain": chain}).encode() + b"\n"
    return out


def everything(path: Path) -> None:
    """Read, rebuild, check and resume, as the commands do."""
    history = read(path)
    book_of(history)
    rebuild(history)
    verify(history)
    resume_incident(path).journal.close()


@given(content=st.binary(max_size=400))
def test_any_bytes_are_refused_as_a_record(folder: Path, content: bytes) -> None:
    """Whatever the file holds, the error is the journal's own."""
    path = folder / "bytes.jsonl"
    path.write_bytes(content)
    with pytest.raises(JournalError):
        read(path)


@settings(max_examples=150)
@given(number=st.integers(0, 10**6), where=st.integers(0, 10**6), new=JSON)
def test_a_forged_record_is_used_or_refused(
    folder: Path, right: Right, number: int, where: int, new: object
) -> None:
    """Any value of any line replaced, with digests that fit: an error of the program, or an incident."""
    lines = [*right.lines]
    line = lines[number % len(lines)]
    inside = places(line)
    lines[number % len(lines)] = with_value(line, inside[where % len(inside)], new)
    path = folder / "forged.jsonl"
    path.write_bytes(forged(lines))
    try:
        everything(path)
    except AssistantError:
        return


@given(order=st.lists(st.integers(0, LINES), max_size=8))
def test_lines_lost_doubled_or_swapped_are_refused_or_a_beginning(
    folder: Path, right: Right, order: list[int]
) -> None:
    """A record whose lines are in another order, even with digests that fit, is refused; a shorter one is a beginning."""
    path = folder / "order.jsonl"
    path.write_bytes(forged([right.lines[place] for place in order]))
    try:
        history = read(path)
    except JournalError:
        return
    kept = 1 + len(history.records)
    assert order[:kept] == list(range(kept))
    assert kept >= len(order) - 1


@pytest.mark.parametrize("nested", [b"[" * 100_000, b'{"a":' * 100_000, b"[" * 100_000 + b"]" * 100_000])
def test_deep_nesting_is_refused(folder: Path, nested: bytes) -> None:
    """A line nested a hundred thousand deep is an error with a name, not a crash."""
    path = folder / "deep.jsonl"
    path.write_bytes(nested + b"\n" + nested + b"\n")
    with pytest.raises(JournalError):
        read(path)
