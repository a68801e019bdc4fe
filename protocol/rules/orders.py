"""What the officer outside may order: to go on without a precondition, and to end the work. Both with a reason."""

from protocol import commands as cmd
from protocol import events as ev
from protocol.guards import GUARDS, NOBODY_INSIDE, NOT_HELD, never_passed
from protocol.machine import CONFIRM, Refused, answer_trigger, fire, guards_of
from protocol.procedure import Step
from protocol.rules.advance import closing_reason, end_emergencies, leave, refuse
from protocol.rules.turn import Turn


def override(turn: Turn, command: cmd.Override) -> None:
    """The officer goes on without a precondition; the reason is on record.

    Nothing goes past hold, past bad or stale air, or past people still inside where the bin has to be empty.
    """
    step = turn.scene.step
    reason = command.reason.strip()
    if command.step != step.id or command.origin.role is cmd.Role.INSIDE or not reason:
        refuse(turn, command.step, "", "an override needs the current step, the officer outside and a reason")
        return
    if step.final or (step.answers and command.answer not in {answer.value for answer in step.answers}):
        refuse(turn, step.id, "", "an override of a question needs one of its answers")
        return
    if turn.state.held and not turn.scene.in_emergency:
        refuse(turn, step.id, NOT_HELD, "all work is held. Say, resume all work")
        return
    dest = _dest_unguarded(turn, step, command.answer)
    guard, why = _forbidden(turn, step, dest)
    if why:
        refuse(turn, step.id, guard, f"no override passes this, {why}")
        return
    turn.drop_readback("overtaken")
    turn.emit(ev.NoteTaken(turn.at_ms, command.origin.station, f"Override of {step.title}: {reason}"))
    leave(turn, step, dest, command.origin, command.answer, lead=f"{step.title}: passed by override.", skipped=True)


def end_work(turn: Turn, command: cmd.EndWork) -> None:
    """The officer ends the work from any step: on to stand-down, but only with the bin empty."""
    reason = command.reason.strip()
    if command.origin.role is cmd.Role.INSIDE or not reason:
        refuse(turn, turn.state.step, "", "ending the work needs the officer outside and a reason")
        return
    inside = GUARDS[NOBODY_INSIDE](turn.scene)
    if inside:
        refuse(turn, turn.state.step, NOBODY_INSIDE, inside)
        return
    turn.drop_readback("overtaken")
    turn.emit(ev.NoteTaken(turn.at_ms, command.origin.station, f"Work ended: {reason}"))
    procedure = turn.scene.book.procedure
    last = next(step for step in procedure.steps if step.final)
    dest = next(step.id for step in procedure.steps if step.stage == last.stage and not step.final)
    end_emergencies(turn, dest)
    turn.enter(dest, "Command ends the work.", command.origin.role)


def _forbidden(turn: Turn, step: Step, dest: str) -> tuple[str, str]:
    """The first guard that not even an override passes, and why; empty when there is none."""
    for name in guards_of(turn.scene.book.procedure, step):
        reason = never_passed(turn.scene, name)
        if reason:
            return name, reason
    return NOBODY_INSIDE, closing_reason(turn, dest) or ""


def _dest_unguarded(turn: Turn, step: Step, answer: str | None) -> str:
    back = turn.state.emergencies[-1].return_to if turn.state.emergencies else step.id
    trigger = answer_trigger(answer or "") if step.answers else CONFIRM
    found = fire(turn.scene.book.procedure, step, trigger, lambda _name: None, back)
    return step.id if isinstance(found, Refused) else found.dest
