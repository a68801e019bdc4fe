"""Confirming steps: role, preconditions, read-back, acknowledgement, the next prompt; and going back."""

from protocol import commands as cmd
from protocol import events as ev
from protocol.guards import GUARDS, NOT_HELD, repeats_total
from protocol.machine import CONFIRM, REPEAT, Refused, answer_trigger, fire, rows_from
from protocol.procedure import Step
from protocol.rules import readings
from protocol.rules.turn import Turn
from protocol.state import Pending
from protocol.timers import running
from protocol.wording import acknowledgement, fill_number, next_repeat, unread_words

_FACT_TIMERS = {
    ("person_told", "yes"): (("start", "person_check"),),
    ("climbing", "yes"): (("start", "hanging"),),
    ("person", "free"): (("stop", "hanging"), ("stop", "held_flag")),
    ("handover", "given"): (("stop", "person_check"),),
}
"""Clocks that a fact starts or stops."""


def advance(turn: Turn, command: cmd.Advance) -> None:
    """Confirm the current step, or say why not."""
    step = turn.scene.step
    if command.step != step.id:
        _refuse(turn, command.step, "", f"the step now is {step.title}")
        return
    if not command.origin.role.covers(step.confirmed_by):
        _refuse(turn, step.id, "", f"{step.confirmed_by} confirms this")
        return
    wrong = _wrong_number(turn, step, command.number)
    if wrong:
        _refuse(turn, step.id, "", wrong)
        return
    moved = _lead(turn, step, command.answer)
    if isinstance(moved, Refused):
        _refuse(turn, step.id, moved.guard, moved.reason)
    elif step.critical:
        _read_back(turn, step, command)
    else:
        turn.drop_readback("overtaken")
        _confirm(turn, step, command.origin, command.answer, command.number)


def affirm(turn: Turn, command: cmd.Affirm) -> None:
    """Yes to what was read back."""
    pending = turn.state.pending
    if pending is None:
        turn.answer("Nothing was read back.", "readback")
        return
    timer = running(turn.state, "readback")
    if timer and timer.due_ms is not None and timer.due_ms <= turn.at_ms:
        turn.drop_readback("lapsed")
        turn.answer("Not affirmed in time. Say it again.", "readback")
    elif pending.what == "air":
        turn.stop_timer("readback")
        readings.record(turn, pending)
    else:
        _affirm_step(turn, pending, command.origin)


def negate(turn: Turn, _command: cmd.Negate) -> None:
    """No to what was read back: it is dropped, and the step stands."""
    if turn.state.pending is None:
        turn.answer("Nothing was read back.", "readback")
        return
    turn.drop_readback("negative")
    turn.answer("Disregarded. Say it again.", "readback")


def override(turn: Turn, command: cmd.Override) -> None:
    """The officer goes on without a precondition; the reason is on record."""
    step = turn.scene.step
    reason = command.reason.strip()
    if command.step != step.id or command.origin.role is cmd.Role.INSIDE or not reason:
        _refuse(turn, command.step, "", "an override needs the current step, the officer outside and a reason")
        return
    if step.final or (step.answers and command.answer not in {answer.value for answer in step.answers}):
        _refuse(turn, step.id, "", "an override of a question needs one of its answers")
        return
    if turn.state.held and not turn.scene.in_emergency:
        _refuse(turn, step.id, NOT_HELD, "all work is held. Say, resume all work")
        return
    turn.drop_readback("overtaken")
    turn.emit(ev.NoteTaken(turn.at_ms, command.origin.station, f"Override of {step.title}: {reason}"))
    dest = _dest_unguarded(turn, step, command.answer)
    _leave(turn, step, dest, command.origin, command.answer, lead=f"{step.title}: passed by override.", skipped=True)


def step_back(turn: Turn, _command: cmd.StepBack) -> None:
    """Make the step before the current one; what it had made known is forgotten."""
    state = turn.state
    if state.emergencies:
        turn.answer("In an emergency. Say, disregard emergency, to go back.", "back")
        return
    if not state.trail:
        turn.answer("This is the first step.", "back")
        return
    procedure = turn.scene.book.procedure
    before = procedure.step(state.trail[-1])
    if state.step not in {row.dest for row in rows_from(procedure, before)}:
        turn.answer("Work started anew here. There is no step to go back to.", "back")
        return
    turn.drop_readback("overtaken")
    turn.emit(ev.SteppedBack(turn.at_ms, state.step, before.id))
    for fact, value in before.sets:
        turn.emit(ev.FactLearned(turn.at_ms, fact, "unknown"))
        for what, timer in _FACT_TIMERS.get((fact, value), ()):
            if what == "start":
                turn.stop_timer(timer)
    if before.fact:
        turn.emit(ev.FactLearned(turn.at_ms, before.fact, "unknown"))
    turn.start_timer("quiet")
    turn.prompt(before, "Back one step.")


def _affirm_step(turn: Turn, pending: Pending, origin: cmd.Origin) -> None:
    step = turn.scene.step
    if not origin.role.covers(step.confirmed_by):
        turn.answer(f"{step.confirmed_by.capitalize()} affirms this.", "readback")
        return
    turn.stop_timer("readback")
    moved = _lead(turn, step, pending.answer)
    if step.id != pending.step or isinstance(moved, Refused):
        reason = moved.reason if isinstance(moved, Refused) else f"the step now is {step.title}"
        turn.drop_readback("overtaken")
        _refuse(turn, pending.step, "", reason)
        return
    said = cmd.Origin(origin.station, origin.role, origin.how, pending.heard, origin.confidence)
    _confirm(turn, step, said, pending.answer, None)


