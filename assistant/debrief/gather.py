"""From records to the rows of a tale: one small function per event."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from assistant.debrief.guesses import level_guess, mark_m, time_guess
from assistant.debrief.names import Names
from assistant.debrief.open_rows import Spans
from assistant.debrief.story_lines import lines_of
from assistant.debrief.tale import (
    AirRow,
    AlarmRow,
    CanisterRow,
    Confirmation,
    CrewRow,
    EmergencyRow,
    LevelGuess,
    LevelRow,
    LineRow,
    Moment,
    Order,
    PartRow,
    Refusal,
    SoundRow,
    Span,
    StageRow,
    StoryLine,
    TimeGuess,
)
from assistant.journal import Record
from protocol import commands as cmd
from protocol import events as ev
from protocol.air import judge, range_of, worst
from protocol.delivery import Link
from protocol.errors import ProtocolError
from protocol.history import apply
from protocol.remaining import person_of
from protocol.scene import Book, Scene
from protocol.state import State

UNITS = {"percent": "%", "percent of the lower limit": "% LEL", "parts per million": "ppm"}
"""Short units; LEL is the lower explosive limit."""
PREPARED = "prepared for the drill"
ORDERS = (cmd.Override, cmd.EndWork, cmd.TakeLead)


class Gatherer:
    """Takes one record after the other; what an impossible event would do to the state is left out and counted."""

    def __init__(self, book: Book | None) -> None:
        self.names = Names(book)
        self.book = book
        self.state = State()
        self.end_ms = 0
        self.misfits: list[str] = []
        self.scenario = ""
        self.confirmations: list[Confirmation] = []
        self.orders: list[Order] = []
        self.refusals: list[Refusal] = []
        self.alarms: list[AlarmRow] = []
        self.air: list[AirRow] = []
        self.levels: list[LevelRow] = []
        self.canisters: list[CanisterRow] = []
        self.moments: list[Moment] = []
        self.notes: list[Moment] = []
        self.time_guesses: list[TimeGuess] = []
        self.level_guesses: list[LevelGuess] = []
        self.story: list[StoryLine] = []
        self.sounds: list[SoundRow] = []
        self.stages: Spans[StageRow] = Spans(_stage_row)
        self.emergencies: Spans[EmergencyRow] = Spans(self._emergency)
        self.holds: Spans[Span] = Spans(lambda _key, span, _words: span)
        self.crew: Spans[CrewRow] = Spans(self._stay)
        self.parts: Spans[PartRow] = Spans(lambda key, span, detail: PartRow(key, detail, span))
        self._left: list[str] = []
        self._lines: dict[str, tuple[LineRow, ...]] = {}
        self._sure: float | None = None

    def take(self, record: Record) -> None:
        """One more record."""
        self.end_ms = max(self.end_ms, record.at_ms)
        self._order(record)
        for event in record.events:
            self._apply(event)
            handler = _HANDLERS.get(type(event))
            if handler is not None:
                handler(self, event, record.command)
        self.story.extend(lines_of(record, self.names))
        self._guess(record)

    def _apply(self, event: ev.Event) -> None:
        try:
            self.state = apply(self.state, event)
        except (ProtocolError, StopIteration, IndexError, KeyError) as error:
            self.misfits.append(str(error))

    def _order(self, record: Record) -> None:
        command = record.command
        if not isinstance(command, ORDERS):
            return
        refused = [event for event in record.events if isinstance(event, ev.AdvanceRefused | ev.CommandRefused)]
        what = "End of all work"
        if isinstance(command, cmd.Override):
            what = self.names.step(command.step)
        elif isinstance(command, cmd.TakeLead):
            what = f"Lead to {command.leader}"
        self.orders.append(Order(record.at_ms, what, command.origin.station, command.reason.strip(), not refused))

    def _guess(self, record: Record) -> None:
        counted = any(isinstance(event, ev.CanisterCounted) for event in record.events)
        if self.book is None or not (counted or any(isinstance(event, ev.LevelCalled) for event in record.events)):
            return
        scene = Scene(self.book, self.state, record.at_ms)
        guessed = time_guess(scene)
        if guessed is not None:
            self.time_guesses.append(guessed)
        level = level_guess(scene) if counted else None
        if level is not None:
            self.level_guesses.append(level)

    def _stay(self, key: str, span: Span, _words: str) -> CrewRow:
        return CrewRow(int(key), span, self._lines.get(key, ()))

    def _on_line(self, slot: int, at_ms: int, line: str, tenders: tuple[str, ...], *, anew: bool = False) -> None:
        """Lines of a stay; nothing recorded at its beginning is no row."""
        before = () if anew else self._lines.get(str(slot), ())
        more = (LineRow(at_ms, line, tenders),) if line or tenders or before else ()
        self._lines[str(slot)] = (*before, *more)

    def _emergency(self, key: str, span: Span, words: str) -> EmergencyRow:
        by, _, ended = words.partition("\n")
        return EmergencyRow(key, self.names.emergency(key), by, span, ended == "withdrawn")

    def entered(self, event: ev.StepEntered, _command: cmd.Command) -> None:
        """A step, and perhaps another stage."""
        self._to_step(event.step, event.at_ms)

    def stepped_back(self, event: ev.SteppedBack, _command: cmd.Command) -> None:
        """The step before."""
        self.moments.append(Moment(event.at_ms, "back", f"Back from {self.names.step(event.step)}"))
        self._to_step(event.to, event.at_ms)

    def _to_step(self, step: str, at_ms: int) -> None:
        stage, title, emergency = self.names.stage(step)
        if self.stages.is_open(stage):
            return
        self.stages.end_all(at_ms)
        self.stages.begin(stage, at_ms, f"{title}\nemergency" if emergency else title)

    def asked(self, _event: ev.ReadbackAsked, command: cmd.Command) -> None:
        """A read-back: how sure the phrase itself was."""
        self._sure = command.origin.confidence

    def confirmed(self, event: ev.StepConfirmed, command: cmd.Command) -> None:
        """A step confirmed, or passed by the officer; the last of several says it already."""
        if self.confirmations and (self.confirmations[-1].at_ms, self.confirmations[-1].step) == (
            event.at_ms, event.step
        ):  # fmt: skip
            return
        outcome = "passed by override" if event.skipped else _outcome(command)
        self._confirmation(event, self.names.step(event.step), outcome, command)

    def repeat(self, event: ev.RepeatConfirmed, command: cmd.Command) -> None:
        """One of several."""
        title = f"{self.names.step(event.step)}: {event.number} of {event.of}"
        self._confirmation(event, title, _outcome(command), command)

    def _confirmation(
        self, event: ev.StepConfirmed | ev.RepeatConfirmed, title: str, outcome: str, command: cmd.Command
    ) -> None:
        sure = self._sure if isinstance(command, cmd.Affirm) else command.origin.confidence
        how = command.origin.how
        self.confirmations.append(
            Confirmation(event.at_ms, event.step, title, event.by, how, event.heard, sure, outcome)
        )

    def refused(self, event: ev.AdvanceRefused, command: cmd.Command) -> None:
        """A confirmation that was not taken."""
        self.refusals.append(
            Refusal(event.at_ms, self.names.step(event.step), event.reason, command.origin.heard)
        )

    def not_taken(self, event: ev.CommandRefused, command: cmd.Command) -> None:
        """A command that was not taken."""
        self.refusals.append(Refusal(event.at_ms, event.command, event.reason, command.origin.heard))

    def said(self, event: ev.Said, _command: cmd.Command) -> None:
        """An alarm, if it is one."""
        if event.urgency is ev.Urgency.ALARM:
            self.alarms.append(AlarmRow(event.at_ms, event.to, event.text, event.about))

    def air_read(self, event: ev.AirRead, _command: cmd.Command) -> None:
        """A reading."""
        limit = worst(event.gas, event.value)
        shown = f"{event.value:f} {UNITS[range_of(event.gas).unit]}"
        row = AirRow(
            event.at_ms, event.gas, float(event.value), shown, event.place, judge(event.gas, event.value),
            limit.name if limit else "",
        )  # fmt: skip
        self.air.append(row)

    def went_stale(self, event: ev.AirWentStale, _command: cmd.Command) -> None:
        """A reading too old."""
        self.moments.append(Moment(event.at_ms, "stale", f"{event.gas.spoken} at the {event.place} too old to count"))

    def canister(self, event: ev.CanisterCounted, _command: cmd.Command) -> None:
        """A canister."""
        self.canisters.append(CanisterRow(event.at_ms))

    def level(self, event: ev.LevelCalled, _command: cmd.Command) -> None:
        """A level."""
        height = person_of(self.book.house).height_m.value if self.book else 1.75
        try:
            self.levels.append(LevelRow(event.at_ms, event.mark, mark_m(event.mark, height)))
        except ValueError:
            self.misfits.append(f"No mark is called '{event.mark}'.")

    def taken_back(self, event: ev.EntryTakenBack, _command: cmd.Command) -> None:
        """The last entry of a kind was wrong."""
        self.moments.append(Moment(event.at_ms, "taken back", event.detail))
        if event.entry == "rescuer_out" and self._left:
            self.crew.again(self._left.pop())
        if event.entry == "canister" and self.level_guesses:
            self.level_guesses.pop()
        for entry, rows in (("air", self.air), ("level", self.levels), ("canister", self.canisters)):
            if entry == event.entry:
                _mark_last(rows)

    def went_in(self, event: ev.RescuerEntered, _command: cmd.Command) -> None:
        """A rescuer in the bin."""
        self.crew.begin(str(event.slot), event.at_ms)
        self._on_line(event.slot, event.at_ms, event.line, event.tenders, anew=True)

    def lined(self, event: ev.LineRecorded, _command: cmd.Command) -> None:
        """On another line, with other tenders, or on none that is known."""
        if self.crew.is_open(str(event.slot)):
            self._on_line(event.slot, event.at_ms, event.line, event.tenders)

    def came_out(self, event: ev.RescuerLeft, _command: cmd.Command) -> None:
        """A rescuer out of it."""
        self._left.append(str(event.slot))
        self.crew.end(str(event.slot), event.at_ms)

    def raised(self, event: ev.EmergencyRaised, _command: cmd.Command) -> None:
        """An emergency begins."""
        self.emergencies.begin(event.kind, event.at_ms, event.by)

    def ended(self, event: ev.EmergencyEnded, _command: cmd.Command) -> None:
        """An emergency is over."""
        by = self.emergencies.words_of(event.kind)
        self.emergencies.end(event.kind, event.at_ms, f"{by}\nwithdrawn" if event.withdrawn else by)

    def begun(self, event: ev.DrillBegun, _command: cmd.Command) -> None:
        """The crew was told of the drill; what stands before was prepared for it, not done by them."""
        self.scenario = event.title or event.scenario
        self.confirmations = [replace(row, outcome=PREPARED) for row in self.confirmations]
        self.stages.rows = [pair for pair in self.stages.rows if pair[1].span.length_ms]
        self.moments.append(Moment(event.at_ms, "drill begun", self.scenario))

    def rewound(self, event: ev.DrillRewound, _command: cmd.Command) -> None:
        """The drill was put back; who is inside is as it was then."""
        self.moments.append(Moment(event.at_ms, "put back", f"Put back to {self.names.step(event.to)}"))
        self._to_step(event.to, event.at_ms)
        inside = {str(row.slot): row for row in self.state.inside}
        for slot in self.crew.open_keys() - set(inside):
            self.crew.end(slot, event.at_ms)
        for slot in sorted(set(inside) - self.crew.open_keys()):
            self.crew.begin(slot, event.at_ms)
            self._on_line(int(slot), event.at_ms, inside[slot].line, inside[slot].tenders, anew=True)

    def station(self, event: ev.StationChanged, _command: cmd.Command) -> None:
        """A headset elsewhere that lost its link, or has it again."""
        part = f"station {event.station}"
        if event.link is Link.LOST:
            self.parts.begin(part, event.at_ms, "No link.")
        else:
            self.parts.end(part, event.at_ms)

    def noted(self, event: ev.NoteTaken, _command: cmd.Command) -> None:
        """Words for the record."""
        self.notes.append(Moment(event.at_ms, event.by, event.text))


def _mark_last(rows: list[Any]) -> None:
    for place in range(len(rows) - 1, -1, -1):
        if not rows[place].taken_back:
            rows[place] = replace(rows[place], taken_back=True)
            return


def _outcome(command: cmd.Command) -> str:
    return "read back and affirmed" if isinstance(command, cmd.Affirm) else "confirmed"


def _stage_row(key: str, span: Span, words: str) -> StageRow:
    title, _, sort = words.partition("\n")
    return StageRow(key, title, sort == "emergency", span)


def _moment(what: str) -> Callable[..., None]:
    def note(gatherer: Gatherer, event: ev.Event, _command: cmd.Command) -> None:
        text = getattr(event, "text", getattr(event, "why", ""))
        gatherer.moments.append(Moment(event.at_ms, what, text))

    return note


_HANDLERS: Mapping[type, Callable[..., None]] = MappingProxyType({
    ev.StepEntered: Gatherer.entered,
    ev.SteppedBack: Gatherer.stepped_back,
    ev.ReadbackAsked: Gatherer.asked,
    ev.StepConfirmed: Gatherer.confirmed,
    ev.RepeatConfirmed: Gatherer.repeat,
    ev.AdvanceRefused: Gatherer.refused,
    ev.CommandRefused: Gatherer.not_taken,
    ev.Said: Gatherer.said,
    ev.AirRead: Gatherer.air_read,
    ev.AirWentStale: Gatherer.went_stale,
    ev.CanisterCounted: Gatherer.canister,
    ev.LevelCalled: Gatherer.level,
    ev.EntryTakenBack: Gatherer.taken_back,
    ev.PersonChecked: _moment("person check"),
    ev.RollCallAnswered: _moment("roll call"),
    ev.RescuerEntered: Gatherer.went_in,
    ev.LineRecorded: Gatherer.lined,
    ev.RescuerLeft: Gatherer.came_out,
    ev.EmergencyRaised: Gatherer.raised,
    ev.EmergencyEnded: Gatherer.ended,
    ev.WorkHeld: lambda gatherer, event, _command: gatherer.holds.begin("", event.at_ms),
    ev.WorkResumed: lambda gatherer, event, _command: gatherer.holds.end("", event.at_ms),
    ev.PartFailed: lambda gatherer, event, _command: gatherer.parts.begin(event.part, event.at_ms, event.detail),
    ev.PartRecovered: lambda gatherer, event, _command: gatherer.parts.end(event.part, event.at_ms),
    ev.StationChanged: Gatherer.station,
    ev.NoteTaken: Gatherer.noted,
    ev.AudioKept: lambda gatherer, event, _command: gatherer.sounds.append(
        SoundRow(event.station, event.file, event.at_ms)
    ),
    ev.DrillBegun: Gatherer.begun,
    ev.DrillEnded: _moment("drill ended"),
    ev.InjectGiven: _moment("inject"),
    ev.DrillPaused: _moment("paused"),
    ev.DrillContinued: _moment("continued"),
    ev.DrillRewound: Gatherer.rewound,
    ev.TrainerNoted: lambda gatherer, event, _command: gatherer.notes.append(
        Moment(event.at_ms, "trainer", event.text)
    ),
    ev.IncidentClosed: lambda gatherer, event, _command: gatherer.stages.end_all(event.at_ms),
})
"""What each event adds; events that are not here add nothing but their line of the story."""
