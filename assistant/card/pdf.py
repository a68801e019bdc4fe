"""The card as one page of PDF, in the largest letters that fit, black on white."""

from collections.abc import Iterator
from io import BytesIO
from typing import Any, Final

from assistant.card.content import Card, Line, Part
from assistant.debrief.pdf_pages import BOLD, NO_LIBRARY, REGULAR, fonts, known
from assistant.errors import DebriefError

MARGIN: Final = 24.0
GAP: Final = 10.0
COLUMNS: Final = 3
FOOT: Final = 10.0
LARGEST_PT: Final = 14.0
SMALLEST_PT: Final = 5.0
FINER_PT: Final = 0.1
TOO_LONG: Final = "These phrases do not fit on one page, even in the smallest letters. Write a page: -o card.html."


def card_pdf(card: Card) -> tuple[bytes, float]:
    """The page, and the size of its letters in points.

    Raises:
        DebriefError: if reportlab is missing, or if the phrases do not fit on a page.
    """
    try:
        import reportlab  # noqa: F401, PLC0415  an extra
    except ImportError as error:
        raise DebriefError(NO_LIBRARY) from error
    fonts()
    steps = round((LARGEST_PT - SMALLEST_PT) / FINER_PT)
    low, high = 0, steps
    best: tuple[bytes, float] | None = None
    while low <= high:
        middle = (low + high) // 2
        size_pt = SMALLEST_PT + middle * FINER_PT
        page = _built(card, size_pt)
        low, high = (low, middle - 1) if page is None else (middle + 1, high)
        best = (page, size_pt) if page is not None else best
    if best is None:
        raise DebriefError(TOO_LONG)
    return best


def _built(card: Card, size_pt: float) -> bytes | None:
    """The page in letters of a size, or None when that takes more than one."""
    from reportlab.lib import pagesizes  # noqa: PLC0415
    from reportlab.platypus import BaseDocTemplate, Frame, FrameBreak, PageTemplate  # noqa: PLC0415

    width, height = pagesizes.A4 if card.paper == "a4" else pagesizes.LETTER
    inner = width - 2 * MARGIN
    head = list(_head(card, size_pt, inner))
    head_high = sum(one.wrap(inner, height)[1] + one.getSpaceBefore() + one.getSpaceAfter() for one in head) + 2
    room = height - 2 * MARGIN - FOOT - head_high - 4
    if room < size_pt * 6:
        return None
    column = (inner - (COLUMNS - 1) * GAP) / COLUMNS
    bare = {"leftPadding": 0, "rightPadding": 0, "topPadding": 0, "bottomPadding": 0}
    frames = [Frame(MARGIN, height - MARGIN - head_high, inner, head_high, **bare)]
    frames += [Frame(MARGIN + n * (column + GAP), MARGIN + FOOT, column, room, **bare) for n in range(COLUMNS)]
    out = BytesIO()
    document = BaseDocTemplate(out, pagesize=(width, height), title=known(card.title), author="bin-rescue-assistant",
                               invariant=1)  # fmt: skip
    document.addPageTemplates(PageTemplate("card", frames, onPage=lambda canvas, _: _mark(canvas, card, width)))
    document.build([*head, FrameBreak(), *(one for part in card.parts for one in _part(part, size_pt))])
    return out.getvalue() if document.page == 1 else None


def _mark(canvas: Any, card: Card, width: float) -> None:
    canvas.setFont(REGULAR, 6.5)
    canvas.drawString(MARGIN, MARGIN - 4, known(card.foot))
    canvas.drawRightString(width - MARGIN, MARGIN - 4, "bin-rescue card")


def _head(card: Card, size_pt: float, width: float) -> Iterator[Any]:
    yield _paragraph(_bold(card.title), size_pt * 1.9, after=1)
    yield _paragraph(_plain(card.caution), size_pt)
    yield _paragraph(_bold(card.subtitle), size_pt, after=3)
    yield _emergencies(card, size_pt, width)


def _emergencies(card: Card, size_pt: float, width: float) -> Any:
    """The box: the emergencies, all work held, and the way back, in columns."""
    from reportlab.platypus import Table  # noqa: PLC0415

    def cell(line: Line) -> list[Any]:
        return [_paragraph(_bold(line.words), size_pt * 1.35), _paragraph(_plain(line.does), size_pt * 0.9)]

    lines = [*card.emergencies, card.held, card.taken_back]
    high = -(-len(lines) // COLUMNS)
    rows: list[list[Any]] = [[cell(line) for line in lines[n::high]] for n in range(high)]
    for row in rows:
        row.extend("" for _ in range(COLUMNS - len(row)))
    title = _paragraph(_bold("EMERGENCIES, in every step. They count at once."), size_pt * 1.2)
    return Table([[title, *("" for _ in range(COLUMNS - 1))], *rows], colWidths=[width / COLUMNS] * COLUMNS, style=[
        ("SPAN", (0, 0), (-1, 0)), ("BOX", (0, 0), (-1, -1), 2.2, _black()), ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5), ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
        ("LEFTPADDING", (0, 0), (-1, -1), 6), ("RIGHTPADDING", (0, 0), (-1, -1), 4),
    ])  # fmt: skip


def _part(part: Part, size_pt: float) -> Iterator[Any]:
    from reportlab.platypus import KeepTogether  # noqa: PLC0415

    heading = _paragraph(_bold(part.title.upper()), size_pt * 0.95, before=size_pt * 0.5, after=1, ruled=True)
    first, *rest = (_line(line, size_pt) for line in part.lines)
    yield KeepTogether([heading, first])
    yield from rest


def _line(line: Line, size_pt: float) -> Any:
    return _paragraph(f"{_bold(line.words)}{_plain(line.rest)}", size_pt, after=size_pt * 0.18, hang=size_pt * 0.8)


def _paragraph(
    markup: str, size_pt: float, *, before: float = 0, after: float = 0, hang: float = 0, ruled: bool = False
) -> Any:
    from reportlab.lib.styles import ParagraphStyle  # noqa: PLC0415
    from reportlab.platypus import Paragraph  # noqa: PLC0415

    style = ParagraphStyle(
        "card", fontName=REGULAR, fontSize=size_pt, leading=size_pt * 1.16, spaceBefore=before, spaceAfter=after,
        leftIndent=hang, firstLineIndent=-hang, textColor=_black(),
    )  # fmt: skip
    if ruled:
        style.borderWidth, style.borderColor, style.borderPadding = 0.6, _black(), (1, 2, 1, 2)
        style.leftIndent = style.rightIndent = 2.5
    return Paragraph(markup, style)


def _bold(text: str) -> str:
    return f'<font name="{BOLD}">{_plain(text)}</font>'


def _plain(text: str) -> str:
    from xml.sax.saxutils import escape  # noqa: PLC0415

    return escape(known(text))


def _black() -> Any:
    from reportlab.lib.colors import Color  # noqa: PLC0415

    return Color(0, 0, 0)
