"""Clocks as rows: what each is for, how long, whether it repeats, and where the interval comes from."""

from collections.abc import Callable
from dataclasses import dataclass

from protocol.errors import TableError
from protocol.events import Urgency
from protocol.house import House
from protocol.scene import minutes_ms
from protocol.state import RunningTimer, State


@dataclass(frozen=True, slots=True)
class TimerRow:
    """One kind of clock."""

    id: str
    title: str
    interval_ms: Callable[[House], int]
    repeats: bool
    to: str
    urgency: Urgency
    says: str
    """Spoken when it runs out; {key}, {minutes} are filled in. Empty: the rule speaks for itself."""
    source: str


TIMERS: tuple[TimerRow, ...] = (
    TimerRow("elapsed", "since the first call", lambda house: minutes_ms(house.elapsed_call_min), True,
             "outside", Urgency.INFO, "{minutes} since the first call.",
             "house rule; a local policy citing NJAC 5:75-2.10 calls every 15 min"),
    TimerRow("held_flag", "held so long that the medics must know", lambda house: minutes_ms(house.held_flag_min),
             False, "outside", Urgency.ALARM,
             "Held for {minutes}. Tell the medics before release: crush injury is possible.",
             "Joint Trauma System guideline: from as little as 1 h; no case series for grain"),
    TimerRow("person_check", "talk to the person", lambda house: minutes_ms(house.person_check_min), True,
             "inside", Urgency.PROMPT, "Talk to the person. Then say, person is answering.",
             "house rule; common practice, no source"),
    TimerRow("roll_call", "roll call", lambda house: minutes_ms(house.roll_call_min), True,
             "both", Urgency.PROMPT, "Roll call. {inside} inside. Answer, all accounted for.",
             "house rule; three local policies read 15, 30 and 30 min"),
    TimerRow("work_period", "work period", lambda house: minutes_ms(house.work_period_min), True,
             "both", Urgency.PROMPT, "Rescuer {key}: {minutes} inside. Relief is due.",
             "house rule after NFPA 1584 (2007 draft summary): rest after 20 min"),
    TimerRow("air_age", "age of an air reading", lambda house: minutes_ms(house.air_max_age_min), False,
             "both", Urgency.PROMPT, "", "house rule; OSHA 1910.146 names no interval"),
    TimerRow("quiet", "nothing happening", lambda house: minutes_ms(house.quiet_min), True,
             "both", Urgency.PROMPT, "", "house rule; common practice, no source"),
    TimerRow("hanging", "hanging on the line", lambda house: minutes_ms(house.hanging_min), True,
             "both", Urgency.ALARM, "{minutes} on the line. Do not leave the person hanging still.",
             "UK HSE harness suspension: a fifth faint within 10 min"),
    TimerRow("readback", "read-back", lambda house: round(house.readback_s * 1000), False,
             "both", Urgency.ANSWER, "", "house rule; common practice, no source"),
)  # fmt: skip
"""Every clock of an incident."""


def timer_row(timer: str) -> TimerRow:
    """The row of a timer.

    Raises:
        TableError: if there is none.
    """
    for row in TIMERS:
        if row.id == timer:
            return row
    raise TableError(f"There is no timer '{timer}'.")


def due(state: State, at_ms: int) -> tuple[RunningTimer, ...]:
    """Timers that have run out at `at_ms`, the longest overdue first."""
    late = [timer for timer in state.timers if timer.due_ms is not None and timer.due_ms <= at_ms]
    return tuple(sorted(late, key=lambda timer: (timer.due_ms or 0, timer.timer, timer.key)))


def next_deadline_ms(state: State) -> int | None:
    """When the next timer runs out, or None."""
    deadlines = [timer.due_ms for timer in state.timers if timer.due_ms is not None]
    return min(deadlines) if deadlines else None


def next_due_ms(row: TimerRow, house: House, timer: RunningTimer, at_ms: int) -> int | None:
    """When a timer that has run out is due again: the next whole interval after `at_ms`, or None."""
    if not row.repeats:
        return None
    interval = row.interval_ms(house)
    passed = (at_ms - timer.started_ms) // interval
    return timer.started_ms + (passed + 1) * interval


def running(state: State, timer: str, key: str = "") -> RunningTimer | None:
    """That clock, if it runs."""
    for row in state.timers:
        if row.timer == timer and row.key == key:
            return row
    return None
