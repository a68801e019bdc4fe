"""The fuzzer's targets, without the fuzzer: what they begin from is right, and what is wrong is refused."""

from pathlib import Path

import pytest

from tests.fuzz.__main__ import TARGETS
from tests.fuzz.targets import TARGETS as MAKERS
from tests.fuzz.targets import prepared


def test_every_target_can_be_named() -> None:
    """The command knows all of them."""
    assert set(TARGETS) == set(MAKERS)


@pytest.mark.parametrize("target", TARGETS)
def test_a_target_takes_its_first_inputs_and_rubbish(tmp_path: Path, target: str) -> None:
    """Right inputs run through; so do no bytes at all, bytes that are no text, and a right one cut in half."""
    run, seeds = prepared(target, tmp_path)
    for data in (*seeds, b"", b"\xff\xfe\x00", seeds[-1][: len(seeds[-1]) // 2]):
        run(data)
