"""The score of a drill: facts counted from its record. Pure; no grade unless the department sets one."""

from collections.abc import Iterable

from protocol.commands import Command
from protocol.events import Event
from protocol.procedure import Procedure
from protocol.score.facts import (
    UNSURE_BELOW,
    AirAge,
    Call,
    EmergencyTime,
    InjectAnswer,
    Misheard,
    OrderFault,
    Passed,
    ReadBacks,
    RefusedAdvance,
    Score,
    StageTime,
    Unsure,
)
from protocol.score.tally import Tally
from protocol.targets import Grade, Targets

__all__ = [
    "UNSURE_BELOW", "AirAge", "Call", "EmergencyTime", "Grade", "InjectAnswer", "Misheard", "OrderFault", "Passed",
    "ReadBacks", "RefusedAdvance", "Score", "StageTime", "Tally", "Targets", "Unsure", "score",
]  # fmt: skip


def score(
    events: Iterable[Event], procedure: Procedure, targets: Targets | None = None, commands: Iterable[Command] = ()
) -> Score:
    """Count a record.

    Args:
        events: every event in order.
        procedure: what it ran on.
        targets: the department's times and grades; left out, those that the drill itself put on record.
        commands: every command in order, for phrases that were unsure or asked again; without them those are empty.
    """
    tally = Tally(procedure, targets)
    tally.take(events)
    for command in commands:
        tally.hear(command)
    return tally.score()
