"""Commands that come from a station over a network: each counts once, in order, and a late one only where it may.

What happened stays true however late it is told: a step confirmed, a canister out, somebody in or out, an emergency.
What was measured, asked or ordered "now" does not: air, levels, a read-back, a roll call, an override. It is refused
with the reason, and said again by whoever still means it.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Verdict, judge
from protocol.delivery import Delivery
from protocol.numbers import count_words
from protocol.rules.turn import Turn
from protocol.scene import Scene

LATE_MS = 10_000
"""Older than this, a command is judged as late. House figure: as long as an unanswered message is remembered."""
ECHO_MS = 1_500
"""The same phrase from two microphones within this time was said once. House figure: a phrase is about so long."""
FROM_STATIONS = (
    cmd.Advance, cmd.Affirm, cmd.Negate, cmd.ReportAir, cmd.CountCanister, cmd.CallLevel, cmd.TapeCorner,
    cmd.CallOutside, cmd.CheckPerson, cmd.AnswerRollCall, cmd.MoveRescuer, cmd.StepBack, cmd.Correct, cmd.Hold,
    cmd.Resume, cmd.RaiseEmergency, cmd.WithdrawEmergency, cmd.Ask, cmd.Override, cmd.EndWork, cmd.ReportPart,
    cmd.BeginHearing, cmd.Note,
)  # fmt: skip
"""What a station may send; everything else is the coordinator's own."""


def receive(turn: Turn, command: cmd.Command, refusal: str) -> bool:
    """Note that a command came, and whether it goes on to its rule.

    One that was decided before, or that comes before the one it follows, leaves no trace: the station sends it again
    in order. So does one from a station that knows of a newer coordinator.

    Args:
        turn: the turn of this command.
        command: it carries a delivery.
        refusal: why no command of this kind is taken now; empty when it is.
    """
    origin, delivery = command.origin, command.origin.delivery
    stations = turn.state.stations
    if delivery is None or not turn.state.opened or stations.station(origin.station) is None:
        return False
    if delivery.term > stations.term or delivery.seq != stations.seq(origin.station, delivery.session) + 1:
        return False
    if _echo(turn, command, delivery):
        _refuse(turn, command, delivery, "another microphone heard it too", spoken=False)
        return False
    reason = refusal.rstrip(".") or _reason(turn.scene, command, delivery)
    if reason:
        _refuse(turn, command, delivery, reason, spoken=not isinstance(command, cmd.Ask))
        return False
    turn.emit(
        ev.DeliveryTaken(turn.at_ms, origin.station, delivery.session, delivery.seq, delivery.said_ms, origin.heard)
    )
    if _is_late(turn.at_ms, delivery) and origin.heard:
        text = f"From {origin.station}, said {_ago(turn.at_ms, delivery)} ago: {origin.heard}."
        turn.say("both", ev.Urgency.INFO, text, "late")
    return True


def _refuse(turn: Turn, command: cmd.Command, delivery: Delivery, reason: str, *, spoken: bool) -> None:
    origin = command.origin
    turn.emit(
        ev.DeliveryRefused(
            turn.at_ms, origin.station, delivery.session, delivery.seq, delivery.said_ms, origin.heard, reason
        )
    )
    if spoken:
        what = f"Not taken, {origin.heard}: {reason}." if origin.heard else f"Not taken: {reason}."
        turn.answer(what, "refused", origin.role.value, origin.station)


def _echo(turn: Turn, command: cmd.Command, delivery: Delivery) -> bool:
    origin = command.origin
    return origin.how == "voice" and any(
        one.station != origin.station and one.heard == origin.heard and abs(one.said_ms - delivery.said_ms) <= ECHO_MS
        for one in turn.state.stations.uttered
    )


def _reason(scene: Scene, command: cmd.Command, delivery: Delivery) -> str:
    """Why it is not taken; empty when it is."""
    if not isinstance(command, FROM_STATIONS):
        return "a station does not order this"
    pending = scene.state.pending
    if isinstance(command, cmd.Affirm | cmd.Negate) and pending and pending.asked_ms > delivery.said_ms:
        return "something else was read back since"
    if isinstance(command, cmd.Advance):
        return _step_reason(scene, command, delivery)
    if not _is_late(scene.at_ms, delivery):
        return ""
    rule = _LATE.get(type(command))
    return rule(scene, command, delivery) if rule else f"that was {_ago(scene.at_ms, delivery)} ago. Say it again"


def _step_reason(scene: Scene, command: cmd.Advance, delivery: Delivery) -> str:
    if command.step != scene.state.step:
        return f"the step now is {scene.step.title}"
    return "the step was begun anew since" if scene.state.step_since_ms > delivery.said_ms else ""


def _true_for_good(_scene: Scene, _command: Any, _delivery: Delivery) -> str:
    return ""


def _moved(scene: Scene, command: cmd.MoveRescuer, delivery: Delivery) -> str:
    mine = [one for one in scene.state.crew if one.slot == command.slot]
    last_ms = max((one.entered_ms if one.left_ms is None else one.left_ms for one in mine), default=0)
    return f"rescuer {count_words(command.slot)} was counted since" if last_ms > delivery.said_ms else ""


def _bad_air(scene: Scene, command: cmd.ReportAir, delivery: Delivery) -> str:
    if judge(command.gas, command.value) is not Verdict.BAD:
        return f"that was {_ago(scene.at_ms, delivery)} ago. Read the air again"
    newer = [row for row in scene.state.readings if row.gas is command.gas and row.at_ms > delivery.said_ms]
    return "it was read again since" if any(row.place == command.place for row in newer) else ""


def _own_emergency(scene: Scene, command: cmd.WithdrawEmergency, delivery: Delivery) -> str:
    newest = scene.state.emergencies[-1] if scene.state.emergencies else None
    if newest is not None and newest.by == command.origin.station:
        return ""
    return f"that was {_ago(scene.at_ms, delivery)} ago. Say it again"


_LATE: Mapping[type, Callable[[Scene, Any, Delivery], str]] = MappingProxyType({
    cmd.CountCanister: _true_for_good,
    cmd.RaiseEmergency: _true_for_good,
    cmd.Hold: _true_for_good,
    cmd.Note: _true_for_good,
    cmd.ReportPart: _true_for_good,
    cmd.BeginHearing: _true_for_good,
    cmd.MoveRescuer: _moved,
    cmd.ReportAir: _bad_air,
    cmd.WithdrawEmergency: _own_emergency,
})
"""What a late command is still taken for; a kind that is not here has to be said again."""


def _is_late(at_ms: int, delivery: Delivery) -> bool:
    return at_ms - delivery.said_ms > LATE_MS


def _ago(at_ms: int, delivery: Delivery) -> str:
    seconds = (at_ms - delivery.said_ms) // 1000
    if seconds < 60:
        return f"{count_words(seconds)} seconds" if seconds > 1 else "a second"
    minutes = round(seconds / 60)
    return "one minute" if minutes == 1 else f"{count_words(minutes)} minutes"
