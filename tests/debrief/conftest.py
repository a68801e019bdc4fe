"""Records of every kind, written once for all tests of the debrief."""

from collections.abc import Mapping
from datetime import timedelta, timezone
from pathlib import Path

import pytest

from assistant.debrief.tale import Tale
from assistant.debrief.telling import tell
from tests.debrief.records import RECORDS

ZONE = timezone(timedelta(hours=-6))
QUICK = ("drill", "troubled", "empty", "opened", "torn", "altered", "scenario")


@pytest.fixture(scope="session")
def records(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Path]:
    """Path of each kind of record; not the one of twelve hours."""
    folder = tmp_path_factory.mktemp("records")
    return {name: RECORDS[name](folder / f"{name}.jsonl") for name in QUICK}


@pytest.fixture(scope="session")
def tales(records: Mapping[str, Path]) -> Mapping[str, Tale]:
    """The tale of each, six hours behind UTC."""
    return {name: tell(path, ZONE) for name, path in records.items()}
