"""Both databases, and records to put into them."""

from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from sqlalchemy import Engine, create_engine

from assistant.archive.schema import METADATA
from assistant.archive.store import open_archive
from tests.archive.server import postgresql
from tests.debrief.records import RECORDS

BOTH = ("sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql))


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The URL of a PostgreSQL that runs for these tests."""
    with postgresql() as url:
        yield url


@pytest.fixture(params=BOTH)
def url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of an empty archive, once on each database."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path}/archive.sqlite"
        return
    found: str = request.getfixturevalue("server")
    empty(found)
    yield found


@pytest.fixture
def archive(url: str) -> Iterator[Engine]:
    """An open, empty archive, once on each database."""
    engine = open_archive(url)
    yield engine
    engine.dispose()


@pytest.fixture(scope="session")
def records(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Path]:
    """Some records."""
    folder = tmp_path_factory.mktemp("archived")
    names = ("drill", "troubled", "empty", "opened", "torn", "altered")
    return {name: RECORDS[name](folder / f"{name}.jsonl") for name in names}


def empty(url: str) -> None:
    """Take every table away."""
    engine = create_engine(url.replace("postgresql:", "postgresql+psycopg:"))
    METADATA.drop_all(engine)
    engine.dispose()
