"""The page and the PDF: everything in them, nothing outside them."""

import re
import sys
from collections.abc import Mapping
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from assistant.debrief.document import Report
from assistant.debrief.html_page import html_page
from assistant.debrief.pdf_pages import pdf_pages
from assistant.debrief.sections import Cover, report
from assistant.debrief.tale import Tale
from assistant.debrief.telling import tell
from assistant.errors import DebriefError
from protocol.wording import READ_NOT_SAFE
from tests.debrief.records import twelve_hours

SECTIONS = (
    "Summary", "Timeline", "Air as read", "Grain inside the ring", "Emergencies and alarms", "Crew in and out",
    "Overrides and refusals", "Who confirmed what and when", "Hand-over card", "Score, as facts", "Cautions",
    "The record",
)  # fmt: skip
NAMES = ("drill", "troubled", "empty", "opened", "torn", "altered", "scenario")


class Page(HTMLParser):
    """What a page holds."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note tags and addresses."""
        self.tags.append(tag)
        self.addresses.extend(value or "" for name, value in attrs if name in {"src", "href", "action", "data"})

    def handle_data(self, data: str) -> None:
        """Note words."""
        self.words.append(data)


def made(tale: Tale) -> Report:
    """The report of a tale."""
    return report(tale, Cover("Invented County Rescue", "record.jsonl"))


def pages_of(tale: Tale) -> list[str]:
    """The text of each page of the PDF, on one line each."""
    reader = PdfReader(BytesIO(pdf_pages(made(tale))))
    return [re.sub(r"\s+", " ", page.extract_text()) for page in reader.pages]


@pytest.mark.parametrize("name", NAMES)
def test_the_page_stands_alone(name: str, tales: Mapping[str, Tale]) -> None:
    """No script, no link, no address of anything outside; every section is there."""
    text = html_page(made(tales[name]))
    page = Page(text)
    assert not {"script", "link", "iframe", "img", "object", "form"} & set(page.tags)
    assert [] == page.addresses
    assert "http" not in text.replace("http-equiv", "").replace("http://www.w3.org/2000/svg", "")
    words = "".join(page.words)
    for section in SECTIONS:
        assert section in words


@pytest.mark.parametrize("name", NAMES)
def test_the_pdf_has_every_section(name: str, tales: Mapping[str, Tale]) -> None:
    """Pages in order with their numbers and the digest on each, every section, and the advice on the first."""
    tale = tales[name]
    pages = pages_of(tale)
    for number, text in enumerate(pages, start=1):
        assert f"page {number}" in text
        assert f"Record digest {tale.condition.digest[:16]}" in text
    whole = " ".join(pages)
    for section in SECTIONS:
        assert section in whole
    assert "The incident commander decides" in pages[0]
    assert tale.condition.digest in whole.replace(" ", "") or tale.condition.digest in whole


def test_the_pdf_carries_its_fonts(tales: Mapping[str, Tale]) -> None:
    """It looks the same on every machine: each font is embedded."""
    reader = PdfReader(BytesIO(pdf_pages(made(tales["drill"]))))
    fonts = [font.get_object() for page in reader.pages for font in page["/Resources"]["/Font"].values()]  # type: ignore[index]
    named = [font for font in fonts if "Vera" in font["/BaseFont"]]
    assert named
    assert all("/FontFile2" in font["/FontDescriptor"].get_object() for font in named)


def test_times_are_local_and_in_minutes(tales: Mapping[str, Tale]) -> None:
    """A confirmation is dated both ways, and the offset from UTC is said once."""
    tale = tales["drill"]
    words = " ".join(Page(html_page(made(tale))).words)
    assert "(UTC-06:00)" in words
    first = tale.confirmations[0]
    assert f"{first.at_ms / 60_000:.1f}" in words


def test_words_from_the_record_stay_words(tales: Mapping[str, Tale]) -> None:
    """Signs that mean something in HTML are shown, not obeyed; letters the PDF's font lacks become question marks."""
    text = html_page(made(tales["troubled"]))
    assert "Deputy &lt;Ward&gt; saw it &amp; nobody asked." in text
    assert "谷物" in text
    whole = " ".join(pages_of(tales["troubled"]))
    assert "Deputy <Ward> saw it & nobody asked." in whole
    assert "Ünïcode: ??." in whole


