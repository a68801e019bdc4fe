"""The shipped procedure with house rules, loaded for tests; never changed by them."""

from functools import cache
from importlib.resources import files

from protocol.house import House
from protocol.loading import load_procedure
from protocol.procedure import Procedure
from protocol.scene import Book

MAIN = "partial_entrapment"


@cache
def shipped_texts() -> dict[str, str]:
    """The shipped procedure files by name."""
    folder = files("protocol") / "procedures"
    found = [entry for entry in folder.iterdir() if entry.name.endswith(".toml")]
    return {entry.name.removesuffix(".toml"): entry.read_text(encoding="utf-8") for entry in found}


@cache
def shipped_procedure() -> Procedure:
    """The visible entrapment with its branches."""
    return load_procedure(MAIN, shipped_texts())


@cache
def shipped_book() -> Book:
    """The shipped procedure with the default house rules."""
    return book_with(House())


def book_with(house: House) -> Book:
    """The shipped procedure with other house rules."""
    return Book(shipped_procedure(), house, "tests")
