"""A picture as a PNG, drawn with pillow, which comes with the debrief extra; twice the size, then smoothed down."""

from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

from assistant.debrief.picture import Area, Picture, Stroke, Words
from assistant.errors import DebriefError

NO_LIBRARY = "A PNG needs a library that is not installed. Install it: pip install 'bin-rescue-assistant[debrief]'."
SCALE = 2
FINER = 2
DASHES = {"dashed": (6.0, 4.0), "dotted": (1.5, 3.0)}


def png(picture: Picture) -> bytes:
    """The PNG file, two pixels a point, black on white.

    Raises:
        DebriefError: if pillow or the fonts are missing.
    """
    try:
        import reportlab  # noqa: PLC0415  an extra: brings the fonts
        from PIL import Image, ImageDraw, ImageFont  # noqa: PLC0415
    except ImportError as error:
        raise DebriefError(NO_LIBRARY) from error
    fonts = Path(reportlab.__file__).parent / "fonts"
    zoom = SCALE * FINER
    image = Image.new("L", (round(picture.width * zoom), round(picture.height * zoom)), 255)
    draw = ImageDraw.Draw(image)
    for shape in picture.shapes:
        if isinstance(shape, Stroke):
            _stroke(draw, shape, zoom)
        elif isinstance(shape, Area):
            draw.polygon([(x * zoom, y * zoom) for x, y in shape.points], fill=round(255 * shape.grey))
        else:
            name = "VeraBd.ttf" if shape.bold else "Vera.ttf"
            _words(draw, shape, zoom, ImageFont.truetype(str(fonts / name), shape.size * 0.9 * zoom))
    out = BytesIO()
    image.resize((image.width // FINER, image.height // FINER)).save(out, "PNG")
    return out.getvalue()


def _words(draw: Any, shape: Words, zoom: int, font: Any) -> None:
    anchor = {"start": "ls", "middle": "ms", "end": "rs"}[shape.anchor]
    draw.text((shape.x * zoom, shape.y * zoom), shape.text, fill=round(255 * shape.grey), font=font, anchor=anchor)


def _stroke(draw: Any, shape: Stroke, zoom: int) -> None:
    points = [(x * zoom, y * zoom) for x, y in shape.points]
    width, grey = max(1, round(shape.width * zoom)), round(255 * shape.grey)
    if shape.dash == "solid":
        draw.line(points, fill=grey, width=width)
        return
    for part in dashes(points, [length * zoom for length in DASHES[shape.dash]]):
        draw.line(part, fill=grey, width=width)


def dashes(
    points: list[tuple[float, float]], lengths: list[float]
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """A line through points cut into drawn pieces: so long drawn, so long left out, corner after corner."""
    found = []
    left, drawn = lengths[0], True
    for (x1, y1), (x2, y2) in pairwise(points):
        whole = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
        at = 0.0
        while at < whole:
            end = min(whole, at + left)
            if drawn:
                found.append((_between(x1, y1, x2, y2, at / whole), _between(x1, y1, x2, y2, end / whole)))
            left -= end - at
            at = end
            if left <= 1e-9:
                drawn = not drawn
                left = lengths[0] if drawn else lengths[1]
    return found


def _between(x1: float, y1: float, x2: float, y2: float, share: float) -> tuple[float, float]:
    return x1 + share * (x2 - x1), y1 + share * (y2 - y1)
