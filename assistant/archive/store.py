"""Opening the archive: SQLite in the data folder unless a URL names another database."""

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from platformdirs import user_data_path
from sqlalchemy import URL, Connection, Engine, create_engine, event, insert, make_url, select
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError

from assistant.archive.schema import METADATA, SETTINGS, VERSION
from assistant.errors import ArchiveError

INSTALL = "Install it: pip install 'bin-rescue-assistant[archive]'."
ADDRESSES = "Use sqlite:///FILE or postgresql://USER@HOST/NAME."
SCHEMA, SALT = "schema", "salt"


def default_url() -> str:
    """The archive in the person's own data folder."""
    return f"sqlite:///{user_data_path('bin-rescue-assistant') / 'archive.sqlite'}"


def open_archive(url: str | None = None) -> Engine:
    """The archive, its tables made where they are missing.

    Args:
        url: sqlite:///FILE or postgresql://USER@HOST/NAME; None: the default.

    Raises:
        ArchiveError: if it cannot be reached, is no archive, or belongs to another version.
    """
    found = _url(url or default_url())
    _make_file(found)
    try:
        engine = create_engine(found)
    except ImportError as error:
        raise ArchiveError(f"{_shown(found)} needs a driver that is missing ({error.name}). {INSTALL}") from error
    except (NoSuchModuleError, ArgumentError) as error:
        raise ArchiveError(f"{_shown(found)}: {error}. {ADDRESSES}") from error
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _set_pragmas)
    with told(engine), engine.begin() as connection:
        METADATA.create_all(connection)
        _check_version(connection)
    return engine


@contextmanager
def told(engine: Engine) -> Iterator[None]:
    """Make an error of the database a sentence.

    Raises:
        ArchiveError: in place of any error of the database.
    """
    try:
        yield
    except SQLAlchemyError as error:
        reason = str(getattr(error, "orig", None) or error).strip().split("\n")[0]
        raise ArchiveError(
            f"The archive {_shown(engine.url)} cannot be used: {reason}. Check the address, the rights and the space."
        ) from error


def setting(connection: Connection, name: str) -> str:
    """A value that the archive keeps for itself."""
    return str(connection.execute(select(SETTINGS.c.value).where(SETTINGS.c.name == name)).scalar_one())


def _check_version(connection: Connection) -> None:
    found = connection.execute(select(SETTINGS.c.value).where(SETTINGS.c.name == SCHEMA)).scalar()
    if found is None:
        rows = [{"name": SCHEMA, "value": VERSION}, {"name": SALT, "value": secrets.token_hex(32)}]
        connection.execute(insert(SETTINGS), rows)
    elif found != VERSION:
        raise ArchiveError(f"The archive is of version {found}, this program reads {VERSION}. Use the newer program.")


def _url(text: str) -> URL:
    try:
        url = make_url(text)
    except (ArgumentError, ValueError) as error:
        raise ArchiveError(f"'{text}' is no address of a database. {ADDRESSES}") from error
    return url.set(drivername="postgresql+psycopg") if url.drivername in {"postgresql", "postgres"} else url


def _make_file(url: URL) -> None:
    """The file is its owner's alone: it holds names."""
    if url.get_backend_name() != "sqlite" or not url.database or url.database == ":memory:":
        return
    path = Path(url.database)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch(mode=0o600)
    except OSError as error:
        raise ArchiveError(f"{path} cannot be made ({error.strerror}). Name another: --db sqlite:///FILE.") from error


def _set_pragmas(connection: Any, _record: Any) -> None:
    cursor = connection.cursor()
    for line in ("foreign_keys=ON", "journal_mode=WAL", "synchronous=NORMAL"):
        cursor.execute(f"PRAGMA {line}")
    cursor.close()


def _shown(url: URL) -> str:
    return url.render_as_string(hide_password=True)
