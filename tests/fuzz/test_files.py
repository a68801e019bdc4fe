"""Procedure files, site cards and phrase lists from anywhere."""

import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.drill.scenarios import load_scenario
from assistant.errors import AssistantError, ProcedureError, UsageError
from assistant.hearing.hear import read_phrases
from assistant.library import load_book, load_site, source_for
from tests.books import shipped_texts

SITE = """
[department]
name = "Elm Creek"

[[bin]]
name = "North"
diameter_ft = 30
eave_ft = 24
"""
BOMB = "a = " + "[" * 50_000
DOTTED = "a" + ".a" * 50_000 + " = 1"
LOADERS: dict[str, Callable[[Path], object]] = {
    "procedure": load_book,
    "site": load_site,
    "phrases": read_phrases,
    "scenario": lambda path: load_scenario(str(path)),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A place for files that are written again and again."""
    return tmp_path_factory.mktemp("files")


def loaded(load: Callable[[Path], object], path: Path, content: bytes) -> None:
    """Load it, or be refused by a coded error."""
    path.write_bytes(content)
    try:
        load(path)
    except AssistantError:
        return


@pytest.mark.parametrize("kind", LOADERS)
@given(content=st.binary(max_size=300))
def test_any_bytes_are_loaded_or_refused(folder: Path, kind: str, content: bytes) -> None:
    """Random bytes never give anything but a coded error."""
    loaded(LOADERS[kind], folder / f"{kind}.toml", content)


@settings(max_examples=200)
@given(start=st.integers(0, len(SITE)), length=st.integers(0, 20), new=st.text(max_size=12))
def test_a_site_card_with_any_place_overwritten(folder: Path, start: int, length: int, new: str) -> None:
    """A slip of the hand in a right card gives a card or a coded error; house rules and words are looked at too."""
    text = SITE[:start] + new + SITE[start + length :]

    def load(path: Path) -> object:
        return source_for(None, load_site(path))

    loaded(load, folder / "slip.toml", text.encode(errors="replace"))


@settings(max_examples=30)
@given(name=st.sampled_from(sorted(shipped_texts())), data=st.data())
def test_a_shipped_procedure_with_any_place_overwritten(folder: Path, name: str, data: st.DataObject) -> None:
    """The same for the shipped texts, read from a department's folder."""
    text = shipped_texts()[name]
    start = data.draw(st.integers(0, len(text) - 1))
    new = data.draw(st.text(max_size=12))
    loaded(load_book, folder / f"{name}.toml", (text[:start] + new + text[start + 20 :]).encode(errors="replace"))
    (folder / f"{name}.toml").unlink()


@pytest.mark.parametrize("kind", ["procedure", "site"])
@pytest.mark.parametrize("content", [BOMB, DOTTED, "a = " + "9" * 100_000, "a = '''" + "x" * 900_000], ids=["nested", "dotted", "number", "text"])
def test_bombs_are_refused(folder: Path, kind: str, content: str) -> None:
    """Deep nesting, endless keys, numbers and texts are refused, and quickly."""
    path = folder / f"bomb_{kind}.toml"
    path.write_text(content)
    with pytest.raises(AssistantError):
        LOADERS[kind](path)


@pytest.mark.parametrize("kind", LOADERS)
def test_a_gigabyte_is_refused_unread(folder: Path, kind: str) -> None:
    """A file of a gigabyte is refused before it takes memory."""
    path = folder / f"huge_{kind}.toml"
    with path.open("wb") as file:
        file.truncate(1_000_000_000)
    tracemalloc.start()
    with pytest.raises(AssistantError):
        LOADERS[kind](path)
    assert tracemalloc.get_traced_memory()[1] < 5_000_000
    tracemalloc.stop()


@pytest.mark.parametrize(
    ("kind", "error", "place"),
    [
        *(("procedure", ProcedureError, place) for place in ("/dev/zero", "/dev", "missing.toml")),
        *(("site", ProcedureError, place) for place in ("/dev/zero", "/dev", "missing.toml")),
        *(("phrases", UsageError, place) for place in ("/dev/zero", "/dev", "missing.toml")),
    ],
)
def test_only_files_are_loaded(kind: str, error: type[AssistantError], place: str) -> None:
    """A device that never ends, a folder and a missing file are refused."""
    with pytest.raises(error):
        LOADERS[kind](Path(place))


def test_a_million_phrases_are_refused(folder: Path) -> None:
    """A list that no station can listen for is refused by its size."""
    path = folder / "million.txt"
    path.write_text("".join(f"phrase {number}\n" for number in range(1_000_000)))
    with pytest.raises(UsageError, match="too long"):
        read_phrases(path)
