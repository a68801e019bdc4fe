"""A procedure on paper: the steps as a drawing (SVG)."""

from collections.abc import Iterator
from html import escape
from xml.sax.saxutils import quoteattr

from protocol.procedure import Procedure, Stage, Step

WIDE, HIGH = 236, 62
GAP_X, GAP_Y = 26, 26
ACROSS = 4
MARGIN = 20
TITLE = 34
LETTERS = 30


def procedure_svg(procedure: Procedure) -> str:
    """Stages from top to bottom, steps in their order, where answers lead elsewhere, what is read back."""
    parts: list[str] = []
    top = MARGIN
    for stage in procedure.stages:
        steps = [step for step in procedure.steps if step.stage == stage.id]
        parts.extend(_stage(procedure, stage, steps, top))
        top += TITLE + -(-len(steps) // ACROSS) * (HIGH + GAP_Y) + 6
    width = 2 * MARGIN + ACROSS * WIDE + (ACROSS - 1) * GAP_X
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {top}" width="{width}" height="{top}" '
        f'font-family="sans-serif" font-size="13" role="img" aria-label={quoteattr(procedure.heading.title)}>'
    )
    marker = (
        '<defs><marker id="tip" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="7" markerHeight="7" orient="auto">'
        '<path d="M0 0L8 4L0 8z"/></marker></defs>'
    )
    return "\n".join([head, marker, f'<rect width="{width}" height="{top}" fill="white"/>', *parts, "</svg>", ""])


def _stage(procedure: Procedure, stage: Stage, steps: list[Step], top: int) -> Iterator[str]:
    label = stage.title + (" (in the bin: air must be current)" if stage.inside_bin else "")
    yield f'<text x="{MARGIN}" y="{top + 20}" font-size="16" font-weight="bold">{escape(label)}</text>'
    for number, step in enumerate(steps):
        column, row = number % ACROSS, number // ACROSS
        x = MARGIN + column * (WIDE + GAP_X)
        y = top + TITLE + row * (HIGH + GAP_Y)
        yield from _box(step, x, y)
        if number + 1 < len(steps) and step.next == steps[number + 1].id and column + 1 < ACROSS:
            yield _arrow(x + WIDE, y + HIGH / 2, x + WIDE + GAP_X, y + HIGH / 2)
        elsewhere = _elsewhere(procedure, step, steps[number + 1].id if number + 1 < len(steps) else None)
        if elsewhere:
            yield f'<text x="{x + 4}" y="{y + HIGH + 14}" font-size="11">{escape(_short(elsewhere, 40))}</text>'


def _box(step: Step, x: float, y: float) -> Iterator[str]:
    yield f'<rect x="{x}" y="{y}" width="{WIDE}" height="{HIGH}" rx="4" fill="white" stroke="black"/>'
    if step.critical:
        inner = f'x="{x + 3}" y="{y + 3}" width="{WIDE - 6}" height="{HIGH - 6}"'
        yield f'<rect {inner} rx="3" fill="none" stroke="black"/>'
    words = step.answers[0].say[0] + " …" if step.answers else (step.say[0] if step.say else "end")
    yield f'<text x="{x + 9}" y="{y + 21}" font-weight="bold">{escape(_short(step.title, LETTERS))}</text>'
    yield f'<text x="{x + 9}" y="{y + 38}" font-style="italic">{escape(_short(words, LETTERS + 2))}</text>'
    read_back = ", read back" if step.critical else ""
    needed = f", {len(step.needs)} needed first" if step.needs else ""
    note = f"{step.confirmed_by}{read_back}{needed}"
    yield f'<text x="{x + 9}" y="{y + 53}" font-size="11">{escape(note)}</text>'


def _elsewhere(procedure: Procedure, step: Step, following: str | None) -> str:
    titles = {row.id: row.title for row in procedure.steps} | {"@return": "back to where it was"}
    jumps = [f"{answer.say[0]} → {titles[answer.to]}" for answer in step.answers if answer.to]
    if step.next and step.next != following:
        jumps.append(f"then → {titles[step.next]}")
    jumps.extend(f"{row.fact} {' or '.join(row.values)} → {titles[row.to]}" for row in step.detours)
    return "; ".join(jumps)


def _arrow(x1: float, y1: float, x2: float, y2: float) -> str:
    return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="black" marker-end="url(#tip)"/>'


def _short(text: str, letters: int) -> str:
    return text if len(text) <= letters else f"{text[: letters - 1].rstrip()}…"
