"""Sections about what people did: emergencies, crew, orders with reasons, refusals, confirmations, notes."""

from collections.abc import Iterator

from assistant.debrief.document import Block, Heading, Table, Text
from assistant.debrief.gather import PREPARED
from assistant.debrief.moments import length, local_time, minutes
from assistant.debrief.tale import CrewRow, Tale
from protocol.lines import written

WHEN = ("Local", "Minutes")
HOW = {"voice": "by voice", "keyboard": "typed", "board": "on the board"}


def people(tale: Tale) -> Iterator[Block]:
    """All of them, in the order in which a debrief asks."""
    yield from _emergencies(tale)
    yield from _crew(tale)
    yield from _orders(tale)
    yield from _confirmations(tale)
    yield from _notes(tale)


def _when(tale: Tale, at_ms: int) -> tuple[str, str]:
    return local_time(tale.opened, at_ms, tale.zone), minutes(at_ms)


def _emergencies(tale: Tale) -> Iterator[Block]:
    yield Heading("Emergencies and alarms")
    rows = tuple(
        (*_when(tale, row.span.from_ms), row.title, row.by, _ended(row.span.open, row.withdrawn, row.span.length_ms))
        for row in tale.emergencies
    )
    yield Table((*WHEN, "Emergency", "Raised by", "Until"), rows, (0.13, 0.11, 0.34, 0.16, 0.26),
                "No emergency was raised.")  # fmt: skip
    alarms = tuple((*_when(tale, row.at_ms), row.to, row.text) for row in tale.alarms)
    yield Table((*WHEN, "To", "Alarm spoken"), alarms, (0.13, 0.11, 0.12, 0.64), "No alarm was spoken.")


def _ended(goes_on: bool, withdrawn: bool, lasted_ms: int) -> str:
    if goes_on:
        return "not ended in this record"
    return f"{'taken back' if withdrawn else 'over'} after {length(lasted_ms)}"


def _crew(tale: Tale) -> Iterator[Block]:
    yield Heading("Crew in and out")
    rows = tuple(
        (f"Rescuer {row.slot}", *_when(tale, row.span.from_ms),
         "still inside when the record ends" if row.span.open else " / ".join(_when(tale, row.span.to_ms)),
         length(row.span.length_ms), _lines(row))
        for row in tale.crew
    )  # fmt: skip
    yield Table(("Who", "In, local", "Minutes", "Out, local / minutes", "Inside for", "Line, tenders"), rows,
                (0.14, 0.13, 0.11, 0.21, 0.15, 0.26), "Nobody was counted into the bin.")  # fmt: skip
    parts = tuple(
        (*_when(tale, row.span.from_ms), row.part, length(row.span.length_ms) + (", not back" if row.span.open else ""),
         row.detail)
        for row in tale.parts
    )  # fmt: skip
    if parts:
        yield Table((*WHEN, "Part that was lost", "For", "Detail"), parts, (0.13, 0.11, 0.18, 0.2, 0.38), "")


def _lines(row: CrewRow) -> str:
    """What was recorded of the lifeline, in order, each change with its minute."""
    told = [
        f"{'' if place == 0 and one.at_ms == row.span.from_ms else f'from {minutes(one.at_ms)} min '}"
        f"{written(one.line, one.tenders) or 'no line recorded'}"
        for place, one in enumerate(row.lines)
    ]
    return "; ".join(told) or "none recorded"


def _orders(tale: Tale) -> Iterator[Block]:
    yield Heading("Overrides and refusals")
    orders = tuple(
        (*_when(tale, row.at_ms), row.what, row.by, row.reason or "no reason was given", "yes" if row.taken else "no")
        for row in tale.orders
    )
    yield Table((*WHEN, "Order", "By", "Reason given", "Taken"), orders, (0.13, 0.11, 0.2, 0.1, 0.37, 0.09),
                "No step was passed by override, and nothing was ordered with a reason.")  # fmt: skip
    refused = tuple((*_when(tale, row.at_ms), row.what, row.reason, row.heard) for row in tale.refusals)
    yield Table((*WHEN, "Refused", "Why", "Said"), refused, (0.13, 0.11, 0.22, 0.34, 0.2),
                "No confirmation was refused.",
                tuple(row.at_ms if row.heard else -1 for row in tale.refusals))  # fmt: skip


def _confirmations(tale: Tale) -> Iterator[Block]:
    yield Heading("Who confirmed what and when")
    theirs = [row for row in tale.confirmations if row.outcome != PREPARED]
    before = len(tale.confirmations) - len(theirs)
    if before:
        yield Text(f"{before} steps before these were prepared for the drill; they are in the JSON.", "small")
    rows = tuple(
        (*_when(tale, row.at_ms), row.title, f"{row.by} {HOW.get(row.how, row.how)}", row.heard, _sure(row.confidence),
         row.outcome)
        for row in theirs
    )  # fmt: skip
    yield Table((*WHEN, "Step", "By", "Words", "Sure", "How it was taken"), rows,
                (0.12, 0.1, 0.22, 0.14, 0.2, 0.07, 0.15), "No step was confirmed.",
                tuple(row.at_ms for row in theirs))  # fmt: skip


def _sure(confidence: float | None) -> str:
    return "" if confidence is None else f"{confidence:.2f}"


def _notes(tale: Tale) -> Iterator[Block]:
    kept = [row for row in tale.notes if not row.text.startswith(("Override of ", "Work ended: "))]
    if kept:
        yield Heading("Notes")
        rows = tuple((*_when(tale, row.at_ms), row.what, row.text) for row in kept)
        yield Table((*WHEN, "By", "Note"), rows, (0.13, 0.11, 0.14, 0.62), "")
    stale = [row for row in tale.moments if row.what == "stale"]
    if stale:
        yield Text(f"Readings that grew too old to count: {len(stale)}. "
                   + "; ".join(f"{minutes(row.at_ms)} min {row.text}" for row in stale[:20])
                   + ("; and more." if len(stale) > 20 else "."), "small")  # fmt: skip
