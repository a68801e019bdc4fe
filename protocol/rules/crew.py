"""Who is inside, roll call, and talking to the person."""

from protocol import commands as cmd
from protocol import events as ev
from protocol.guards import GUARDS
from protocol.lines import fault, line_words, on_line, spoken, tidy_line, tidy_tenders
from protocol.numbers import count_words
from protocol.rules.turn import Turn
from protocol.state import Rescuer
from protocol.timers import running, timer_row

ENTRY_GUARDS = ("not_held", "entry_is_approved", "air_current")
MAX_SLOTS = 9


def check_person(turn: Turn, _command: cmd.CheckPerson) -> None:
    """The person answered: the clock starts again."""
    turn.emit(ev.PersonChecked(turn.at_ms))
    if running(turn.state, "person_check"):
        turn.start_timer("person_check")
    turn.answer("Person answering.", "person_check")


def answer_roll_call(turn: Turn, _command: cmd.AnswerRollCall) -> None:
    """Everyone inside is accounted for."""
    inside = len(turn.state.inside)
    turn.emit(ev.RollCallAnswered(turn.at_ms, inside))
    if inside:
        turn.start_timer("roll_call")
    turn.answer(f"Roll call complete. {count_words(inside).capitalize()} inside.", "roll_call")


def move_rescuer(turn: Turn, command: cmd.MoveRescuer) -> None:
    """A rescuer goes in or comes out."""
    if command.inside:
        _enter(turn, command.slot, tidy_line(command.line), tidy_tenders(command.tenders))
    else:
        _leave(turn, command.slot)


def record_line(turn: Turn, command: cmd.RecordLine) -> None:
    """On which line a rescuer inside is and who holds it, told after going in or changed."""
    slot, line, tenders = command.slot, tidy_line(command.line), tidy_tenders(command.tenders)
    reason = _line_reason(turn, slot, line, tenders)
    if slot not in {one.slot for one in turn.state.inside}:
        reason = f"rescuer {count_words(slot)} is not inside"
    if reason:
        turn.emit(ev.CommandRefused(turn.at_ms, "RecordLine", f"{reason[:1].upper()}{reason[1:]}."))
        turn.answer(f"Not written down: {reason}.", "crew", "outside")
        return
    turn.emit(ev.LineRecorded(turn.at_ms, slot, line, tenders))
    what = spoken(line, tenders) or "no line recorded"
    turn.answer(f"Rescuer {count_words(slot)}: {what}.", "crew", "outside")


def _enter(turn: Turn, slot: int, line: str, tenders: tuple[str, ...]) -> None:
    reason = _entry_reason(turn, slot)
    if reason:
        turn.emit(ev.AdvanceRefused(turn.at_ms, turn.state.step, "entry", reason))
        turn.say("both", ev.Urgency.ALARM, f"Rescuer {count_words(slot)}, do not enter: {reason}.", "entry")
        return
    first = not turn.state.inside
    wrong = _line_reason(turn, slot, line, tenders)
    if wrong:
        line, tenders = "", ()
    turn.emit(ev.RescuerEntered(turn.at_ms, slot, line, tenders))
    turn.start_timer("work_period", str(slot))
    if first:
        turn.start_timer("roll_call")
    on = f", {spoken(line, tenders)}" if line or tenders else ""
    turn.answer(f"Rescuer {count_words(slot)} is in{on}. {_inside(turn)}", "crew")
    if wrong:
        turn.answer(f"The line was not written down: {wrong}. {_which_line(slot)}", "crew", "outside")
    elif not line and any(one.line for one in turn.state.crew):
        turn.answer(_which_line(slot), "crew", "outside")


def _line_reason(turn: Turn, slot: int, line: str, tenders: tuple[str, ...]) -> str:
    """Why line and tenders cannot be written down: what one line holds must never look like two."""
    other = on_line(turn.state.inside, line, slot)
    if other:
        return f"{line_words(other.line)} is rescuer {count_words(other.slot)}'s"
    return fault(line, tenders)


def _which_line(slot: int) -> str:
    return f"Which line is rescuer {count_words(slot)} on?"


def _leave(turn: Turn, slot: int) -> None:
    if slot not in {one.slot for one in turn.state.inside}:
        turn.answer(f"Rescuer {count_words(slot)} was not inside.", "crew")
        return
    turn.emit(ev.RescuerLeft(turn.at_ms, slot))
    turn.stop_timer("work_period", str(slot))
    if not turn.state.inside:
        turn.stop_timer("roll_call")
    turn.answer(f"Rescuer {count_words(slot)} is out. {_inside(turn)}", "crew")


def still_inside(turn: Turn, slot: int) -> None:
    """A rescuer who was counted out by mistake is inside again, with the clock as if it had run on."""
    mine = next(one for one in turn.state.inside if one.slot == slot)
    entered_ms = mine.entered_ms
    interval_ms = timer_row("work_period").interval_ms(turn.scene.house)
    passed = (turn.at_ms - entered_ms) // interval_ms
    due_ms = entered_ms + (passed + 1) * interval_ms
    turn.emit(ev.TimerStarted(turn.at_ms, "work_period", str(slot), due_ms, entered_ms))
    if not running(turn.state, "roll_call"):
        turn.start_timer("roll_call")
    turn.say("both", ev.Urgency.ALARM, f"Rescuer {count_words(slot)} is still inside. {_inside(turn)}", "crew")
    other = on_line(turn.state.inside, mine.line, slot)
    if other:
        turn.emit(ev.LineRecorded(turn.at_ms, slot, "", ()))
        given = f"{line_words(other.line)} was given to rescuer {count_words(other.slot)} meanwhile"
        turn.answer(f"{given[:1].upper()}{given[1:]}. {_which_line(slot)}", "crew", "outside")


def _entry_reason(turn: Turn, slot: int) -> str | None:
    if not 1 <= slot <= MAX_SLOTS:
        return "that rescuer has no number"
    if slot in {one.slot for one in turn.state.inside}:
        return "already counted inside"
    if turn.state.emergencies:
        return "there is an emergency"
    for name in ENTRY_GUARDS:
        reason = GUARDS[name](turn.scene)
        if reason:
            return reason
    return None


def _inside(turn: Turn) -> str:
    inside = turn.state.inside
    if not inside:
        return "Nobody inside."
    names = " and ".join(f"rescuer {count_words(one.slot)}" for one in sorted(inside, key=_slot))
    return f"{count_words(len(inside)).capitalize()} inside: {names}."


def _slot(rescuer: Rescuer) -> int:
    return rescuer.slot
