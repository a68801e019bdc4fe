"""Confirming steps: role, preconditions, read-back, acknowledgement, the next prompt; and going back."""

from protocol import commands as cmd
from protocol import events as ev
from protocol.guards import GUARDS, NOBODY_INSIDE, repeats_total
from protocol.machine import CONFIRM, REPEAT, Refused, answer_trigger, fire, rows_from
from protocol.procedure import Step, by_way_of
from protocol.rules import readings, taping
from protocol.rules.turn import Turn
from protocol.state import Pending
from protocol.timers import running, timer_row
from protocol.wording import acknowledgement, fill_number, next_repeat, unread_words

FACT_TIMERS = {
    ("person_told", "yes"): (("start", "person_check"),),
    ("climbing", "yes"): (("start", "hanging"),),
    ("person", "free"): (("stop", "hanging"), ("stop", "held_flag")),
    ("handover", "given"): (("stop", "person_check"),),
}
"""Clocks that a fact starts or stops; going back over the step undoes it."""
BIN_FACTS = (
    "people", "more", "grain", "uphill", "fumigated", "fan", "cause", "flow", "locks", "lockout", "dust", "bin",
)  # fmt: skip
"""Known of the bin and of what moves grain: they stay true for the next person."""
_SINCE = {"hanging": "climbing"}
"""A stopped clock that runs again counts from this fact; the others from the first call or, if repeated, from now."""


WHY_ANEW = (
    "Everyone was out, so entry starts anew: read the air again before anyone goes in. "
    "Check each panel again: the grain may have moved."
)


def advance(turn: Turn, command: cmd.Advance) -> None:
    """Confirm the current step, or say why not."""
    step = turn.scene.step
    if command.step != step.id:
        refuse(turn, command.step, "", f"the step now is {step.title}")
        return
    if not command.origin.role.covers(step.confirmed_by):
        refuse(turn, step.id, "", f"{step.confirmed_by} confirms this")
        return
    wrong = _wrong_number(turn, step, command.number)
    if wrong:
        refuse(turn, step.id, "", wrong)
        return
    moved = _lead(turn, step, command.answer)
    if isinstance(moved, Refused):
        refuse(turn, step.id, moved.guard, moved.reason)
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
    ways = {row.dest for row in rows_from(procedure, before)} | {row.to for row in before.detours}
    if state.step not in ways:
        turn.answer("Work started anew here. There is no step to go back to.", "back")
        return
    turn.drop_readback("overtaken")
    turn.emit(ev.SteppedBack(turn.at_ms, state.step, before.id))
    for fact, value in before.sets:
        turn.emit(ev.FactLearned(turn.at_ms, fact, "unknown"))
        for what, timer in FACT_TIMERS.get((fact, value), ()):
            if what == "start":
                turn.stop_timer(timer)
            else:
                _run_again(turn, timer)
    if before.fact:
        turn.emit(ev.FactLearned(turn.at_ms, before.fact, "unknown"))
    turn.start_timer("quiet")
    turn.prompt(before, "Back one step.")


def _run_again(turn: Turn, timer: str) -> None:
    """Let a clock that a step had stopped run on as if it had never been stopped."""
    fact = _SINCE.get(timer)
    if fact and turn.state.fact(fact) == "unknown":
        return
    row = timer_row(timer)
    since_ms = turn.at_ms if row.repeats else 0
    if fact:
        since_ms = dict(turn.state.fact_times_ms)[fact]
    due_ms = since_ms + row.interval_ms(turn.scene.house)
    turn.emit(ev.TimerStarted(turn.at_ms, timer, "", max(due_ms, turn.at_ms), since_ms))


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
        refuse(turn, pending.step, "", reason)
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
            if not step.ordered:
                taping.after_panel(turn)
            return
    moved = _lead(turn, step, answer)
    if isinstance(moved, Refused):
        refuse(turn, step.id, moved.guard, moved.reason)
        return
    words = next((row.say[0] for row in step.answers if row.value == answer), None)
    lead = f"{words[:1].upper()}{words[1:]}." if words else acknowledgement(step, number)
    if step.place:
        lead = f"{lead} {unread_words(turn.scene, step.place)}".strip()
    leave(turn, step, moved, origin, answer, lead)


def leave(
    turn: Turn, step: Step, dest: str, origin: cmd.Origin, answer: str | None, lead: str, *, skipped: bool = False
) -> None:
    """Leave a step: confirmed, what it makes known and which clocks it moves, emergencies over, the next step."""
    turn.emit(ev.StepConfirmed(turn.at_ms, step.id, origin.station, origin.heard, answer, skipped))
    if step.fact and answer:
        turn.emit(ev.FactLearned(turn.at_ms, step.fact, answer))
        direction = next((row.direction for row in step.answers if row.value == answer), None)
        lead = f"{lead} {direction}" if direction else lead
    for fact, value in step.sets:
        turn.emit(ev.FactLearned(turn.at_ms, fact, value))
        for what, timer in FACT_TIMERS.get((fact, value), ()):
            (turn.start_timer if what == "start" else turn.stop_timer)(timer)
    if answer and answer == step.begins_again:
        turn.emit(ev.NextPersonBegun(turn.at_ms, BIN_FACTS))
        _run_again(turn, "held_flag")
    dest = _homeward(turn, by_way_of(step, dest, turn.state.fact))
    anew = _starts_anew(turn, dest)
    kept = next((row.repeats for row in reversed(turn.state.emergencies) if row.return_to == dest), ())
    end_emergencies(turn, dest)
    turn.enter(dest, lead, origin.role, kept)
    turn.say("both", ev.Urgency.INFO, WHY_ANEW if anew else "", "entry")


def _homeward(turn: Turn, dest: str) -> str:
    """Where leaving a step leads: an emergency never leads ahead of the procedure.

    Entry starts anew only when the entry gate was passed and the person is still held; otherwise the step that was
    interrupted comes again.
    """
    state, procedure = turn.state, turn.scene.book.procedure
    if not state.emergencies or procedure.stage_of(procedure.step(dest)).emergency:
        return dest
    return dest if _starts_anew(turn, dest) else state.emergencies[0].return_to


def _starts_anew(turn: Turn, dest: str) -> bool:
    """Whether an emergency leads back to the entry gate, which the crew had passed, with the person still held."""
    state = turn.state
    return bool(state.emergencies) and dest in state.trail and state.fact("person") != "free"


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


def closing_reason(turn: Turn, dest: str) -> str | None:
    """Why the incident may not close: it never does over somebody still inside, whatever the procedure says."""
    final = turn.scene.book.procedure.step(dest).final
    return GUARDS[NOBODY_INSIDE](turn.scene) if final else None


def _lead(turn: Turn, step: Step, answer: str | None) -> str | Refused:
    scene = turn.scene
    trigger = answer_trigger(answer or "") if step.answers else CONFIRM
    if step.repeat and len(scene.state.repeats) < repeats_total(scene):
        trigger = REPEAT
    back = scene.state.emergencies[-1].return_to if scene.state.emergencies else step.id
    found = fire(scene.book.procedure, step, trigger, lambda name: GUARDS[name](scene), back)
    if isinstance(found, Refused):
        return found
    inside = closing_reason(turn, found.dest)
    return Refused(NOBODY_INSIDE, inside) if inside else found.dest


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


def refuse(turn: Turn, step: str, guard: str, reason: str) -> None:
    """Say why not; the refusal is on record."""
    turn.emit(ev.AdvanceRefused(turn.at_ms, step, guard, reason))
    turn.answer(f"Not yet: {reason}.", "refused")
