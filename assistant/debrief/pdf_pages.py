"""A report as a PDF, set by reportlab: pages with a foot, tables that go over pages with their heads repeated.

reportlab was chosen because it sets long tables over pages, draws vector pictures and embeds its fonts without any
system library, is kept since 2000 under a BSD licence, and needs only two small packages.
"""

from collections.abc import Iterator
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

from assistant.debrief.document import Block, Figure, Folded, Heading, Pairs, Report, Table, Text
from assistant.debrief.picture import Area, Picture, Stroke
from assistant.errors import DebriefError

NO_LIBRARY = "The PDF needs a library that is not installed. Install it: pip install 'bin-rescue-assistant[debrief]'."
REGULAR, BOLD = "Vera", "VeraBd"
MARGIN = 42.0
HEADING_ROOM = 96.0
"""A heading goes to the next page when less than this is left under it."""
DASHES: dict[str, tuple[float, ...]] = {"solid": (), "dashed": (6, 4), "dotted": (1.5, 3)}
REPLACED = "?"
"""Stands for a letter that the font does not have."""


def pdf_pages(report: Report) -> bytes:
    """The PDF file.

    Raises:
        DebriefError: if reportlab is missing.
    """
    try:
        from reportlab.lib import pagesizes  # noqa: PLC0415  an extra: the rest of the report does without it
        from reportlab.platypus import SimpleDocTemplate  # noqa: PLC0415
    except ImportError as error:
        raise DebriefError(NO_LIBRARY) from error
    fonts()
    size = pagesizes.A4 if report.paper == "a4" else pagesizes.LETTER
    out = BytesIO()
    template = SimpleDocTemplate(
        out, pagesize=size, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=MARGIN, bottomMargin=MARGIN + 14,
        title=known(report.title), author="bin-rescue-assistant", subject=known(report.subtitle), invariant=1,
    )  # fmt: skip
    width = size[0] - 2 * MARGIN - 12
    styles = _styles()
    story = [_paragraph(report.title, styles["title"]), _paragraph(report.subtitle, styles["plain"])]
    blocks = list(report.blocks)
    for place, block in enumerate(blocks):
        before = blocks[place - 1] if place else None
        if isinstance(block, Heading) and isinstance(blocks[min(place + 1, len(blocks) - 1)], Figure):
            continue  # it is set with its figure
        heading = before if isinstance(before, Heading) and isinstance(block, Figure) else None
        story.extend(_flowables(block, width, styles, heading))

    def foot(canvas: Any, document: Any) -> None:
        canvas.setFont(REGULAR, 7)
        canvas.drawString(MARGIN + 6, MARGIN - 4, known(report.foot))
        canvas.drawRightString(size[0] - MARGIN - 6, MARGIN - 4, f"page {document.page}")

    template.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


def _flowables(block: Block, width: float, styles: dict[str, Any], heading: Heading | None = None) -> Iterator[Any]:
    """A block as what reportlab sets; a figure takes the heading over it along to the next page."""
    from reportlab.platypus import CondPageBreak, KeepTogether, Spacer  # noqa: PLC0415

    if isinstance(block, Heading):
        yield CondPageBreak(HEADING_ROOM)
        yield _paragraph(block.text, styles["heading"])
    elif isinstance(block, Text):
        yield _paragraph(block.text, styles[block.sort])
        yield Spacer(1, 4)
    elif isinstance(block, Figure):
        over = [_paragraph(heading.text, styles["heading"])] if heading else []
        figure = [_drawing(block.picture, width), _paragraph(block.caption, styles["small"]), Spacer(1, 6)]
        yield KeepTogether([*over, *figure])
    elif isinstance(block, Pairs):
        yield _pairs(block, width, styles)
        yield Spacer(1, 6)
    elif isinstance(block, Table):
        yield _table(block, width, styles) if block.rows else _paragraph(block.empty, styles["plain"])
        yield Spacer(1, 6)
    elif isinstance(block, Folded):
        yield _paragraph(f"{block.title}: on the page and in the CSV.", styles["small"])


def _pairs(block: Pairs, width: float, styles: dict[str, Any]) -> Any:
    from reportlab.platypus import Table as Grid  # noqa: PLC0415

    rows = [[_paragraph(name, styles["strong"]), _paragraph(value, styles["cell"])] for name, value in block.rows]
    return Grid(rows, colWidths=[width * 0.24, width * 0.76], style=[
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("TOPPADDING", (0, 0), (-1, -1), 1), ("LEFTPADDING", (0, 0), (0, -1), 0),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2), ("LINEBELOW", (0, 0), (-1, -1), 0.25, _grey(0.6)),
    ])  # fmt: skip


