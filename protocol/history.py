"""apply(state, event) -> state, and fold. No rule lives here: an event is taken as it happened."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from protocol import events as ev
from protocol.air import Reading
from protocol.delivery import Delivery, StationSeen
from protocol.errors import HistoryError
from protocol.headset import Headset
from protocol.rewinding import put_back
from protocol.state import DRILL, Level, OpenEmergency, Pending, Rescuer, RunningTimer, SpokenEstimate, State, Tape

RESCUER_OUT = "rescuer_out"
"""The entry of a rescuer counted out, which "correction" takes back like a reading."""
_ESTIMATED_FROM = ("canister", "level", "corner")
"""Without such an entry the estimate that was spoken last does not stand any more."""
_PENDING_FIELDS = ("what", "step", "by", "heard", "answer", "gas", "value", "place")


def apply(state: State, event: ev.Event) -> State:
    """The state after one event.

    Raises:
        HistoryError: if the event cannot follow the state.
    """
    if event.at_ms < state.at_ms:
        raise HistoryError(f"An event at {event.at_ms} ms follows one at {state.at_ms} ms: the record is out of order.")
    if not state.opened and not isinstance(event, ev.IncidentOpened | ev.CommandRefused):
        raise HistoryError(f"{type(event).__name__} comes before the incident was opened.")
    handler = _HANDLERS.get(type(event))
    if handler is None:
        raise HistoryError(f"Unknown event {type(event).__name__}.")
    after: State = handler(state, event)
    return replace(after, at_ms=event.at_ms)


def fold(events: Iterable[ev.Event], state: State | None = None) -> State:
    """Apply events in order."""
    result = State() if state is None else state
    for event in events:
        result = apply(result, event)
    return result


def _opened(state: State, event: ev.IncidentOpened) -> State:
    if state.opened:
        raise HistoryError("The incident was opened twice.")
    return replace(state, opened=True, kind=event.kind)


def _entered(state: State, event: ev.StepEntered) -> State:
    entered = replace(state, step=event.step, step_since_ms=event.at_ms, repeats=event.repeats)
    if state.kind != DRILL:
        return entered
    moment = replace(entered, at_ms=event.at_ms, moments=())
    return replace(entered, moments=(*state.moments, moment))


def _rewound(state: State, event: ev.DrillRewound) -> State:
    before = put_back(replace(state, at_ms=event.at_ms), event.to, event.moment_ms)
    if before is None:
        raise HistoryError(f"The drill was put back to '{event.to}' at {event.moment_ms} ms: it never stood there.")
    return before


def _confirmed(state: State, event: ev.StepConfirmed) -> State:
    trail = state.trail if state.emergencies else (*state.trail, event.step)
    return replace(state, trail=trail, steps_confirmed=state.steps_confirmed + 1, pending=None)


def _repeat(state: State, event: ev.RepeatConfirmed) -> State:
    return replace(
        state, repeats=(*state.repeats, event.number), steps_confirmed=state.steps_confirmed + 1, pending=None
    )


def _back(state: State, event: ev.SteppedBack) -> State:
    return replace(state, step=event.to, step_since_ms=event.at_ms, repeats=(), trail=state.trail[:-1], pending=None)


def _asked(state: State, event: ev.ReadbackAsked) -> State:
    fields: dict[str, Any] = {name: getattr(event, name) for name in _PENDING_FIELDS}
    return replace(state, pending=Pending(asked_ms=event.at_ms, **fields))


def _dropped(state: State, _event: ev.ReadbackDropped) -> State:
    return replace(state, pending=None)


def _fact(state: State, event: ev.FactLearned) -> State:
    facts = tuple(pair for pair in state.facts if pair[0] != event.fact)
    times = tuple(pair for pair in state.fact_times_ms if pair[0] != event.fact)
    return replace(
        state, facts=(*facts, (event.fact, event.value)), fact_times_ms=(*times, (event.fact, event.at_ms))
    )


def _next_person(state: State, event: ev.NextPersonBegun) -> State:
    kept = set(event.kept)
    return replace(
        state,
        facts=tuple(pair for pair in state.facts if pair[0] in kept),
        fact_times_ms=tuple(pair for pair in state.fact_times_ms if pair[0] in kept),
        trail=(), levels=(), tapes=(), outside_m=(), entries=(), estimate=None,
    )  # fmt: skip


def _air(state: State, event: ev.AirRead) -> State:
    reading = Reading(event.gas, event.value, event.place, event.at_ms)
    return replace(state, readings=(*state.readings, reading), entries=(*state.entries, "air"), pending=None)


def _canister(state: State, event: ev.CanisterCounted) -> State:
    return replace(
        state, canisters_ms=(*state.canisters_ms, event.at_ms), entries=(*state.entries, "canister")
    )


def _level(state: State, event: ev.LevelCalled) -> State:
    return replace(
        state, levels=(*state.levels, Level(event.mark, event.at_ms)), entries=(*state.entries, "level")
    )


def _corner(state: State, event: ev.CornerTaped) -> State:
    before = () if event.opens or not state.tapes else state.tapes[-1].down_m
    kept = state.tapes if event.opens else state.tapes[:-1]
    tape = Tape(event.at_ms, (*before, (event.corner, event.down_m)))
    return replace(state, tapes=(*kept, tape), entries=(*state.entries, "corner"))


def _without_corner(tapes: tuple[Tape, ...]) -> tuple[Tape, ...]:
    left = tapes[-1].down_m[:-1]
    return (*tapes[:-1], replace(tapes[-1], down_m=left)) if left else tapes[:-1]


def _outside(state: State, event: ev.OutsideCalled) -> State:
    others = tuple(pair for pair in state.outside_m if pair[0] != event.panel)
    return replace(state, outside_m=tuple(sorted((*others, (event.panel, event.higher_m)))))


def _taken_back(state: State, event: ev.EntryTakenBack) -> State:
    if not state.entries or state.entries[-1] != event.entry:
        raise HistoryError(f"The last entry is not '{event.entry}': it cannot be taken back.")
    if event.entry in _ESTIMATED_FROM:
        state = replace(state, estimate=None)
    if event.entry == "corner":
        return replace(state, entries=state.entries[:-1], tapes=_without_corner(state.tapes))
    lists: dict[str, dict[str, Any]] = {
        "air": {"readings": state.readings[:-1]},
        "canister": {"canisters_ms": state.canisters_ms[:-1]},
        "level": {"levels": state.levels[:-1]},
    }
    if event.entry == RESCUER_OUT:
        return _in_again(state)
    return replace(state, entries=state.entries[:-1], **lists[event.entry])


def _in(state: State, event: ev.RescuerEntered) -> State:
    member = Rescuer(event.slot, event.at_ms, line=event.line, tenders=event.tenders)
    return replace(state, crew=(*state.crew, member))


def _lined(state: State, event: ev.LineRecorded) -> State:
    crew = tuple(
        replace(one, line=event.line, tenders=event.tenders) if one.inside and one.slot == event.slot else one
        for one in state.crew
    )
    return replace(state, crew=crew)


def _out(state: State, event: ev.RescuerLeft) -> State:
    crew = tuple(
        replace(member, left_ms=event.at_ms) if member.inside and member.slot == event.slot else member
        for member in state.crew
    )
    return replace(state, crew=crew, out_order=(*state.out_order, event.slot), entries=(*state.entries, RESCUER_OUT))


def _in_again(state: State) -> State:
    """The last one who was counted out is still inside."""
    slot = state.left_last
    member = next(one for one in reversed(state.crew) if one.slot == slot)
    crew = tuple(replace(one, left_ms=None) if one is member else one for one in state.crew)
    return replace(state, crew=crew, out_order=state.out_order[:-1], entries=state.entries[:-1])


def _without(state: State, timer: str, key: str) -> tuple[RunningTimer, ...]:
    return tuple(row for row in state.timers if (row.timer, row.key) != (timer, key))


def _timer_on(state: State, event: ev.TimerStarted) -> State:
    since_ms = event.at_ms if event.since_ms is None else event.since_ms
    started = RunningTimer(event.timer, event.key, since_ms, event.due_ms)
    return replace(state, timers=(*_without(state, event.timer, event.key), started))


def _timer_off(state: State, event: ev.TimerStopped) -> State:
    return replace(state, timers=_without(state, event.timer, event.key))


def _timer_out(state: State, event: ev.TimerExpired) -> State:
    timers = tuple(
        replace(row, due_ms=event.next_due_ms) if (row.timer, row.key) == (event.timer, event.key) else row
        for row in state.timers
    )
    return replace(state, timers=timers)


def _raised(state: State, event: ev.EmergencyRaised) -> State:
    emergency = OpenEmergency(event.kind, event.at_ms, event.from_step, state.repeats, event.by)
    return replace(state, emergencies=(*state.emergencies, emergency), pending=None)


def _ended(state: State, event: ev.EmergencyEnded) -> State:
    if not state.emergencies or state.emergencies[-1].kind != event.kind:
        raise HistoryError(f"The emergency '{event.kind}' ended but is not the one that is open.")
    return replace(state, emergencies=state.emergencies[:-1])


def _failed(state: State, event: ev.PartFailed) -> State:
    return replace(state, failed_parts=(*(part for part in state.failed_parts if part != event.part), event.part))


def _recovered(state: State, event: ev.PartRecovered) -> State:
    return replace(state, failed_parts=tuple(part for part in state.failed_parts if part != event.part))


def _station(state: State, event: ev.StationChanged) -> State:
    seen = StationSeen(event.station, event.role, event.link, event.at_ms, event.battery)
    return replace(state, stations=state.stations.with_link(seen))


def _headset(state: State, event: ev.HearingBegun | ev.RadioChecked) -> State:
    sound = event.sound if isinstance(event, ev.RadioChecked) else None
    others = [one for one in state.headsets if one.name != event.station]
    mine = Headset(event.station, event.role, event.at_ms, sound)
    return replace(state, headsets=tuple(sorted((*others, mine), key=lambda one: one.name)))


def _delivered(state: State, event: ev.DeliveryTaken | ev.DeliveryRefused) -> State:
    delivery = Delivery(event.session, event.seq, event.said_ms)
    return replace(state, stations=state.stations.with_delivery(event.station, delivery, event.heard))


def _led(state: State, event: ev.LeadTaken) -> State:
    return replace(state, stations=replace(state.stations, term=event.term, leader=event.leader))


def _said(state: State, event: ev.Said) -> State:
    said = dict(state.last_said)
    for side in ("inside", "outside"):
        if event.to in {side, "both"} and not event.station:
            said[side] = event.text
    told = SpokenEstimate(event.estimates, event.text, event.at_ms) if event.estimates else state.estimate
    return replace(state, last_said=tuple(sorted(said.items())), estimate=told)


def _resumed(state: State, event: ev.WorkResumed) -> State:
    return replace(state, held=False, holds_ms=(*state.holds_ms, (state.held_since_ms, event.at_ms)))


def _unchanged(state: State, _event: ev.Event) -> State:
    return state


_HANDLERS: Mapping[type, Callable[..., State]] = MappingProxyType({
    ev.IncidentOpened: _opened,
    ev.IncidentClosed: lambda state, _event: replace(state, closed=True, timers=()),
    ev.StepEntered: _entered,
    ev.StepConfirmed: _confirmed,
    ev.RepeatConfirmed: _repeat,
    ev.SteppedBack: _back,
    ev.AdvanceRefused: _unchanged,
    ev.ReadbackAsked: _asked,
    ev.ReadbackDropped: _dropped,
    ev.FactLearned: _fact,
    ev.NextPersonBegun: _next_person,
    ev.AirRead: _air,
    ev.AirLimitCrossed: _unchanged,
    ev.AirWentStale: _unchanged,
    ev.CanisterCounted: _canister,
    ev.LevelCalled: _level,
    ev.CornerTaped: _corner,
    ev.OutsideCalled: _outside,
    ev.EntryTakenBack: _taken_back,
    ev.PersonChecked: _unchanged,
    ev.RollCallAnswered: _unchanged,
    ev.RescuerEntered: _in,
    ev.LineRecorded: _lined,
    ev.RescuerLeft: _out,
    ev.TimerStarted: _timer_on,
    ev.TimerStopped: _timer_off,
    ev.TimerExpired: _timer_out,
    ev.WorkHeld: lambda state, event: replace(state, held=True, held_since_ms=event.at_ms, pending=None),
    ev.WorkResumed: _resumed,
    ev.EmergencyRaised: _raised,
    ev.EmergencyEnded: _ended,
    ev.PartFailed: _failed,
    ev.PartRecovered: _recovered,
    ev.StationChanged: _station,
    ev.DeliveryTaken: _delivered,
    ev.DeliveryRefused: _delivered,
    ev.LeadTaken: _led,
    ev.NoteTaken: _unchanged,
    ev.CommandRefused: _unchanged,
    ev.DrillBegun: _unchanged,
    ev.DrillEnded: _unchanged,
    ev.InjectGiven: _unchanged,
    ev.DrillPaused: lambda state, _event: replace(state, drill_paused=True),
    ev.DrillContinued: lambda state, _event: replace(state, drill_paused=False),
    ev.DrillRewound: _rewound,
    ev.TrainerNoted: _unchanged,
    ev.AudioKept: _unchanged,
    ev.HearingBegun: _headset,
    ev.RadioChecked: _headset,
    ev.Said: _said,
})
"""One small function per event; a test checks that none is missing."""
