"""A running count over a record, event by event, so that a long one need not be held in memory."""

from collections.abc import Iterable
from dataclasses import replace
from functools import singledispatchmethod

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Reading
from protocol.guards import FLAMMABLE_LOW
from protocol.machine import guards_of
from protocol.procedure import Procedure
from protocol.responses import answers
from protocol.score.air_log import AirLog
from protocol.score.calls import Calls
from protocol.score.facts import (
    UNSURE_BELOW,
    AirAge,
    EmergencyTime,
    InjectAnswer,
    Misheard,
    OrderFault,
    Passed,
    ReadBacks,
    RefusedAdvance,
    Score,
    StageTime,
    Unsure,
)
from protocol.targets import Grade, Targets


class Tally:
    """Counts while it is fed; what stands before the crew was told of the drill was prepared, and is not counted."""

    def __init__(self, procedure: Procedure, targets: Targets | None = None) -> None:
        self._procedure = procedure
        self._own_targets = targets
        self._targets_ms: tuple[tuple[str, int], ...] = targets.stage_ms if targets else ()
        self._grades: tuple[Grade, ...] = targets.grade if targets else ()
        self._kind = self._ended_by = self._scenario = self._title = self._note = self._words = ""
        self._begun_ms = self._at_ms = self._since_ms = 0
        self._step = ""
        self._closed = False
        self._air = AirLog()
        self._start_count()

    def _start_count(self) -> None:
        self._spent_ms: dict[str, int] = {}
        self._steps = self._canisters = self._steps_back = self._rewinds = self._pauses = 0
        self._faults: list[OrderFault] = []
        self._refused: list[RefusedAdvance] = []
        self._injects: list[InjectAnswer] = []
        self._ages: list[AirAge] = []
        self._calls = {"roll_call": Calls(), "person_check": Calls()}
        self._backs = ReadBacks()
        self._asked = ""
        self._misheard: list[Misheard] = []
        self._said_again: list[int] = []
        self._unsure: list[Unsure] = []
        self._passed: list[Passed] = []
        self._emergencies: list[EmergencyTime] = []

    def take(self, events: Iterable[ev.Event]) -> None:
        """Count the events of one record, or of several."""
        for event in events:
            self._at_ms = event.at_ms
            self._answer_injects(event)
            self._count(event)

    def hear(self, command: cmd.Command) -> None:
        """Count what was said: phrases that were unsure, and questions to hear it again."""
        origin = command.origin
        if isinstance(command, cmd.Ask) and command.query is cmd.Query.SAY_AGAIN:
            self._said_again.append(command.at_ms)
        if origin.confidence is not None and origin.confidence < UNSURE_BELOW:
            self._unsure.append(Unsure(command.at_ms, origin.heard, origin.confidence))

    def score(self) -> Score:
        """The facts so far."""
        found = Score(
            kind=self._kind, scenario=self._scenario, title=self._title, begun_ms=self._begun_ms,
            ended_ms=self._at_ms, closed=self._closed, ended_by=self._ended_by, steps_confirmed=self._steps,
            canisters=self._canisters, stages=self._stages(), order_faults=tuple(self._faults),
            refused=tuple(self._refused),
            injects=tuple(self._injects), air_ages=tuple(self._ages), roll_calls=self._calls["roll_call"].rows(),
            person_checks=self._calls["person_check"].rows(), read_backs=self._backs, misheard=tuple(self._misheard),
            said_again_ms=tuple(at for at in self._said_again if at >= self._begun_ms),
            unsure=tuple(sorted(self._unsure, key=_confidence)), overrides=tuple(self._passed),
            emergencies=tuple(self._emergencies), steps_back=self._steps_back, rewinds=self._rewinds,
            pauses=self._pauses,
        )  # fmt: skip
        return replace(found, grade=next((grade.name for grade in self._grades if reaches(found, grade)), ""))

    def _stages(self) -> tuple[StageTime, ...]:
        spent = dict(self._spent_ms)
        if self._step and not self._closed:
            stage = self._stage(self._step)
            spent[stage] = spent.get(stage, 0) + self._at_ms - self._since_ms
        targets = dict(self._targets_ms)
        return tuple(
            StageTime(stage.id, stage.title, spent.get(stage.id, 0), targets.get(stage.id))
            for stage in self._procedure.stages
            if stage.id in spent or stage.id in targets
        )

    def _stage(self, step: str) -> str:
        return self._procedure.step(step).stage

    def _go(self, step: str, at_ms: int) -> None:
        """Another step is the current one; the time since goes to the stage that is left."""
        if self._step:
            stage = self._stage(self._step)
            self._spent_ms[stage] = self._spent_ms.get(stage, 0) + at_ms - self._since_ms
        self._step, self._since_ms = step, at_ms

    def _answer_injects(self, event: ev.Event) -> None:
        for index, inject in enumerate(self._injects):
            waits = inject.answered_ms is None and inject.expects
            if waits and any(answers(expected, event) for expected in inject.expects):
                self._injects[index] = replace(inject, answered_ms=event.at_ms)

    @singledispatchmethod
    def _count(self, event: ev.Event) -> None:
        """Most events are no facts of their own."""

    @_count.register
    def _opened(self, event: ev.IncidentOpened) -> None:
        self._kind = event.kind

    @_count.register
    def _begun(self, event: ev.DrillBegun) -> None:
        self._start_count()
        self._scenario, self._title, self._begun_ms = event.scenario, event.title, event.at_ms
        self._since_ms = event.at_ms
        if self._own_targets is None:
            self._targets_ms, self._grades = event.targets_ms, event.grades

    @_count.register
    def _over(self, event: ev.DrillEnded) -> None:
        self._ended_by = event.why

    @_count.register
    def _finished(self, event: ev.IncidentClosed) -> None:
        self._go(self._step, event.at_ms)
        self._closed = True

    @_count.register
    def _entered(self, event: ev.StepEntered) -> None:
        self._go(event.step, event.at_ms)
        if self._kind == "drill":
            self._air.entered(event.step, event.at_ms)

    @_count.register
    def _confirmed(self, event: ev.StepConfirmed) -> None:
        self._steps += 1
        if not self._procedure.step(event.step).repeat:
            self._leant_on_air(event)
        if self._backs.asked and self._asked == event.step:
            self._backs = replace(self._backs, affirmed=self._backs.affirmed + 1)
            self._asked = ""
        if event.skipped:
            reason = self._note.partition(": ")[2] if self._note.startswith("Override of ") else ""
            self._passed.append(Passed(event.at_ms, event.step, reason))

    @_count.register
    def _repeated(self, event: ev.RepeatConfirmed) -> None:
        self._steps += 1
        self._leant_on_air(event)

    def _leant_on_air(self, event: ev.StepConfirmed | ev.RepeatConfirmed) -> None:
        row = self._air.age(event.at_ms, event.step, guards_of(self._procedure, self._procedure.step(event.step)))
        if row is not None:
            self._ages.append(row)

    @_count.register
    def _back(self, event: ev.SteppedBack) -> None:
        self._steps_back += 1
        self._go(event.to, event.at_ms)

    @_count.register
    def _refusal(self, event: ev.AdvanceRefused) -> None:
        if event.guard:
            self._refused.append(RefusedAdvance(event.at_ms, event.step, event.guard, event.reason))
        else:
            self._faults.append(OrderFault(event.at_ms, event.step, event.reason))

    @_count.register
    def _asked_back(self, event: ev.ReadbackAsked) -> None:
        self._backs = replace(self._backs, asked=self._backs.asked + 1)
        self._asked = event.step if event.what == "step" else "air"
        self._words = event.heard

    @_count.register
    def _dropped(self, event: ev.ReadbackDropped) -> None:
        count = {"negative": "negated", "lapsed": "lapsed"}.get(event.why, "overtaken")
        self._backs = replace(self._backs, **{count: getattr(self._backs, count) + 1})
        self._asked = ""
        if event.why == "negative":
            self._misheard.append(Misheard(event.at_ms, self._words, "negative"))

    @_count.register
    def _read(self, event: ev.AirRead) -> None:
        fault = self._air.read(Reading(event.gas, event.value, event.place, event.at_ms))
        asked_alone = FLAMMABLE_LOW in self._procedure.step(self._step).needs
        if fault and not asked_alone:
            self._faults.append(OrderFault(event.at_ms, self._step, fault))
        if self._asked == "air":
            self._backs = replace(self._backs, affirmed=self._backs.affirmed + 1)
            self._asked = ""

    @_count.register
    def _taken_back(self, event: ev.EntryTakenBack) -> None:
        self._misheard.append(Misheard(event.at_ms, event.detail, "taken back"))
        if event.entry == "air":
            self._air.taken_back()
        elif event.entry == "canister":
            self._canisters -= 1

    @_count.register
    def _counted(self, _event: ev.CanisterCounted) -> None:
        self._canisters += 1

    @_count.register
    def _expired(self, event: ev.TimerExpired) -> None:
        if event.timer in self._calls:
            self._calls[event.timer].asked(event.at_ms)

    @_count.register
    def _stopped(self, event: ev.TimerStopped) -> None:
        if event.timer in self._calls:
            self._calls[event.timer].stopped()

    @_count.register
    def _rolled(self, event: ev.RollCallAnswered) -> None:
        self._calls["roll_call"].answered(event.at_ms)

    @_count.register
    def _checked(self, event: ev.PersonChecked) -> None:
        self._calls["person_check"].answered(event.at_ms)

    @_count.register
    def _raised(self, event: ev.EmergencyRaised) -> None:
        self._emergencies.append(EmergencyTime(event.kind, event.at_ms))
        self._asked = ""

    @_count.register
    def _ended(self, event: ev.EmergencyEnded) -> None:
        for index in range(len(self._emergencies) - 1, -1, -1):
            row = self._emergencies[index]
            if row.kind == event.kind and row.ended_ms is None:
                self._emergencies[index] = replace(row, ended_ms=event.at_ms, withdrawn=event.withdrawn)
                break
        if event.withdrawn:
            self._misheard.append(Misheard(event.at_ms, event.kind, "withdrawn"))

    @_count.register
    def _learned(self, event: ev.FactLearned) -> None:
        self._air.learned(event.fact, event.value)

    @_count.register
    def _noted(self, event: ev.NoteTaken) -> None:
        self._note = event.text

    @_count.register
    def _injected(self, event: ev.InjectGiven) -> None:
        self._injects.append(
            InjectAnswer(event.inject, event.text, event.at_ms, event.expects, within_s=event.within_s)
        )

    @_count.register
    def _paused(self, _event: ev.DrillPaused) -> None:
        self._pauses += 1

    @_count.register
    def _rewound(self, event: ev.DrillRewound) -> None:
        self._rewinds += 1
        self._air.put_back(event.to, event.moment_ms, event.at_ms)
        self._go(event.to, event.at_ms)
        for calls in self._calls.values():
            calls.stopped()


def reaches(score: Score, grade: Grade) -> bool:
    """Whether every limit that the grade names holds."""
    limits = (
        (grade.most_order_faults, len(score.order_faults)),
        (grade.most_refused, len(score.refused)),
        (grade.most_missed_calls, score.missed_roll_calls + score.missed_person_checks),
        (grade.most_late_answers, score.late_answers),
        (None if grade.longest_min is None else grade.longest_min * 60_000, score.duration_ms),
    )
    return score.closed and all(limit is None or found <= limit for limit, found in limits)


def _confidence(row: Unsure) -> float:
    return row.confidence


def _nothing(_tally: Tally, _event: ev.Event) -> None:
    """Most events are no facts of their own."""
