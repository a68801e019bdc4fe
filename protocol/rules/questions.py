"""Spoken questions."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from protocol import commands as cmd
from protocol.balance import balance_answer
from protocol.explaining import estimate_answer
from protocol.handover import handover_words
from protocol.person_lines import other
from protocol.rules.headsets import check_radio
from protocol.rules.turn import Turn
from protocol.scene import Scene
from protocol.told import Told
from protocol.wording import (
    air_answer,
    caution_answer,
    choices_answer,
    crew_answer,
    grain_answer,
    next_answer,
    person_words,
    time_answer,
)

_ANSWERS: Mapping[cmd.Query, Callable[[Scene], str | Told]] = MappingProxyType({
    cmd.Query.CAUTION: caution_answer,
    cmd.Query.WHAT_NEXT: next_answer,
    cmd.Query.CHOICES: choices_answer,
    cmd.Query.TIME: time_answer,
    cmd.Query.GRAIN: grain_answer,
    cmd.Query.BALANCE: balance_answer,
    cmd.Query.AIR: air_answer,
    cmd.Query.CREW: crew_answer,
    cmd.Query.SPEAK: lambda scene: person_words(scene, scene.house.person_language),
    cmd.Query.SPEAK_OTHER: lambda scene: person_words(scene, other(scene.house.person_language)),
    cmd.Query.ESTIMATE: estimate_answer,
    cmd.Query.HANDOVER: handover_words,
})


def ask(turn: Turn, command: cmd.Ask) -> None:
    """Answer the station that asked."""
    if command.query is cmd.Query.SAY_AGAIN:
        _say_again(turn, command)
        return
    if command.query is cmd.Query.RADIO_CHECK:
        check_radio(turn, command, _alone(command.origin))
        return
    answer = _ANSWERS[command.query](turn.scene)
    told = answer if isinstance(answer, Told) else Told(answer)
    turn.tell(told, command.query.value, _side(command.origin.role), _alone(command.origin))


def _say_again(turn: Turn, command: cmd.Ask) -> None:
    if turn.state.closed:
        turn.answer("The incident is closed.", "say_again")
        return
    turn.prompt(turn.scene.step)
    if turn.scene.step.critical:
        turn.answer(turn.scene.step.caution or "", "caution", _side(command.origin.role))


def _alone(origin: cmd.Origin) -> str:
    """Where several stations share an incident, an answer is for the one that asked."""
    return origin.station if origin.delivery else ""


def _side(role: cmd.Role) -> str:
    return role.value
