"""Lines of a terminal as a picture (SVG), so that a README shows them as they stood on the screen."""

from collections.abc import Iterable
from textwrap import wrap
from xml.sax.saxutils import escape, quoteattr

LETTERS = 104
LETTER_PX, LINE_PX = 8.43, 19
FONT_PX = 14
MARGIN_PX = 14
INDENT = " " * 12
WEIGHTS = {">>": "", "--": "", "==": ' font-weight="bold"', "!!": ' font-weight="bold"', "  ": ' fill="#0b4f8a"'}
"""How a line looks, by the mark after its time: what the crew said stands in blue."""


def terminal_svg(lines: Iterable[str], title: str) -> str:
    """The picture.

    Args:
        lines: as the program printed them; longer ones are broken.
        title: what a screen reader says.
    """
    rows = [(part, WEIGHTS.get(line[9:11], "")) for line in lines for part in _broken(line)]
    width = round(2 * MARGIN_PX + LETTERS * LETTER_PX)
    height = 2 * MARGIN_PX + len(rows) * LINE_PX
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'font-family="DejaVu Sans Mono, Menlo, Consolas, monospace" font-size="{FONT_PX}" role="img" '
        f"aria-label={quoteattr(title)}>"
    )
    frame = f'<rect x="1" y="1" width="{width - 2}" height="{height - 2}" rx="6" fill="#fff" stroke="#444" stroke-width="2"/>'
    texts = [
        f'<text x="{MARGIN_PX}" y="{MARGIN_PX + n * LINE_PX + FONT_PX}" xml:space="preserve"{look}>{escape(row)}</text>'
        for n, (row, look) in enumerate(rows)
    ]
    return "\n".join([head, frame, *texts, "</svg>", ""])


def _broken(line: str) -> list[str]:
    return wrap(line, LETTERS, subsequent_indent=INDENT, drop_whitespace=False) or [""]
