"""Running counts over a record's events, so that none has to be kept: what the archive keeps of a drill."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from protocol import events as ev
from protocol.air import Verdict
from protocol.commands import Command
from protocol.errors import ProtocolError
from protocol.scene import Book
from protocol.score import Tally

MOST_SCORED = 50_000
"""A record with more events than this (days of work) is counted without its score, whose memory grows with it."""


@dataclass(frozen=True, slots=True)
class StageCount:
    """Time in one stage, all stays together."""

    stage: str
    title: str
    spent_ms: int
    target_ms: int | None


class Counts:
    """Fed event by event; its memory does not grow with the record, but for the score while that is counted."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._tally: Tally | None = Tally(book.procedure)
        self._spent_ms: dict[str, int] = {}
        self._stage, self._since_ms = "", 0
        self.events = self.at_ms = 0
        self.scenario = self.title = ""
        self.closed = False
        self.numbers = dict.fromkeys(
            ("steps", "refused", "overrides", "emergencies", "readings", "bad_readings", "canisters"), 0
        )

    def take(self, event: ev.Event) -> None:
        """One more event."""
        self.events += 1
        self.at_ms = max(self.at_ms, event.at_ms)
        for name in _counted(event):
            self.numbers[name] += -1 if isinstance(event, ev.EntryTakenBack) else 1
        if isinstance(event, ev.StepEntered):
            self._go(event.step)
        elif isinstance(event, ev.SteppedBack | ev.DrillRewound):
            self._go(event.to)
        elif isinstance(event, ev.DrillBegun):
            self.scenario, self.title = event.scenario, event.title
            self.numbers = dict.fromkeys(self.numbers, 0)  # what was prepared for the drill is nobody's doing
        elif isinstance(event, ev.IncidentClosed):
            self.closed = True
        self._score(lambda tally: tally.take((event,)))

    def hear(self, command: Command) -> None:
        """The command that caused them."""
        self._score(lambda tally: tally.hear(command))

    def _score(self, feed: Any) -> None:
        if self._tally is None:
            return
        try:
            feed(self._tally)
        except (ProtocolError, KeyError, ValueError, IndexError):
            self._tally = None
        if self.events > MOST_SCORED:
            self._tally = None

    def _go(self, step: str) -> None:
        procedure = self._book.procedure
        try:
            stage = procedure.step(step).stage
        except ProtocolError:
            stage = ""
        if stage != self._stage:
            self._leave()
            self._stage, self._since_ms = stage, self.at_ms

    def _leave(self) -> None:
        if self._stage:
            spent = self._spent_ms.get(self._stage, 0)
            self._spent_ms[self._stage] = spent + self.at_ms - self._since_ms
        self._since_ms = self.at_ms

    def stages(self) -> Iterator[StageCount]:
        """Time in each stage that was visited; where the score was counted, without what was prepared for the drill."""
        if self._tally is not None:
            for row in self._tally.score().stages:
                yield StageCount(row.stage, row.title, row.spent_ms, row.target_ms)
            return
        self._leave()
        titles = {stage.id: stage.title for stage in self._book.procedure.stages}
        for stage, spent in self._spent_ms.items():
            yield StageCount(stage, titles.get(stage, stage), spent, None)

    def scored(self) -> dict[str, Any]:
        """Columns that only the score knows; null where it could not be counted."""
        if self._tally is None:
            none = ("order_faults", "missed_calls", "late_answers", "misheard", "oldest_air_ms")
            return {**dict.fromkeys(none), "grade": "", "length_ms": self.at_ms}
        score = self._tally.score()
        return {
            "order_faults": len(score.order_faults),
            "missed_calls": score.missed_roll_calls + score.missed_person_checks,
            "late_answers": score.late_answers,
            "misheard": len(score.misheard),
            "oldest_air_ms": score.oldest_air_ms,
            "grade": score.grade,
            "length_ms": score.duration_ms,
        }


def _counted(event: ev.Event) -> tuple[str, ...]:
    if isinstance(event, ev.StepConfirmed):
        return ("steps", "overrides") if event.skipped else ("steps",)
    if isinstance(event, ev.AirRead):
        return ("readings", "bad_readings") if event.verdict == Verdict.BAD.value else ("readings",)
    if isinstance(event, ev.EntryTakenBack):
        return {"air": ("readings",), "canister": ("canisters",)}.get(event.entry, ())
    names: dict[type, str] = {
        ev.RepeatConfirmed: "steps", ev.AdvanceRefused: "refused", ev.EmergencyRaised: "emergencies",
        ev.CanisterCounted: "canisters",
    }  # fmt: skip
    name = names.get(type(event))
    return (name,) if name else ()
