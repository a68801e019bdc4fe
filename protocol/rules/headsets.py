"""Headsets whose microphone is heard, and the radio check that rests on what was measured there."""

from protocol import commands as cmd
from protocol import events as ev
from protocol.headset import SPOKEN, Verdict, verdict_of
from protocol.rules.turn import Turn

ASK_FOR_CHECK = "Say, radio check. If nothing answers, use the board."
ABOUT = cmd.Query.RADIO_CHECK.value


def begin_hearing(turn: Turn, command: cmd.BeginHearing) -> None:
    """Note a headset that is heard for the first time and ask for its radio check, unless something worse is on."""
    origin, state = command.origin, turn.state
    if state.closed or state.headset(origin.station) is not None:
        return
    turn.emit(ev.HearingBegun(turn.at_ms, origin.station, origin.role.value))
    if not state.held and not state.emergencies:
        turn.say("both", ev.Urgency.PROMPT, ASK_FOR_CHECK, ABOUT, origin.station)


def check_radio(turn: Turn, command: cmd.Ask, station: str) -> None:
    """Answer a radio check by what was measured; without a measurement (typed, or an old record) as heard.

    Args:
        turn: of the question.
        command: the question.
        station: which alone is answered; empty: the side.
    """
    origin, verdict = command.origin, Verdict.GOOD
    if origin.sound is not None:
        verdict = verdict_of(origin.sound)
        turn.emit(ev.RadioChecked(turn.at_ms, origin.station, origin.role.value, origin.sound, verdict))
    turn.answer(SPOKEN[verdict], ABOUT, origin.role.value, station)
