"""The share of phrases heard right against the noise, as a picture without any library."""

from typing import Any

LEVELS = ("clean", "20 dB", "10 dB", "5 dB", "0 dB")
COLOURS = ("#0b6e4f", "#b5502b", "#5a5f73")
FONT = 'font-family="sans-serif" font-size="13"'
LEFT, TOP, WIDE, HIGH = 60, 40, 520, 300


def _x(place: int) -> float:
    return LEFT + WIDE * place / (len(LEVELS) - 1)


def _y(per_cent: float) -> float:
    return TOP + HIGH * (1 - per_cent / 100)


def svg(found: dict[str, Any]) -> str:
    """One line for each listener, with its 95 % intervals."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{LEFT + WIDE + 160}" height="{TOP + HIGH + 60}" {FONT}>',
        '<rect width="100%" height="100%" fill="white"/>',
        f'<text x="{LEFT}" y="22" font-size="15">Phrases heard right, %, by voices never trained on</text>',
    ]
    for per_cent in range(0, 101, 20):
        parts.append(f'<line x1="{LEFT}" x2="{LEFT + WIDE}" y1="{_y(per_cent)}" y2="{_y(per_cent)}" stroke="#ddd"/>')
        parts.append(f'<text x="{LEFT - 34}" y="{_y(per_cent) + 4}">{per_cent}</text>')
    parts += [f'<text x="{_x(i) - 16}" y="{TOP + HIGH + 24}">{level}</text>' for i, level in enumerate(LEVELS)]
    for number, (name, rows) in enumerate(found["listeners"].items()):
        parts += _line(name, rows["by_snr"], COLOURS[number % len(COLOURS)], number)
    return "\n".join([*parts, "</svg>\n"])


def _line(name: str, rows: dict[str, Any], colour: str, number: int) -> list[str]:
    points = [(_x(i), rows[level]) for i, level in enumerate(LEVELS) if level in rows]
    path = " ".join(f"{x:.1f},{_y(row['right']):.1f}" for x, row in points)
    bars = [
        f'<line x1="{x}" x2="{x}" y1="{_y(row["right_low"]):.1f}" y2="{_y(row["right_high"]):.1f}" stroke="{colour}"/>'
        for x, row in points
    ]
    dots = [f'<circle cx="{x}" cy="{_y(row["right"]):.1f}" r="4" fill="{colour}"/>' for x, row in points]
    label = f'<text x="{LEFT + WIDE + 14}" y="{TOP + 16 + 22 * number}" fill="{colour}">{name}</text>'
    return [f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2"/>', *bars, *dots, label]
