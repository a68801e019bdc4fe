"""Lets a scenario happen: watches what is on record, gives each inject in its time, moves the simulated grain.

It is polled like a station and hands its orders to the one queue; it never touches the state itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from assistant.drill.simulation import ORIGIN, Simulation, simulation_of
from assistant.inputs import Input, Order
from assistant.journal import Record
from protocol import events as ev
from protocol.commands import EndDrill, GiveInject
from protocol.responses import answers
from protocol.scenario import Inject, Scenario
from protocol.scene import Book
from protocol.state import State

WORKED_THROUGH = "the scenario is worked through"


@dataclass(frozen=True, slots=True)
class _Due:
    at_ms: int
    inject: Inject


@dataclass(frozen=True, slots=True)
class _Plan:
    """What has been started, what waits, and the grain: all that a rewind has to bring back."""

    begun_ms: int | None = None
    started: frozenset[str] = frozenset()
    waiting: tuple[_Due, ...] = ()
    simulation: Simulation | None = None
    over: bool = False

    def later(self, by_ms: int) -> "_Plan":
        """The same, moved in time."""
        return replace(
            self,
            waiting=tuple(_Due(due.at_ms + by_ms, due.inject) for due in self.waiting),
            simulation=self.simulation.shifted(by_ms) if self.simulation else None,
        )


class Director:
    """One scenario under way. Not for several threads."""

    def __init__(self, scenario: Scenario, book: Book, pace: float | None = None) -> None:
        """Make it ready.

        Args:
            scenario: what is to happen.
            book: the procedure and house rules that it runs on.
            pace: how much faster than in earnest the vacuum works; the scenario's own when None.
        """
        self._scenario = scenario
        self._book = book
        self._pace = scenario.scenario.pace if pace is None else pace
        self._plan = _Plan()
        self._moments: dict[tuple[str, int], _Plan] = {}
        self._state = State()
        self._over_said = False
        self.prepared = 0
        """How many steps had been entered when the crew came in."""

    @property
    def injects(self) -> dict[str, Inject]:
        """Every inject by its id, for the trainer's channel."""
        return {row.id: row for row in self._scenario.inject}

    @property
    def given(self) -> frozenset[str]:
        """Those that have been started."""
        return self._plan.started

    @property
    def told(self) -> frozenset[str]:
        """Those that the crew has heard."""
        return self._plan.started - {due.inject.id for due in self._plan.waiting}

    @property
    def simulation(self) -> Simulation | None:
        """The grain as it stands."""
        return self._plan.simulation

    def react(self, record: Record, state: State) -> None:
        """Note what happened."""
        self._state = state
        for event in record.events:
            self._note(event)

    def follow(self, record: Record, state: State) -> None:
        """Take in a record from before a stop: time passes as it did, and what was given is not given again."""
        if self._plan.simulation is not None:
            moved = self._plan.simulation.moved(record.at_ms, self._state, counts=self._counts)
            self._plan = replace(self._plan, simulation=moved)
        self.react(record, state)
        for event in record.events:
            if isinstance(event, ev.InjectGiven) and self._plan.simulation is not None:
                self._plan = replace(self._plan, simulation=self._plan.simulation.was_told(event.inject))

    def poll(self, now_ms: int) -> Sequence[Input]:
        """Orders that are due."""
        if self._plan.begun_ms is None or self._state.closed or self._state.drill_paused:
            return ()
        due = [row for row in self._plan.waiting if row.at_ms <= now_ms]
        self._plan = replace(self._plan, waiting=tuple(row for row in self._plan.waiting if row.at_ms > now_ms))
        orders = [given(row.inject, now_ms) for row in due]
        orders.extend(self._move_grain(now_ms))
        found: list[Input] = [Order(order) for order in orders]
        if self._plan.over and not self._over_said:
            self._over_said = True
            found.append(Order(EndDrill(now_ms, ORIGIN, WORKED_THROUGH)))
        return found

    @property
    def silent(self) -> bool:
        """It says nothing itself."""
        return True

    def close(self) -> None:
        """Nothing is held."""

    @property
    def _counts(self) -> bool:
        """Whether the current stage works with the vacuum."""
        procedure = self._book.procedure
        return procedure.stage_of(procedure.step(self._state.step)).counts

    def _move_grain(self, now_ms: int) -> tuple[GiveInject, ...]:
        if self._plan.simulation is None:
            return ()
        moved, told = self._plan.simulation.until(now_ms, self._state, counts=self._counts)
        self._plan = replace(self._plan, simulation=moved)
        return told

    def _note(self, event: ev.Event) -> None:
        if isinstance(event, ev.DrillBegun):
            self._begin(event.at_ms)
        if self._plan.begun_ms is None:
            return
        if isinstance(event, ev.InjectGiven):
            self._was_given(event.inject)
        if isinstance(event, ev.StepEntered):
            self._moments[event.step, event.at_ms] = self._plan
            self._start(event, entered=event.step)
        elif isinstance(event, ev.DrillRewound):
            self._put_back(event)
        else:
            self._start(event)
        self._simulate(event)
        ends = self._scenario.scenario.ends
        if ends is not None and answers(ends, event):
            self._plan = replace(self._plan, over=True)

    def _was_given(self, name: str) -> None:
        """It is not given again by itself, whoever gave it."""
        waiting = tuple(due for due in self._plan.waiting if due.inject.id != name)
        self._plan = replace(self._plan, started=self._plan.started | {name}, waiting=waiting)

    def _begin(self, at_ms: int) -> None:
        self.prepared = len(self._state.moments) - 1
        timed = tuple(
            _Due(at_ms + round(row.at_s * 1000), row) for row in self._scenario.inject if row.at_s is not None
        )
        started = frozenset(due.inject.id for due in timed)
        grain = simulation_of(self._scenario, self._book, self._pace, at_ms)
        self._plan = _Plan(at_ms, started, timed, grain)
        self._moments[self._state.step, self._state.step_since_ms] = self._plan
        for row in self._scenario.inject:
            if row.enters == self._state.step:
                self._wait_for(row, at_ms)

    def _start(self, event: ev.Event, entered: str = "") -> None:
        for row in self._scenario.inject:
            if row.id in self._plan.started:
                continue
            if (row.enters and row.enters == entered) or (row.on is not None and answers(row.on, event)):
                self._wait_for(row, event.at_ms)

    def _wait_for(self, row: Inject, at_ms: int) -> None:
        due = _Due(at_ms + round(row.delay_s * 1000), row)
        self._plan = replace(
            self._plan, started=self._plan.started | {row.id}, waiting=(*self._plan.waiting, due)
        )

    def _simulate(self, event: ev.Event) -> None:
        grain, simulation = self._scenario.grain, self._plan.simulation
        if simulation is None or grain is None:
            return
        if isinstance(event, ev.CanisterCounted):
            simulation = simulation.counted()
        if grain.leak_on is not None and answers(grain.leak_on, event):
            simulation = simulation.leak(leaking=True)
        if isinstance(event, ev.FactLearned) and (event.fact, event.value) == ("leak", "closed"):
            simulation = simulation.leak(leaking=False)
        self._plan = replace(self._plan, simulation=simulation)

    def _put_back(self, event: ev.DrillRewound) -> None:
        plan = self._moments.get((event.to, event.moment_ms))
        if plan is not None:
            self._plan = plan.later(event.at_ms - event.moment_ms)
        self._over_said = False


def given(row: Inject, at_ms: int) -> GiveInject:
    """An inject as an order."""
    return GiveInject(at_ms, ORIGIN, row.id, row.to, row.say, row.urgent, row.expects, row.within_s)