@pytest.mark.parametrize("name", NAMES)
def test_nothing_calls_the_air_safe(name: str, tales: Mapping[str, Tale]) -> None:
    """The only sentence with the word says that it was not read that the air is safe."""
    words = " ".join(Page(html_page(made(tales[name]))).words)
    assert READ_NOT_SAFE in words
    assert [] == re.findall(r"\bsafe\b", words.replace(READ_NOT_SAFE, "").lower())


@pytest.mark.parametrize(("name", "sentence"), [
    ("torn", "It had not been spoken or applied, and it is not counted."),
    ("altered", "This record was changed or damaged after it was written"),
    ("drill", "Verified: every record is whole"),
    ("empty", "Nothing was recorded after the file was begun."),
])  # fmt: skip
def test_the_condition_of_the_record_is_said(name: str, sentence: str, tales: Mapping[str, Tale]) -> None:
    """In a sentence, on the page and in the PDF."""
    assert sentence in html_page(made(tales[name]))
    assert sentence in " ".join(pages_of(tales[name]))


def test_sound_is_played_where_it_was_kept(tales: Mapping[str, Tale]) -> None:
    """A row whose sound was kept has a player; the others have none, and the page is whole without."""
    tale = tales["drill"]
    first = tale.confirmations[0].at_ms
    text = html_page(made(tale), {first: "data:audio/flac;base64,AAAA"})
    assert text.count("<audio controls preload='none' src='data:audio/flac;base64,AAAA'>") == 2
    assert "<audio" not in html_page(made(tale))


def test_without_its_library_the_pdf_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, tales: Mapping[str, Tale]
) -> None:
    """One sentence with the command."""
    monkeypatch.setitem(sys.modules, "reportlab.lib", None)
    with pytest.raises(DebriefError, match=r"pip install 'bin-rescue-assistant\[debrief\]'"):
        pdf_pages(made(tales["drill"]))


def test_a_long_row_breaks_over_pages(tales: Mapping[str, Tale], tmp_path: Path) -> None:
    """A note of two thousand words goes on on the next page instead of stopping the report."""
    from dataclasses import replace  # noqa: PLC0415

    from assistant.debrief.tale import Moment  # noqa: PLC0415

    del tmp_path
    tale = replace(tales["drill"], notes=(Moment(0, "board", "word " * 2_000),))
    assert 2_000 <= sum(text.count("word") for text in pages_of(tale))


def test_twelve_hours_make_a_report(tmp_path: Path) -> None:
    """A record of twelve hours is told, verified and set in a PDF of fewer than twenty pages."""
    tale = tell(twelve_hours(tmp_path / "long.jsonl"))
    assert tale.condition.verified
    assert 11 * 3_600_000 < tale.end_ms
    pages = pages_of(tale)
    assert 4 < len(pages) < 20
    assert "Stand down" in " ".join(pages)


def test_paper_is_the_department_s(tales: Mapping[str, Tale]) -> None:
    """Letter paper and inches where the department measures in them, A4 and metres elsewhere."""
    from dataclasses import replace  # noqa: PLC0415

    from assistant.debrief.tale import LevelRow  # noqa: PLC0415

    taped = LevelRow(60_000, "", 0.9144, taped=True)
    tale = replace(tales["drill"], levels=(*tales["drill"].levels, taped))
    sizes, words = [], []
    for units in ("us", "metric"):
        reader = PdfReader(BytesIO(pdf_pages(made(replace(tale, units=units)))))
        sizes.append(tuple(round(float(value)) for value in reader.pages[0].mediabox[2:]))
        words.append(" ".join(page.extract_text() for page in reader.pages))
    assert [(612, 792), (595, 842)] == sizes
    assert "taped, 36 in over the soles" in words[0]
    assert "taped, 0.91 m over the soles" in words[1]


@pytest.mark.parametrize("name", ["torn", "altered"])
def test_a_damaged_record_says_so_on_the_first_page(name: str, tales: Mapping[str, Tale]) -> None:
    """Nobody has to turn to the last page to learn it."""
    first = tales[name].condition.sentences[0]
    assert first[:60] in pages_of(tales[name])[0]
