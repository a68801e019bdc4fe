"""What only a drill has: its beginning, injects, pause, rewind and the trainer's notes."""

from protocol import commands as cmd
from protocol import events as ev
from protocol.rules.turn import Turn
from protocol.state import State
from protocol.wording import fill

THIS_IS_A_DRILL = "This is a drill."


def begin(turn: Turn, command: cmd.BeginDrill) -> None:
    """Tell the crew that this is a drill, what they find, the caution, and the step they stand at."""
    turn.emit(
        ev.DrillBegun(turn.at_ms, command.scenario, command.title, command.targets_ms, command.grades)
    )
    title = f"{THIS_IS_A_DRILL} {command.title}." if command.title else THIS_IS_A_DRILL
    turn.say("both", ev.Urgency.PROMPT, title, "drill")
    turn.say("both", ev.Urgency.PROMPT, command.briefing, "drill")
    turn.prompt(turn.scene.step)
    turn.say("both", ev.Urgency.INFO, turn.scene.book.procedure.heading.caution, "caution")


def end(turn: Turn, command: cmd.EndDrill) -> None:
    """The drill is over; the record is closed."""
    turn.emit(ev.DrillEnded(turn.at_ms, command.why))
    turn.say("both", ev.Urgency.PROMPT, "The drill is over. Everyone stop and come out.", "drill")
    turn.emit(ev.IncidentClosed(turn.at_ms))


def give_inject(turn: Turn, command: cmd.GiveInject) -> None:
    """Let something happen, and tell the crew."""
    turn.emit(
        ev.InjectGiven(turn.at_ms, command.inject, command.to, command.text, command.expects, command.within_s)
    )
    urgency = ev.Urgency.ALARM if command.urgent else ev.Urgency.PROMPT
    turn.say(command.to, urgency, command.text, f"inject.{command.inject}")


def pause(turn: Turn, command: cmd.PauseDrill) -> None:
    """The drill stands still or goes on; the clock that the commands carry stands still with it."""
    if command.paused == turn.state.drill_paused:
        return
    if command.paused:
        turn.emit(ev.DrillPaused(turn.at_ms))
        turn.say("both", ev.Urgency.ALARM, "The drill is paused. Stand still.", "drill")
        return
    turn.emit(ev.DrillContinued(turn.at_ms))
    turn.say("both", ev.Urgency.PROMPT, "The drill goes on.", "drill")
    turn.prompt(turn.scene.step)


def rewind(turn: Turn, command: cmd.RewindDrill) -> None:
    """Put the drill back to when a step was last entered, with clocks and ages as they were then."""
    found = moment_of(turn.state, command.step)
    if found is None:
        reason = f"The drill has not been at a step '{command.step}'."
        turn.emit(ev.CommandRefused(turn.at_ms, "RewindDrill", reason))
        return
    turn.emit(ev.DrillRewound(turn.at_ms, turn.state.step, found.step, found.at_ms))
    turn.say("both", ev.Urgency.ALARM, f"The drill is put back to: {fill(turn.scene, turn.scene.step.title)}.", "drill")
    turn.prompt(turn.scene.step)


def note(turn: Turn, command: cmd.TrainerNote) -> None:
    """The trainer's words, for the debrief only."""
    turn.emit(ev.TrainerNoted(turn.at_ms, command.text))


def moment_of(state: State, step: str) -> State | None:
    """The state when a step was last entered, or None."""
    return next((moment for moment in reversed(state.moments) if moment.step == step), None)