def _read_back(turn: Turn, step: Step, command: cmd.Advance) -> None:
    turn.drop_readback("overtaken")
    origin = command.origin
    turn.emit(ev.ReadbackAsked(turn.at_ms, "step", step.id, origin.station, origin.heard, command.answer))
    turn.start_timer("readback")
    words = next((answer.say[0] for answer in step.answers if answer.value == command.answer), None)
    turn.answer(f"I heard, {words or step.say[0]}. Say, affirmative, or, negative.", "readback")


def _confirm(turn: Turn, step: Step, origin: cmd.Origin, answer: str | None, number: int | None) -> None:
    if step.repeat and number is not None:
        total = repeats_total(turn.scene)
        turn.emit(ev.RepeatConfirmed(turn.at_ms, step.id, number, total, origin.station, origin.heard))
        turn.start_timer("quiet")
        if len(turn.state.repeats) < total:
            turn.prompt_repeat(step, acknowledgement(step, number))
            return
    moved = _lead(turn, step, answer)
    if isinstance(moved, Refused):
        _refuse(turn, step.id, moved.guard, moved.reason)
        return
    words = next((row.say[0] for row in step.answers if row.value == answer), None)
    lead = f"{words[:1].upper()}{words[1:]}." if words else acknowledgement(step, number)
    if step.place:
        lead = f"{lead} {unread_words(turn.scene, step.place)}".strip()
    _leave(turn, step, moved, origin, answer, lead)


def _leave(
    turn: Turn, step: Step, dest: str, origin: cmd.Origin, answer: str | None, lead: str, *, skipped: bool = False
) -> None:
    turn.emit(ev.StepConfirmed(turn.at_ms, step.id, origin.station, origin.heard, answer, skipped))
    if step.fact and answer:
        turn.emit(ev.FactLearned(turn.at_ms, step.fact, answer))
    for fact, value in step.sets:
        turn.emit(ev.FactLearned(turn.at_ms, fact, value))
        for what, timer in _FACT_TIMERS.get((fact, value), ()):
            (turn.start_timer if what == "start" else turn.stop_timer)(timer)
    dest = _homeward(turn, dest)
    kept = next((row.repeats for row in reversed(turn.state.emergencies) if row.return_to == dest), ())
    end_emergencies(turn, dest)
    turn.enter(dest, lead, origin.role, kept)


def _homeward(turn: Turn, dest: str) -> str:
    """Where leaving a step leads: an emergency never leads ahead of the procedure.

    Entry starts anew only when the entry gate was passed and the person is still held; otherwise the step that was
    interrupted comes again.
    """
    state, procedure = turn.state, turn.scene.book.procedure
    if not state.emergencies or procedure.stage_of(procedure.step(dest)).emergency:
        return dest
    starts_anew = dest in state.trail and state.fact("person") != "free"
    return dest if starts_anew else state.emergencies[0].return_to


def end_emergencies(turn: Turn, dest: str) -> None:
    """End the open emergencies that entering `dest` leaves behind: the newest, or all when `dest` answers none."""
    procedure = turn.scene.book.procedure
    outside_all = not procedure.stage_of(procedure.step(dest)).emergency
    while turn.state.emergencies:
        newest = turn.state.emergencies[-1]
        if not outside_all and newest.return_to != dest:
            return
        turn.emit(ev.EmergencyEnded(turn.at_ms, newest.kind, withdrawn=False))
        if not outside_all:
            return


def _lead(turn: Turn, step: Step, answer: str | None) -> str | Refused:
    scene = turn.scene
    trigger = answer_trigger(answer or "") if step.answers else CONFIRM
    if step.repeat and len(scene.state.repeats) < repeats_total(scene):
        trigger = REPEAT
    back = scene.state.emergencies[-1].return_to if scene.state.emergencies else step.id
    found = fire(scene.book.procedure, step, trigger, lambda name: GUARDS[name](scene), back)
    return found if isinstance(found, Refused) else found.dest


def _dest_unguarded(turn: Turn, step: Step, answer: str | None) -> str:
    back = turn.state.emergencies[-1].return_to if turn.state.emergencies else step.id
    trigger = answer_trigger(answer or "") if step.answers else CONFIRM
    found = fire(turn.scene.book.procedure, step, trigger, lambda _name: None, back)
    return step.id if isinstance(found, Refused) else found.dest


def _wrong_number(turn: Turn, step: Step, number: int | None) -> str:
    if not step.repeat:
        return ""
    total = repeats_total(turn.scene)
    if number is None or not 1 <= number <= total:
        return f"say which of the {total}"
    if number in turn.state.repeats:
        return f"{fill_number(step.say[0], number)} was already confirmed"
    expected = next_repeat(turn.scene)
    if step.ordered and number != expected:
        return f"{fill_number(step.say[0], expected)} comes first"
    return ""


def _refuse(turn: Turn, step: str, guard: str, reason: str) -> None:
    turn.emit(ev.AdvanceRefused(turn.at_ms, step, guard, reason))
    turn.answer(f"Not yet: {reason}.", "refused")
