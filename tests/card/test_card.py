"""The card of phrases: everything that may be said is on it, on one page, black on white."""

import re
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from assistant.card.content import ANSWERED, CAUTION, Card, Line, Part, card_of
from assistant.card.html import card_html
from assistant.card.pdf import card_pdf
from assistant.cli import main
from assistant.errors import DebriefError
from assistant.library import load_book
from protocol.air import Gas
from protocol.commands import Query, Role
from protocol.phrases import AFFIRM_PHRASES, every_phrase, step_phrases
from tests.board.chromium import chromium

LETTER_PT = (612, 792)
A4_PT = (595, 842)
RANGED = re.compile(r"\b(one|two|three|four|five|six|seven|eight)\b")
SPOKEN_NUMBER = " {number}"
READABLE_PT = 6.5
"""Type of this font is not made smaller on the card of both sides."""


def text_of(page: bytes) -> str:
    """What a reader finds on the only page, on one line."""
    pages = PdfReader(BytesIO(page)).pages
    assert 1 == len(pages)
    return " ".join(pages[0].extract_text().split())


def on_card(phrase: str, text: str) -> bool:
    """Whether a phrase is there: in full, or between the first and the last number of its kind."""
    if SPOKEN_NUMBER in phrase:
        head, _, tail = phrase.partition(SPOKEN_NUMBER)
        return all(part in text for part in (RANGED.sub("one", head), *tail.split(" ", 2)[2:]) if part)
    if phrase in text:
        return True
    first = RANGED.sub("one", phrase, count=1)
    return first != phrase and bool(re.search(f"{first} … {RANGED.sub('(two|three|four|five|six|seven|eight)', phrase, count=1)}", text))


def test_every_phrase_is_on_the_card() -> None:
    """Each phrase of the shipped procedure that confirms, answers, asks, counts, reads, raises or takes back; one page."""
    book = load_book()
    page, size_pt = card_pdf(card_of(book))
    text = text_of(page)
    assert READABLE_PT <= size_pt
    other_yes = set(AFFIRM_PHRASES[1:])
    assert [] == [phrase for phrase in every_phrase(book) if phrase not in other_yes and not on_card(phrase, text)]
    assert [] == [gas.spoken for gas in Gas if gas.spoken not in text]


@pytest.mark.parametrize("role", list(Role))
def test_a_side_has_its_own_card(role: Role) -> None:
    """Only the steps that this side may confirm, in letters that are not smaller; every emergency all the same."""
    book = load_book()
    page, size_pt = card_pdf(card_of(book, role=role))
    text = text_of(page)
    said = {step.id: step_phrases(step, 1) for step in book.procedure.steps if step.confirmed_by == "inside"}
    assert (role is not Role.OUTSIDE) == ("kneeling by the person" in text)
    assert (role is not Role.INSIDE) == ("padlocks and tags applied" in text)
    assert (role is not Role.OUTSIDE) == all(phrase in text for phrase in said["legs"])
    assert [] == [phrase for row in book.procedure.interruptions for phrase in row.say if phrase not in text]
    assert card_pdf(card_of(book))[1] <= size_pt


def test_the_cautions_are_on_it() -> None:
    """Who decides, what comes first, and that no phrase makes air safe; and the way back from an emergency."""
    text = text_of(card_pdf(card_of(load_book(), "Ashcombe fire department"))[0])
    assert CAUTION in text
    assert "Ashcombe fire department. Say exactly these words." in text
    assert "disregard emergency it was wrong: takes the emergency back" in text


def test_every_question_has_its_answer_in_words() -> None:
    """The table names each question that there is, and none twice in the same words."""
    assert set(Query) == set(ANSWERED)
    assert len(set(ANSWERED.values())) == len(ANSWERED)


@pytest.mark.parametrize(("units", "size"), [("us", LETTER_PT), ("metric", A4_PT)])
def test_the_paper_is_that_of_the_units(tmp_path: Path, units: str, size: tuple[int, int]) -> None:
    """Letter where lengths are said in inches, A4 where they are said in centimeters; the department's name is on it."""
    site = tmp_path / "site.toml"
    site.write_text(f'[department]\nname = "Ashcombe"\nunits = "{units}"\n')
    out = tmp_path / "card.pdf"
    assert 0 == main(["card", "--site", str(site), "-o", str(out)])
    box = PdfReader(out).pages[0].mediabox
    assert size == (round(box.width), round(box.height))
    assert "Ashcombe. Say exactly these words." in text_of(out.read_bytes())
    assert ("centimeters" if units == "metric" else "inches") in text_of(out.read_bytes())


def test_a_departments_own_words_are_on_it(tmp_path: Path) -> None:
    """What the site card puts in place of the shipped words is what the crew reads."""
    site = tmp_path / "site.toml"
    site.write_text('[department]\nname = "Ashcombe"\n[[wording]]\nstep = "locked"\nsay = ["every padlock is hanging"]\n')
    out = tmp_path / "card.html"
    assert 0 == main(["card", "--site", str(site), "-o", str(out)])
    assert "<b>every padlock is hanging</b>" in out.read_text()


def test_it_is_black_on_white() -> None:
    """No colour and no grey is set anywhere on the page."""
    content = PdfReader(BytesIO(card_pdf(card_of(load_book()))[0])).pages[0].get_contents()
    assert content is not None
    colours = set(re.findall(rb"([\d. ]+) (?:rg|RG|g|G|k|K)\b", content.get_data()))
    assert {b"0 0 0"} == {colour.strip() for colour in colours}


def test_too_much_for_a_page_is_told() -> None:
    """A procedure that no letters make fit is refused in a sentence, not cut off."""
    line = Line(("a very long phrase that goes on and on",), "does nothing at all")
    card = Card("T", "S", "C", (line,), line, line, (Part("P", (line,) * 600),), "F", "a4")
    with pytest.raises(DebriefError, match="do not fit on one page"):
        card_pdf(card)


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["card", "-o", "card.txt"], 2, "name a file that ends in .pdf or .html"),
        (["card", "-o", "/nowhere/card.pdf"], 2, "cannot be written"),
        (["card", "/nowhere/ours.toml"], 8, "cannot be read"),
    ],
)
def test_a_slip_gets_one_sentence(
    capsys: pytest.CaptureFixture[str], arguments: list[str], status: int, words: str
) -> None:
    """With its own number."""
    assert status == main(arguments)
    said = capsys.readouterr().err.strip()
    assert 1 == len(said.splitlines())
    assert words in said


@pytest.mark.browser
def test_the_page_prints_on_one_sheet(tmp_path: Path) -> None:
    """The HTML card, printed by a browser on its own paper, is one sheet with every phrase."""
    book = load_book()
    path = tmp_path / "card.html"
    path.write_text(card_html(card_of(book)))
    with chromium() as browser:
        page = browser.new_page()
        page.goto(path.as_uri())
        printed = page.pdf(prefer_css_page_size=True)
    text = text_of(printed)
    assert [] == [phrase for row in book.procedure.interruptions for phrase in row.say if phrase not in text]
    assert [] == [phrase for step in book.procedure.steps if not step.repeat for phrase in step_phrases(step, 1)
                  if phrase not in text]  # fmt: skip
