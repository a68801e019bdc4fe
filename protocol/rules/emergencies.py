"""Emergencies: accepted in every step, spoken at once, taken back with one phrase."""

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import standing_bad
from protocol.errors import TableError
from protocol.procedure import BAD_AIR, Interruption
from protocol.rules.turn import Turn
from protocol.wording import reading_words


def raise_emergency(turn: Turn, command: cmd.RaiseEmergency) -> None:
    """Interrupt whatever is going on."""
    row = _row(turn, command.kind)
    if row is None:
        turn.emit(ev.CommandRefused(turn.at_ms, "RaiseEmergency", f"There is no emergency called {command.kind}."))
        return
    turn.say("both", ev.Urgency.ALARM, f"{row.first} If that was wrong, say, disregard emergency.", command.kind)
    interrupt(turn, command.kind, command.origin.station)


def interrupt(turn: Turn, kind: str, by: str) -> None:
    """Put the emergency's own steps before the current one; said again when it is already open."""
    row = _row(turn, kind)
    if row is None or kind in {open_one.kind for open_one in turn.state.emergencies}:
        return
    turn.stop_timer("readback")
    turn.emit(ev.EmergencyRaised(turn.at_ms, kind, by, turn.state.step))
    if row.evacuates:
        turn.emit(ev.FactLearned(turn.at_ms, "bin", "ordered_out"))
    turn.enter(row.to)


def withdraw(turn: Turn, _command: cmd.WithdrawEmergency) -> None:
    """The newest emergency was a mistake: back to the step that it interrupted."""
    if not turn.state.emergencies:
        turn.answer("No emergency is open.", "emergency")
        return
    bad = standing_bad(turn.state.readings)
    if bad is not None and turn.state.emergencies[-1].kind == BAD_AIR:
        reading = reading_words(bad.gas, format(bad.value, "f"), bad.place)
        turn.say("both", ev.Urgency.ALARM, f"The order stands: {reading}. Read it again, or say, correction.", BAD_AIR)
        return
    withdraw_kind(turn, turn.state.emergencies[-1].kind)


def withdraw_kind(turn: Turn, kind: str) -> None:
    """Take one kind of emergency back if it is the newest that is open."""
    if not turn.state.emergencies or turn.state.emergencies[-1].kind != kind:
        return
    newest = turn.state.emergencies[-1]
    row = _row(turn, kind)
    turn.emit(ev.EmergencyEnded(turn.at_ms, kind, withdrawn=True))
    if row and row.evacuates and turn.state.inside and not _anybody_left(turn, newest.raised_ms):
        turn.emit(ev.FactLearned(turn.at_ms, "bin", "unknown"))
    turn.answer(f"{row.title if row else kind}: withdrawn.", "emergency")
    turn.enter(newest.return_to, repeats=newest.repeats)


def _anybody_left(turn: Turn, since_ms: int) -> bool:
    return any(member.left_ms is not None and member.left_ms >= since_ms for member in turn.state.crew)


def _row(turn: Turn, kind: str) -> Interruption | None:
    try:
        return turn.scene.book.procedure.interruption(kind)
    except TableError:
        return None
