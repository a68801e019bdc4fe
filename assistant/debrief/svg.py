"""A picture as SVG, to stand inside a page."""

from collections.abc import Iterator
from html import escape

from assistant.debrief.picture import Area, Picture, Shape, Stroke

DASHES = {"solid": "", "dashed": ' stroke-dasharray="6 4"', "dotted": ' stroke-dasharray="1.5 3"'}


def svg(picture: Picture) -> str:
    """One `<svg>` element that scales with the page."""
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {picture.width:g} {picture.height:g}" role="img" '
        f'font-family="sans-serif" aria-label="{escape(picture.words)}">'
    )
    return "\n".join([head, *_elements(picture.shapes), "</svg>"])


def _elements(shapes: tuple[Shape, ...]) -> Iterator[str]:
    for shape in shapes:
        if isinstance(shape, Stroke):
            yield (
                f'<polyline points="{_points(shape.points)}" fill="none" stroke="{_grey(shape.grey)}" '
                f'stroke-width="{shape.width:g}"{DASHES[shape.dash]}/>'
            )
        elif isinstance(shape, Area):
            yield f'<polygon points="{_points(shape.points)}" fill="{_grey(shape.grey)}"/>'
        else:
            anchor = "" if shape.anchor == "start" else f' text-anchor="{shape.anchor}"'
            bold = ' font-weight="bold"' if shape.bold else ""
            yield (
                f'<text x="{shape.x:.1f}" y="{shape.y:.1f}" font-size="{shape.size:g}" fill="{_grey(shape.grey)}"'
                f"{anchor}{bold}>{escape(shape.text)}</text>"
            )


def _points(points: tuple[tuple[float, float], ...]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _grey(value: float) -> str:
    level = round(255 * value)
    return f"#{level:02x}{level:02x}{level:02x}"
