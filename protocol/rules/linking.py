"""Stations that come and go, and another coordinator that takes the lead by order of the officer."""

from protocol import commands as cmd
from protocol import events as ev
from protocol.delivery import Link
from protocol.rules.turn import Turn

LOW_BATTERY = 15
"""Percent at which it is said aloud. House figure: common practice, no source."""


def report_station(turn: Turn, command: cmd.ReportStation) -> None:
    """Note a station's link and battery; a headset that is lost is an alarm, one that is back is said."""
    before = turn.state.stations.station(command.station)
    now = (command.role.value, command.link, command.battery)
    if before and (before.role, before.link, before.battery) == now:
        return
    turn.emit(ev.StationChanged(turn.at_ms, command.station, *now))
    if before is None or before.link is not command.link:
        _say_link(turn, command, joined=before is None)
    if _low(command.battery) and not _low(before.battery if before else None):
        turn.say("both", ev.Urgency.PROMPT, f"Headset {command.station}: battery low.", "station")


def take_lead(turn: Turn, command: cmd.TakeLead) -> None:
    """Raise the fencing number; only a person outside orders it, with a reason, and never back to an old number."""
    reason = command.reason.strip()
    if command.origin.role is cmd.Role.INSIDE or not reason:
        turn.emit(ev.CommandRefused(turn.at_ms, "TakeLead", "Taking the lead needs the officer outside and a reason."))
        return
    if command.term <= turn.state.stations.term:
        why = f"Fencing number {command.term} is not above {turn.state.stations.term}."
        turn.emit(ev.CommandRefused(turn.at_ms, "TakeLead", why))
        return
    turn.emit(ev.LeadTaken(turn.at_ms, command.term, command.leader, command.origin.station, reason))
    turn.say("both", ev.Urgency.ALARM, f"{command.leader.capitalize()} leads now, by order.", "lead")
    if turn.state.step and not turn.state.closed:
        turn.prompt(turn.scene.step)


def _say_link(turn: Turn, command: cmd.ReportStation, *, joined: bool) -> None:
    name = f"Headset {command.station}"
    if command.link is Link.LOST:
        text = f"{name} is lost. Use the radio, and watch that crew member."
        turn.say("both", ev.Urgency.ALARM, text, "station")
    elif command.link is Link.LEFT:
        turn.say("both", ev.Urgency.INFO, f"{name} has left.", "station")
    else:
        turn.say("both", ev.Urgency.INFO, f"{name} {'has joined' if joined else 'is back'}.", "station")


def _low(battery: int | None) -> bool:
    return battery is not None and battery <= LOW_BATTERY
