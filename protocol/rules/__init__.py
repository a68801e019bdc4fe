"""decide(book, state, command) -> events: every rule of the procedure, one small function per command."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from protocol import commands as cmd
from protocol.events import CommandRefused, Event
from protocol.rules import (
    advance,
    crew,
    delivering,
    drills,
    emergencies,
    headsets,
    linking,
    orders,
    passing_time,
    questions,
    readings,
    running,
    taping,
)
from protocol.rules.turn import Turn
from protocol.scene import Book
from protocol.state import DRILL, State

Rule = Callable[..., None]

RULES: Mapping[type, Rule] = MappingProxyType({
    cmd.OpenIncident: running.open_incident,
    cmd.Advance: advance.advance,
    cmd.Affirm: advance.affirm,
    cmd.Negate: advance.negate,
    cmd.Override: orders.override,
    cmd.EndWork: orders.end_work,
    cmd.StepBack: advance.step_back,
    cmd.ReportAir: readings.report_air,
    cmd.CountCanister: readings.count_canister,
    cmd.CallLevel: readings.call_level,
    cmd.TapeCorner: taping.tape_corner,
    cmd.CallOutside: taping.call_outside,
    cmd.Correct: readings.correct,
    cmd.CheckPerson: crew.check_person,
    cmd.AnswerRollCall: crew.answer_roll_call,
    cmd.MoveRescuer: crew.move_rescuer,
    cmd.RecordLine: crew.record_line,
    cmd.Hold: running.hold,
    cmd.Resume: running.resume,
    cmd.RaiseEmergency: emergencies.raise_emergency,
    cmd.WithdrawEmergency: emergencies.withdraw,
    cmd.Ask: questions.ask,
    cmd.ReportPart: running.report_part,
    cmd.ReportStation: linking.report_station,
    cmd.BeginHearing: headsets.begin_hearing,
    cmd.TakeLead: linking.take_lead,
    cmd.KeepAudio: running.keep_audio,
    cmd.Note: running.note,
    cmd.Tick: passing_time.tick,
    cmd.BeginDrill: drills.begin,
    cmd.EndDrill: drills.end,
    cmd.GiveInject: drills.give_inject,
    cmd.PauseDrill: drills.pause,
    cmd.RewindDrill: drills.rewind,
    cmd.TrainerNote: drills.note,
})
"""The rule for each command; a test checks that none is missing."""
DRILL_COMMANDS = (cmd.BeginDrill, cmd.EndDrill, cmd.GiveInject, cmd.PauseDrill, cmd.RewindDrill, cmd.TrainerNote)
"""Refused in anything but a drill, whoever asks."""
NOT_DRILL_COMMANDS = tuple(kind for kind in RULES if kind not in DRILL_COMMANDS)
TAKEN_WHEN_CLOSED = (
    cmd.Note, cmd.Ask, cmd.ReportPart, cmd.TrainerNote, cmd.ReportStation, cmd.BeginHearing, cmd.TakeLead,
)  # fmt: skip
TAKEN_IN_A_PAUSE = (
    cmd.RaiseEmergency, cmd.WithdrawEmergency, cmd.Ask, cmd.Note, cmd.ReportPart, cmd.ReportStation, cmd.BeginHearing,
    cmd.TakeLead,
)  # fmt: skip
"""Taken while a drill stands still: an emergency may be a real one."""


def decide(book: Book, state: State, command: cmd.Command) -> tuple[Event, ...]:
    """What happens when a command arrives.

    A command that cannot be taken is answered by an event that says why, never by an exception. A command that
    changes nothing and has nothing to say gives no events.

    Args:
        book: procedure and house rules.
        state: the incident so far.
        command: what is asked, with its time.
    """
    refusal = _refusal(state, command)
    turn = Turn(book, state, max(command.at_ms, state.at_ms))
    if command.origin.delivery is not None:
        if not delivering.receive(turn, command, refusal):
            return turn.events
    elif refusal:
        return (CommandRefused(turn.at_ms, type(command).__name__, refusal),)
    RULES[type(command)](turn, command)
    return turn.events


def _refusal(state: State, command: cmd.Command) -> str:
    if command.at_ms < state.at_ms:
        return f"It is dated {command.at_ms} ms, before the last event at {state.at_ms} ms."
    if isinstance(command, cmd.OpenIncident):
        return "The incident is already open." if state.opened else ""
    if isinstance(command, cmd.Tick):
        return ""
    reasons = (
        (not state.opened, (), "The incident has not been opened."),
        (state.closed, TAKEN_WHEN_CLOSED, "The incident is closed."),
        (state.drill_paused, (*DRILL_COMMANDS, *TAKEN_IN_A_PAUSE), "The drill is paused."),
        (state.kind != DRILL, NOT_DRILL_COMMANDS, "This is no drill."),
    )
    return next((reason for holds, taken, reason in reasons if holds and not isinstance(command, taken)), "")
