"""Every line of the story for the page, the CSV and the JSON: what was heard, said and done."""

from collections.abc import Iterator

from assistant.debrief.names import Names, plain
from assistant.debrief.tale import StoryLine
from assistant.journal import Record
from protocol import events as ev
from protocol.headset import WRITTEN, figures
from protocol.lines import written

TO = {"inside": "to inside", "outside": "to outside", "both": "to everyone"}
HOW = {"voice": "said", "keyboard": "typed"}
UNTOLD = (ev.TimerStarted, ev.TimerStopped, ev.TimerExpired, ev.FactLearned, ev.ReadbackAsked, ev.ReadbackDropped)
"""The clocks' own book-keeping, and what the sentences around it say anyhow."""


def lines_of(record: Record, names: Names) -> Iterator[StoryLine]:
    """The lines that tell one record."""
    origin = record.command.origin
    if origin.heard:
        sure = "" if origin.confidence is None else f" ({origin.confidence:.2f})"
        who = f"{origin.station} {HOW.get(origin.how, origin.how)}"
        yield StoryLine(record.at_ms, record.n, "heard", who, f"{origin.heard}{sure}")
    for event in record.events:
        if isinstance(event, ev.Said):
            sort = "alarm" if event.urgency is ev.Urgency.ALARM else "said"
            yield StoryLine(event.at_ms, record.n, sort, TO.get(event.to, event.to), event.text)
        elif not isinstance(event, UNTOLD):
            yield StoryLine(event.at_ms, record.n, _sort(event), "", _happened(event, names))


def _sort(event: ev.Event) -> str:
    return "step" if isinstance(event, ev.StepEntered) else "note"


def _happened(event: ev.Event, names: Names) -> str:
    if isinstance(event, ev.StepEntered):
        return f"Step: {names.step(event.step)} ({names.stage(event.step)[1]})"
    if isinstance(event, ev.StepConfirmed | ev.RepeatConfirmed):
        number = f", {event.number} of {event.of}" if isinstance(event, ev.RepeatConfirmed) else ""
        return f"Confirmed: {names.step(event.step)}{number}"
    if isinstance(event, ev.AdvanceRefused | ev.CommandRefused):
        return f"Refused: {event.reason}"
    if isinstance(event, ev.NoteTaken):
        return f"Note by {event.by}: {event.text}"
    if isinstance(event, ev.PartFailed | ev.PartRecovered):
        works = "lost" if isinstance(event, ev.PartFailed) else "works again"
        return f"{event.part.capitalize()} {works}. {event.detail}"
    return _counted(event, names)


def _counted(event: ev.Event, names: Names) -> str:
    if isinstance(event, ev.AirRead):
        return f"Air: {event.gas.spoken} {event.value:f} at the {event.place}"
    if isinstance(event, ev.AirLimitCrossed):
        return f"Limit crossed: {event.gas.spoken} {event.value:f} at the {event.place}, {event.limit} ({event.source})"
    if isinstance(event, ev.EmergencyRaised | ev.EmergencyEnded):
        way = "raised" if isinstance(event, ev.EmergencyRaised) else "withdrawn" if event.withdrawn else "over"
        return f"Emergency {way}: {names.emergency(event.kind)}"
    if isinstance(event, ev.HearingBegun):
        return f"Headset {event.station} is heard"
    if isinstance(event, ev.RadioChecked):
        return f"Radio check of {event.station}: {WRITTEN[event.verdict]}. {figures(event.sound)}"
    return _called(event) or _other(event)


def _called(event: ev.Event) -> str:
    if isinstance(event, ev.RescuerEntered | ev.LineRecorded):
        way = ["went in"] if isinstance(event, ev.RescuerEntered) else []
        line = written(event.line, event.tenders) or ("" if way else "no line recorded")
        return f"Rescuer {event.slot} {', '.join(filter(None, (*way, line)))}"
    if isinstance(event, ev.RescuerLeft):
        return f"Rescuer {event.slot} came out"
    if isinstance(event, ev.CanisterCounted):
        return f"Canister {event.total}"
    if isinstance(event, ev.LevelCalled):
        return f"Grain at {event.mark}"
    if isinstance(event, ev.EntryTakenBack):
        return f"Taken back, kept in the record: {event.detail}"
    return ""


def _other(event: ev.Event) -> str:
    name = "".join(f" {letter.lower()}" if letter.isupper() else letter for letter in type(event).__name__)
    details = [str(getattr(event, field)) for field in ("gas", "place", "corner", "title", "text", "step", "to")
               if getattr(event, field, None)]  # fmt: skip
    return plain(name) + (f": {', '.join(details)}" if details else "")