def _table(block: Table, width: float, styles: dict[str, Any]) -> Any:
    from reportlab.platypus import Table as Grid  # noqa: PLC0415

    rows = [[_paragraph(name, styles["strong"]) for name in block.columns]]
    rows.extend([_paragraph(text, styles["cell"]) for text in row] for row in block.rows)
    return Grid(rows, colWidths=[width * part for part in block.parts], repeatRows=1, splitInRow=1, style=[
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("GRID", (0, 0), (-1, -1), 0.4, _grey(0.45)),
        ("BACKGROUND", (0, 0), (-1, 0), _grey(0.9)), ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2), ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ])  # fmt: skip


def _drawing(picture: Picture, width: float) -> Any:
    """The picture as a vector drawing; reportlab counts upwards from the bottom."""
    from reportlab.graphics.shapes import Drawing, Group, Polygon, PolyLine, String  # noqa: PLC0415

    scale = width / picture.width
    group = Group(transform=(scale, 0, 0, scale, 0, 0))
    for shape in picture.shapes:
        if isinstance(shape, Stroke):
            if len(shape.points) > 1:
                line = PolyLine(_flat(picture, shape.points), strokeWidth=shape.width, strokeColor=_grey(shape.grey))
                line.strokeDashArray = DASHES[shape.dash] or None
                group.add(line)
        elif isinstance(shape, Area):
            group.add(Polygon(_flat(picture, shape.points), fillColor=_grey(shape.grey), strokeColor=None))
        else:
            group.add(String(
                shape.x, picture.height - shape.y, known(shape.text), fontName=BOLD if shape.bold else REGULAR,
                fontSize=shape.size * 0.9, textAnchor=shape.anchor, fillColor=_grey(shape.grey),
            ))  # fmt: skip
    return Drawing(width, picture.height * scale, group)


def _flat(picture: Picture, points: tuple[tuple[float, float], ...]) -> list[float]:
    return [value for x, y in points for value in (x, picture.height - y)]


def _paragraph(text: str, style: Any) -> Any:
    from xml.sax.saxutils import escape  # noqa: PLC0415

    from reportlab.platypus import Paragraph  # noqa: PLC0415

    return Paragraph(escape(known(text)), style)


def _styles() -> dict[str, Any]:
    from reportlab.lib.styles import ParagraphStyle  # noqa: PLC0415

    plain = ParagraphStyle("plain", fontName=REGULAR, fontSize=9, leading=12, splitLongWords=1)
    black = _grey(0.0)
    return {
        "plain": plain,
        "title": ParagraphStyle("title", plain, fontName=BOLD, fontSize=16, leading=20, spaceAfter=3),
        "heading": ParagraphStyle("heading", plain, fontName=BOLD, fontSize=12, leading=15, spaceBefore=9,
                                  spaceAfter=4),
        "caution": ParagraphStyle("caution", plain, fontName=BOLD, borderWidth=1, borderColor=black, borderPadding=4,
                                  leftIndent=5, rightIndent=5, spaceBefore=8, spaceAfter=6),
        "small": ParagraphStyle("small", plain, fontSize=7.5, leading=9.5),
        "cell": ParagraphStyle("cell", plain, fontSize=7.5, leading=9.5),
        "strong": ParagraphStyle("strong", plain, fontName=BOLD, fontSize=7.5, leading=9.5),
    }  # fmt: skip


def _grey(value: float) -> Any:
    from reportlab.lib.colors import Color  # noqa: PLC0415

    return Color(value, value, value)


def fonts() -> None:
    """Register the fonts that reportlab brings along, so that the PDF carries them."""
    import reportlab  # noqa: PLC0415
    from reportlab.pdfbase import pdfmetrics  # noqa: PLC0415
    from reportlab.pdfbase.ttfonts import TTFont  # noqa: PLC0415

    folder = Path(reportlab.__file__).parent / "fonts"
    for name in (REGULAR, BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, folder / f"{name}.ttf"))


def known(text: str) -> str:
    """The text with a question mark for each letter that the font does not have."""
    letters = _letters()
    return "".join(letter if ord(letter) in letters else REPLACED if letter.isprintable() else " " for letter in text)


@cache
def _letters() -> frozenset[int]:
    from reportlab.pdfbase import pdfmetrics  # noqa: PLC0415

    fonts()
    return frozenset(pdfmetrics.getFont(REGULAR).face.charWidths)
