"""Procedures and house rules from files, checked and put together as a Book."""

import hashlib
import json
import re
import stat
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from assistant.errors import ProcedureError
from protocol.errors import ProtocolError
from protocol.house import House
from protocol.loading import load_procedure
from protocol.scene import Book
from protocol.site import Bin, Site, read_site

SHIPPED = "partial_entrapment"
MAX_FILE_BYTES = 1_000_000
ENDLESS_KEY = re.compile(r"(?<![^\s.=])(?:[^\s.=]++[ \t]*+\.[ \t]*+){16}[^\s.=]")
"""Names joined by dots without end: the time to parse them grows with their square."""


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
    texts.update({other.stem: read_text(other) for other in beside if other.stem in texts and other != path})
    texts[path.stem] = read_text(path)
    return texts


@dataclass(frozen=True, slots=True)
class Source:
    """Everything that a Book is made from, as a record keeps it."""

    name: str
    """Main procedure text."""
    texts: Mapping[str, str]
    house: House
    words: Mapping[str, Sequence[str]]
    """A department's own phrases by step."""


def source_for(path: Path | None = None, site: Site | None = None) -> Source:
    """The shipped procedure, or the one in a file, with a department's house rules and words.

    Raises:
        ProcedureError: if a file cannot be read or a house rule is out of bounds.
    """
    name, texts = (SHIPPED, shipped_texts()) if path is None else (path.stem, texts_for(path))
    try:
        house = site.house_rules() if site else House()
    except ProtocolError as error:
        raise ProcedureError(str(error)) from error
    return Source(name, texts, house, site.words if site else {})


def make_book(source: Source) -> Book:
    """Check a procedure and join it with the house rules.

    Raises:
        ProcedureError: with file, line and reason.
    """
    for name, text in source.texts.items():
        refuse_endless(text, name)
    try:
        procedure = load_procedure(source.name, source.texts, source.words)
    except ProtocolError as error:
        raise ProcedureError(str(error)) from error
    except ValueError as error:
        raise ProcedureError(f"{source.name}: {error}") from error
    return Book(procedure, source.house, digest_of(source))


def load_book(path: Path | None = None, site: Site | None = None) -> Book:
    """The checked procedure of a file, or the shipped one.

    Raises:
        ProcedureError: with file, line and reason.
    """
    return make_book(source_for(path, site))


def load_site(path: Path | None) -> Site | None:
    """A site card, or None without one.

    Raises:
        ProcedureError: with file, line and reason.
    """
    if path is None:
        return None
    try:
        return read_site(read_text(path), path.name)
    except (ProtocolError, ValueError) as error:
        raise ProcedureError(str(error)) from error


def bin_on_card(site: Site | None, name: str | None) -> Bin | None:
    """The bin that is named, or the only one on the card; None when nobody can say which it is.

    Raises:
        ProcedureError: if the card does not list that bin.
    """
    listed = site.bin if site else ()
    if name is None:
        return listed[0] if len(listed) == 1 else None
    found = next((row for row in listed if row.name.casefold() == name.strip().casefold()), None)
    if found is None:
        names = ", ".join(row.name for row in listed)
        helps = f"It lists: {names}." if names else "Give the card with --site."
        raise ProcedureError(f"No bin '{name}' on the site card. {helps}")
    return found


def digest_of(source: Source) -> str:
    """SHA-256 over procedure texts, house rules and words, so that a record says what it ran on."""
    content = {
        "name": source.name,
        "texts": dict(sorted(source.texts.items())),
        "house": source.house.model_dump(mode="json"),
        "words": {step: list(phrases) for step, phrases in sorted(source.words.items())},
    }
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def read_text(path: Path) -> str:
    """The text of a procedure, card or scenario.

    Raises:
        ProcedureError: if it cannot be read, is too long or is no text.
    """
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise ProcedureError(f"{path}: is not a file. Name a TOML file.")
        if found.st_size > MAX_FILE_BYTES:
            raise ProcedureError(f"{path}: larger than {MAX_FILE_BYTES} bytes; a procedure is not that long.")
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise ProcedureError(f"{path}: cannot be read ({error.strerror}). Check the name.") from error
    except UnicodeDecodeError as error:
        raise ProcedureError(f"{path}: is not UTF-8 text. Save it as UTF-8.") from error
    refuse_endless(text, str(path))
    return text


def refuse_endless(text: str, where: str) -> None:
    """Refuse TOML that would take for ever to parse, wherever it comes from: a file, or somebody's record.

    Raises:
        ProcedureError: if it is such a text.
    """
    if ENDLESS_KEY.search(text):
        raise ProcedureError(f"{where}: a name of many parts joined by dots; no procedure, card or scenario has one.")
