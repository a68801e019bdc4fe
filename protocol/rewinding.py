"""Putting a drill back: an earlier state, with every moment in it moved so that clocks and ages are as they were."""

from dataclasses import replace

from protocol.state import State


def put_back(state: State, to: str, moment_ms: int) -> State | None:
    """The state when `to` was entered at `moment_ms`, brought to the present; None if that moment is not kept.

    Args:
        state: the present.
        to: id of the step.
        moment_ms: when it was entered.
    """
    for index in range(len(state.moments) - 1, -1, -1):
        moment = state.moments[index]
        if (moment.step, moment.at_ms) == (to, moment_ms):
            later = moved(moment, state.at_ms - moment_ms)
            same = replace(later, last_said=state.last_said, stations=state.stations, headsets=state.headsets)
            return replace(same, moments=state.moments[: index + 1], drill_paused=False)
    return None


def moved(state: State, by_ms: int) -> State:
    """The same state `by_ms` later: readings as old, clocks as far from running out, people inside as long."""
    return replace(
        state,
        at_ms=state.at_ms + by_ms,
        step_since_ms=state.step_since_ms + by_ms,
        fact_times_ms=tuple((fact, at_ms + by_ms) for fact, at_ms in state.fact_times_ms),
        readings=tuple(replace(row, at_ms=row.at_ms + by_ms) for row in state.readings),
        levels=tuple(replace(row, at_ms=row.at_ms + by_ms) for row in state.levels),
        tapes=tuple(replace(row, at_ms=row.at_ms + by_ms) for row in state.tapes),
        canisters_ms=tuple(at_ms + by_ms for at_ms in state.canisters_ms),
        crew=tuple(
            replace(one, entered_ms=one.entered_ms + by_ms, left_ms=_later(one.left_ms, by_ms)) for one in state.crew
        ),
        timers=tuple(
            replace(row, started_ms=row.started_ms + by_ms, due_ms=_later(row.due_ms, by_ms)) for row in state.timers
        ),
        estimate=replace(state.estimate, at_ms=state.estimate.at_ms + by_ms) if state.estimate else None,
        holds_ms=tuple((start + by_ms, end + by_ms) for start, end in state.holds_ms),
        held_since_ms=state.held_since_ms + by_ms,
        emergencies=tuple(replace(row, raised_ms=row.raised_ms + by_ms) for row in state.emergencies),
        pending=None,
    )


def _later(at_ms: int | None, by_ms: int) -> int | None:
    return None if at_ms is None else at_ms + by_ms
