"""What the records tell and the state does not keep: the last lines of the story, and when work was held."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from assistant.journal import Record
from assistant.story import heard_of
from protocol import events as ev
from protocol.commands import Origin
from protocol.lines import written
from protocol.numbers import count_words
from protocol.scene import Book

LAST_LINES = 20
_TO = {"inside": "To inside", "outside": "To outside", "both": "To everyone"}
_PLAIN_URGENCY = "said"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the story."""

    n: int
    """Number of the record."""
    at_ms: int
    sort: str
    """heard, said, alarm, step or note."""
    who: str
    """Who said it, or to whom it was said; empty for what simply happened."""
    text: str


@dataclass(frozen=True, slots=True)
class Past:
    """The records so far, as far as a viewer needs them."""

    n: int = 0
    """Number of the last record."""
    lines: tuple[Line, ...] = ()
    """The last lines, oldest first."""
    holds_ms: tuple[tuple[int, int], ...] = ()
    """Holds that are over: from, to."""
    held_since_ms: int | None = None
    counted: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    """Repeated step and which of its numbers were confirmed."""
    passed: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    """Step that the officer passed, and which of its numbers had been confirmed before."""

    def after(self, record: Record, book: Book) -> "Past":
        """With one more record."""
        after = self
        for event in record.events:
            if isinstance(event, ev.WorkHeld):
                after = replace(after, held_since_ms=event.at_ms)
            elif isinstance(event, ev.WorkResumed) and after.held_since_ms is not None:
                held = (after.held_since_ms, event.at_ms)
                after = replace(after, held_since_ms=None, holds_ms=(*after.holds_ms, held))
            else:
                after = _with_step(after, event)
        lines = (*self.lines, *lines_of(record, book))[-LAST_LINES:]
        return replace(after, n=record.n, lines=lines)

    def holds_until(self, at_ms: int) -> tuple[tuple[int, int], ...]:
        """Every hold up to a moment, the one that goes on included."""
        if self.held_since_ms is None:
            return self.holds_ms
        return (*self.holds_ms, (self.held_since_ms, at_ms))


def _with_step(past: Past, event: ev.Event) -> Past:
    if isinstance(event, ev.RepeatConfirmed):
        numbers = (*past.counted.get(event.step, ()), event.number)
        return replace(past, counted={**past.counted, event.step: numbers})
    if isinstance(event, ev.StepConfirmed):
        others = _without(past.passed, event.step)
        mine = {event.step: past.counted.get(event.step, ())} if event.skipped else {}
        return replace(past, passed={**others, **mine})
    if isinstance(event, ev.SteppedBack):
        return replace(
            past, counted=_without(past.counted, event.to), passed=_without(past.passed, event.to)
        )
    return past


def _without(rows: Mapping[str, tuple[int, ...]], step: str) -> dict[str, tuple[int, ...]]:
    return {name: numbers for name, numbers in rows.items() if name != step}


def lines_of(record: Record, book: Book) -> tuple[Line, ...]:
    """The lines that tell one record to a reader who did not hear it."""
    found: list[Line] = []
    origin = record.command.origin
    if heard_of(record.command):
        found.append(Line(record.n, record.at_ms, "heard", _source(origin), origin.heard))
    found.extend(line for event in record.events if (line := _line(record.n, event, book)))
    return tuple(found)


def _source(origin: Origin) -> str:
    how = {"voice": "said", "keyboard": "typed"}.get(origin.how, origin.how)
    return origin.station.capitalize() if how == "board" else f"{origin.station.capitalize()} {how}"


def _line(n: int, event: ev.Event, book: Book) -> Line | None:
    if isinstance(event, ev.Said):
        sort = "alarm" if event.urgency is ev.Urgency.ALARM else _PLAIN_URGENCY
        who = f"To {event.station}" if event.station else _TO[event.to]
        return Line(n, event.at_ms, sort, who, event.text)
    told = _happened(event, book)
    return Line(n, event.at_ms, told[0], "", told[1]) if told else None


def _happened(event: ev.Event, book: Book) -> tuple[str, str] | None:
    if isinstance(event, ev.StepEntered):
        step = book.procedure.step(event.step)
        return "step", f"Step: {step.title} ({book.procedure.stage_of(step).title})"
    if isinstance(event, ev.NoteTaken):
        return "note", f"Note by {event.by}: {event.text}"
    if isinstance(event, ev.CommandRefused):
        return "note", f"Refused: {event.reason}"
    if isinstance(event, ev.EntryTakenBack):
        return "note", f"Taken back, kept in the record: {event.detail}"
    return _happened_to_people_or_parts(event)


def _happened_to_people_or_parts(event: ev.Event) -> tuple[str, str] | None:
    if isinstance(event, ev.RescuerEntered | ev.RescuerLeft):
        way = "went in" if isinstance(event, ev.RescuerEntered) else "came out"
        return "step", f"Rescuer {count_words(event.slot)} {way}{_on_line(event)}"
    if isinstance(event, ev.LineRecorded):
        return "note", f"Rescuer {count_words(event.slot)}{_on_line(event) or ', no line recorded'}"
    if isinstance(event, ev.PartFailed | ev.PartRecovered):
        return "note", f"{event.part.capitalize()}: {event.detail}"
    return None


def _on_line(event: ev.RescuerEntered | ev.RescuerLeft | ev.LineRecorded) -> str:
    words = "" if isinstance(event, ev.RescuerLeft) else written(event.line, event.tenders)
    return f", {words}" if words else ""
