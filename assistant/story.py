"""The incident in words, for a terminal: what was heard, what was said, what happened."""

from collections.abc import Iterator

from assistant.journal import Record
from protocol import commands as cmd
from protocol import events as ev
from protocol.headset import WRITTEN, figures
from protocol.scene import Book

_MARK = {
    ev.Urgency.ALARM: "!!",
    ev.Urgency.PROMPT: ">>",
    ev.Urgency.ANSWER: "--",
    ev.Urgency.INFO: "  ",
}


def clock_text(at_ms: int) -> str:
    """Milliseconds as h:mm:ss."""
    seconds = at_ms // 1000
    return f"{seconds // 3600}:{seconds % 3600 // 60:02d}:{seconds % 60:02d}"


def lines_of(record: Record, book: Book) -> Iterator[str]:
    """The lines that tell one record."""
    time = clock_text(record.at_ms)
    heard = heard_of(record.command)
    if heard:
        yield f"{time}  {heard}"
    for event in record.events:
        text = _line(event, book)
        if text:
            yield f"{time}  {text}"


def heard_of(command: cmd.Command) -> str:
    """What was said or typed, and by which station."""
    origin = command.origin
    if not origin.heard:
        return ""
    sure = "" if origin.confidence is None else f" ({origin.confidence:.2f})"
    return f"   {origin.station} {origin.how}: {origin.heard}{sure}"


def _line(event: ev.Event, book: Book) -> str:
    if isinstance(event, ev.Said):
        return f"{_MARK[event.urgency]} to {event.station or event.to}: {event.text}"
    if isinstance(event, ev.StepEntered):
        step = book.procedure.step(event.step)
        return f"== {book.procedure.stage_of(step).title}: {step.title}"
    if isinstance(event, ev.PartFailed | ev.PartRecovered):
        return f"** {event.part}: {event.detail}"
    if isinstance(event, ev.NoteTaken | ev.TrainerNoted):
        return f"** note by {event.by if isinstance(event, ev.NoteTaken) else 'the trainer'}: {event.text}"
    if isinstance(event, ev.CommandRefused):
        return f"** refused {event.command}: {event.reason}"
    return _checked(event) if isinstance(event, ev.RadioChecked) else ""


def _checked(event: ev.RadioChecked) -> str:
    return f"** headset {event.station}: {figures(event.sound)}. Verdict: {WRITTEN[event.verdict]}."
