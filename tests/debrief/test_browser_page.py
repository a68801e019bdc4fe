"""The page in Debian's chromium: it fits, prints, and plays what was said."""

import base64
import unicodedata
from collections.abc import Iterator, Mapping
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Browser, Page
from pypdf import PdfReader

from assistant.debrief.html_page import html_page
from assistant.debrief.sections import Cover, report
from assistant.debrief.tale import Tale
from tests.board.chromium import chromium

pytestmark = pytest.mark.browser
PLAYS = """async () => { const sound = document.querySelector("audio");
await new Promise((done, fail) => { sound.oncanplaythrough = done; sound.onerror = () => fail(sound.error.message); sound.load(); });
return sound.duration; }"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all."""
    with chromium() as found:
        yield found


def shown(browser: Browser, path: Path, width: int) -> tuple[Page, list[str]]:
    """The page at a width, and everything it asked for or complained of."""
    page = browser.new_page(viewport={"width": width, "height": 900})
    seen: list[str] = []
    page.on("console", lambda message: seen.append(message.text))
    page.on("request", lambda request: seen.append(request.url))
    page.goto(path.as_uri())
    return page, seen


def written(tale: Tale, folder: Path, sounds: Mapping[int, str] | None = None) -> Path:
    """The page as a file."""
    path = folder / "page.html"
    path.write_text(html_page(report(tale, Cover("", "record.jsonl")), sounds or {}), encoding="utf-8")
    return path


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("name", ["troubled", "drill"])
def test_it_asks_for_nothing_and_fits(
    name: str, width: int, browser: Browser, tales: Mapping[str, Tale], tmp_path: Path
) -> None:
    """The file is all it loads, nothing is complained of, and the body never scrolls sideways."""
    path = written(tales[name], tmp_path)
    page, seen = shown(browser, path, width)
    assert [path.as_uri()] == seen
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()


def test_what_was_said_can_be_played(browser: Browser, tales: Mapping[str, Tale], tmp_path: Path) -> None:
    """A sound inside the page loads and has its length; the page's own policy lets it through."""
    out = BytesIO()
    soundfile.write(out, np.zeros(32_000, np.int16), 16_000, format="FLAC")
    address = f"data:audio/flac;base64,{base64.b64encode(out.getvalue()).decode()}"
    tale = tales["drill"]
    page, seen = shown(browser, written(tale, tmp_path, {tale.confirmations[0].at_ms: address}), 1280)
    assert 2.0 == pytest.approx(page.evaluate(PLAYS), abs=0.01)
    assert not [line for line in seen if "Refused" in line or "violates" in line]
    page.close()


def test_it_prints_whole(browser: Browser, tales: Mapping[str, Tale], tmp_path: Path) -> None:
    """On paper every section is there, and what was folded on the screen is left out."""
    page, _seen = shown(browser, written(tales["troubled"], tmp_path), 1280)
    sheets = PdfReader(BytesIO(page.pdf())).pages
    text = unicodedata.normalize("NFKC", " ".join(sheet.extract_text() for sheet in sheets))
    assert "Who confirmed what and when" in text
    assert "Final digest" in text
    assert "Everything that was heard" not in text
    page.close()


@pytest.mark.parametrize("name", ["troubled", "empty"])
def test_axe_finds_nothing(name: str, browser: Browser, tales: Mapping[str, Tale], tmp_path: Path) -> None:
    """Contrast, names of pictures and tables, order of headings: nothing to complain of."""
    page = browser.new_context(bypass_csp=True).new_page()
    page.goto(written(tales[name], tmp_path).as_uri())
    assert [] == [row["id"] for row in Axe().run(page).response["violations"]]
    page.close()
