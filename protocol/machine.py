"""The state machine: transition rows made from a procedure, and the only use of `transitions`.

Nothing happens inside the machine: it says where a trigger leads, or which guard refuses. The machine is built
afresh for each decision, from the rows of the current step that the trigger may take.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from transitions import Machine

from protocol.guards import AIR_CURRENT, NOT_HELD, REPEATS_DONE
from protocol.procedure import RETURN, Procedure, Step

CONFIRM = "confirm"
REPEAT = "repeat"


def answer_trigger(value: str) -> str:
    """The trigger of one answer."""
    return f"answer_{value}"


def raise_trigger(kind: str) -> str:
    """The trigger of one emergency."""
    return f"raise_{kind}"


@dataclass(frozen=True, slots=True)
class Row:
    """One transition: in `source`, `trigger` leads to `dest` if every guard holds."""

    trigger: str
    source: str
    dest: str
    guards: tuple[str, ...] = ()


def is_raise(row: Row) -> bool:
    """Whether an emergency, not the step's own words, takes this row."""
    return row.trigger.startswith(raise_trigger(""))


@dataclass(frozen=True, slots=True)
class Moved:
    """The trigger is allowed and leads there."""

    dest: str


@dataclass(frozen=True, slots=True)
class Refused:
    """The trigger is refused; `guard` is empty when it has no meaning in this step."""

    guard: str
    reason: str


def rows_from(procedure: Procedure, step: Step) -> tuple[Row, ...]:
    """The transition rows that leave one step."""
    rows: list[Row] = []
    guards = guards_of(procedure, step)
    if step.answers:
        rows.extend(
            Row(answer_trigger(answer.value), step.id, answer.to or step.next or step.id, guards)
            for answer in step.answers
        )
    elif not step.final and step.next:
        done = (*guards, REPEATS_DONE) if step.repeat else guards
        rows.append(Row(CONFIRM, step.id, step.next, done))
        if step.repeat:
            rows.append(Row(REPEAT, step.id, step.id, guards))
    if not step.final:
        rows.extend(Row(raise_trigger(row.id), step.id, row.to) for row in procedure.interruptions)
    return tuple(rows)


def all_rows(procedure: Procedure) -> tuple[Row, ...]:
    """Every transition of the procedure."""
    return tuple(row for step in procedure.steps for row in rows_from(procedure, step))


def fire(
    procedure: Procedure, step: Step, trigger: str, check: Callable[[str], str | None], return_to: str
) -> Moved | Refused:
    """Where a trigger leads from a step.

    Args:
        procedure: the rows.
        step: the current step.
        trigger: what is asked.
        check: gives the reason why a named guard refuses, or None.
        return_to: the step that "@return" stands for.
    """
    rows = [row for row in rows_from(procedure, step) if row.trigger == trigger]
    if not rows:
        return Refused("", "that does not belong to this step")
    probe = _Probe()
    machine = Machine(
        model=probe,
        states=sorted({step.id, return_to, *(row.dest for row in rows if row.dest != RETURN)}),
        initial=step.id,
        auto_transitions=False,
        send_event=False,
        queued=False,
    )
    for row in rows:
        machine.add_transition(
            row.trigger,
            row.source,
            return_to if row.dest == RETURN else row.dest,
            conditions=[partial(probe.holds, guard, check) for guard in row.guards],
        )
    moved = probe.trigger(trigger)
    return Moved(probe.state) if moved else Refused(probe.guard, probe.reason)


class _Probe:
    """The model that the machine moves; it remembers which guard refused."""

    state: str
    trigger: Callable[[str], bool]

    def __init__(self) -> None:
        self.guard = ""
        self.reason = ""

    def holds(self, guard: str, check: Callable[[str], str | None]) -> bool:
        reason = check(guard)
        if reason is not None:
            self.guard, self.reason = guard, reason
        return reason is None


def guards_of(procedure: Procedure, step: Step) -> tuple[str, ...]:
    """Every precondition of a step: its own, and those of its stage."""
    stage = procedure.stage_of(step)
    always: tuple[str, ...] = () if stage.emergency else (NOT_HELD,)
    if stage.inside_bin and not step.leaving:
        always = (*always, AIR_CURRENT)
    return (*always, *step.needs)
