"""Opening the incident, holding work, parts of the program that fail, and notes."""

from protocol import commands as cmd
from protocol import events as ev
from protocol.rules.turn import Turn

AUDIO_KEPT = "What this headset hears is kept from now on."


def open_incident(turn: Turn, command: cmd.OpenIncident) -> None:
    """Start the clocks and the first step; the caution is the first thing said."""
    turn.emit(ev.IncidentOpened(turn.at_ms, command.kind, command.digest))
    procedure = turn.scene.book.procedure
    turn.say("both", ev.Urgency.INFO, procedure.heading.caution, "caution")
    turn.start_timer("elapsed")
    turn.start_timer("held_flag")
    turn.enter(procedure.steps[0].id)


def hold(turn: Turn, _command: cmd.Hold) -> None:
    """All work stands still; nothing advances."""
    if turn.state.held:
        turn.answer("All work is already held.", "hold")
        return
    turn.stop_timer("readback")
    turn.emit(ev.WorkHeld(turn.at_ms))
    turn.say("both", ev.Urgency.ALARM, "Hold all work. Stand still.", "hold")


def resume(turn: Turn, _command: cmd.Resume) -> None:
    """Work goes on at the same step."""
    if not turn.state.held:
        turn.answer("Work is not held.", "hold")
        return
    turn.emit(ev.WorkResumed(turn.at_ms))
    turn.start_timer("quiet")
    turn.answer("Work goes on.", "hold")
    turn.prompt(turn.scene.step)


def report_part(turn: Turn, command: cmd.ReportPart) -> None:
    """A part of the program failed or came back: said once each time, on whatever still works."""
    failed = command.part in turn.state.failed_parts
    if command.works == (not failed):
        return
    if command.works:
        turn.emit(ev.PartRecovered(turn.at_ms, command.part, command.detail))
        turn.say("both", ev.Urgency.INFO, f"{command.part.capitalize()} works again.", command.part)
        return
    turn.emit(ev.PartFailed(turn.at_ms, command.part, command.detail))
    turn.say("both", ev.Urgency.ALARM, f"{command.part.capitalize()} lost. {command.detail}", command.part)


def keep_audio(turn: Turn, command: cmd.KeepAudio) -> None:
    """Sound is kept: whoever wears that headset is told."""
    turn.emit(ev.AudioKept(turn.at_ms, command.station, command.file))
    turn.say("both", ev.Urgency.PROMPT, AUDIO_KEPT, "audio", command.station)


def note(turn: Turn, command: cmd.Note) -> None:
    """Words for the record."""
    turn.emit(ev.NoteTaken(turn.at_ms, command.origin.station, command.text))
    turn.answer("Noted.", "note", command.origin.role.value)
