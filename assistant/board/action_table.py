"""Every action by the name in its address, and the reading of a request body."""

from collections.abc import Mapping
from types import MappingProxyType

from pydantic import ValidationError

from assistant.board import entry_actions as entry
from assistant.board import step_actions as step
from assistant.board.action import Action

ACTIONS: Mapping[str, type[Action]] = MappingProxyType({
    "confirm": step.Confirm,
    "relay": step.Relay,
    "refuse": step.Refuse,
    "affirm": step.Affirm,
    "negate": step.Negate,
    "override": step.Override,
    "step_back": step.StepBack,
    "end_work": step.EndWork,
    "air": entry.Air,
    "canister": entry.Canister,
    "level": entry.Level,
    "corner": entry.Corner,
    "outside": entry.Outside,
    "move": entry.Move,
    "line": entry.Line,
    "roll_call": entry.RollCall,
    "person": entry.Person,
    "hold": entry.Hold,
    "resume": entry.Resume,
    "say_again": entry.SayAgain,
    "raise": entry.Raise,
    "withdraw": entry.Withdraw,
    "correct": entry.Correct,
    "note": entry.Note,
})
"""Address -> what its body must be."""


class BadActionError(ValueError):
    """A body that is not such an action; the message may be shown."""


def read_action(name: str, body: bytes) -> Action:
    """The action of a request.

    Raises:
        BadActionError: if the body is not that action.
    """
    try:
        return ACTIONS[name].model_validate_json(body)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        raise BadActionError(f"{place or 'body'}: {first['msg']}") from error
