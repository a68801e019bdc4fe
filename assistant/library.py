"""Procedures and house rules from files, checked and put together as a Book."""

import hashlib
import json
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path

from assistant.errors import ProcedureError
from protocol.errors import ProtocolError
from protocol.house import House
from protocol.loading import load_procedure
from protocol.scene import Book

SHIPPED = "partial_entrapment"
MAX_FILE_BYTES = 1_000_000


def shipped_texts() -> dict[str, str]:
    """The shipped procedure files by name."""
    folder = files("protocol") / "procedures"
    return {
        entry.name.removesuffix(".toml"): entry.read_text(encoding="utf-8")
        for entry in folder.iterdir()
        if entry.name.endswith(".toml")
    }


def texts_for(path: Path) -> dict[str, str]:
    """A department's procedure file, the files beside it, and the shipped ones for whatever it includes.

    Raises:
        ProcedureError: if a file cannot be read.
    """
    beside = sorted(path.parent.glob("*.toml")) if path.parent.is_dir() else []
    texts = shipped_texts()
    texts.update({other.stem: _read(other) for other in beside if other.stem in texts and other != path})
    texts[path.stem] = _read(path)
    return texts


def make_book(name: str, texts: Mapping[str, str], house: House) -> Book:
    """Check a procedure and join it with the house rules.

    Raises:
        ProcedureError: with file, line and reason.
    """
    try:
        procedure = load_procedure(name, texts)
    except ProtocolError as error:
        raise ProcedureError(str(error)) from error
    return Book(procedure, house, digest_of(name, texts, house))


def load_book(path: Path | None = None, house: House | None = None) -> Book:
    """The shipped procedure, or the one in a file.

    Raises:
        ProcedureError: with file, line and reason.
    """
    name, texts = source_of(path)
    return make_book(name, texts, house or House())


def source_of(path: Path | None) -> tuple[str, dict[str, str]]:
    """Name and texts of a procedure, for the record's header.

    Raises:
        ProcedureError: if a file cannot be read.
    """
    return (SHIPPED, shipped_texts()) if path is None else (path.stem, texts_for(path))


def digest_of(name: str, texts: Mapping[str, str], house: House) -> str:
    """SHA-256 over the procedure texts and the house rules, so that a record says what it ran on."""
    content = {"name": name, "texts": dict(sorted(texts.items())), "house": house.model_dump(mode="json")}
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def _read(path: Path) -> str:
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            raise ProcedureError(f"{path}: larger than {MAX_FILE_BYTES} bytes; a procedure is not that long.")
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise ProcedureError(f"{path}: cannot be read ({error.strerror}). Check the name.") from error
    except UnicodeDecodeError as error:
        raise ProcedureError(f"{path}: is not UTF-8 text. Save it as UTF-8.") from error
