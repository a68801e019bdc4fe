"""What answers an inject: a word for a kind of event, and sometimes which one."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from protocol import events as ev
from protocol.errors import TableError

Test = Callable[[ev.Event, str], bool]

RESPONSES: Mapping[str, Test] = MappingProxyType({
    "step": lambda event, which: isinstance(event, ev.StepConfirmed | ev.RepeatConfirmed) and event.step == which,
    "emergency": lambda event, which: isinstance(event, ev.EmergencyRaised) and event.kind == which,
    "ended": lambda event, which: isinstance(event, ev.EmergencyEnded) and event.kind == which,
    "reading": lambda event, which: isinstance(event, ev.AirRead) and which in {"any", event.gas.value},
    "level": lambda event, which: isinstance(event, ev.LevelCalled) and event.mark == which,
    "canister": lambda event, which: isinstance(event, ev.CanisterCounted) and which in {"", str(event.total)},
    "corner": lambda event, _which: isinstance(event, ev.CornerTaped),
    "person": lambda event, _which: isinstance(event, ev.PersonChecked),
    "roll_call": lambda event, _which: isinstance(event, ev.RollCallAnswered),
    "hold": lambda event, _which: isinstance(event, ev.WorkHeld),
    "resume": lambda event, _which: isinstance(event, ev.WorkResumed),
    "rescuer_in": lambda event, which: isinstance(event, ev.RescuerEntered) and which in {"", str(event.slot)},
    "rescuer_out": lambda event, which: isinstance(event, ev.RescuerLeft) and which in {"", str(event.slot)},
    "answer": lambda event, which: (
        isinstance(event, ev.Said) and event.urgency is ev.Urgency.ANSWER and event.about == which
    ),
})
"""Each word that an inject may expect, with its test; after it may stand which one ("step harness")."""
NEEDS_WHICH = frozenset({"step", "emergency", "ended", "reading", "level", "answer"})


def answers(expected: str, event: ev.Event) -> bool:
    """Whether an event answers what was expected.

    Raises:
        TableError: if the word is unknown.
    """
    word, _space, which = expected.partition(" ")
    if word not in RESPONSES or (word in NEEDS_WHICH and not which):
        known = ", ".join(RESPONSES)
        raise TableError(f"'{expected}' is no answer that can be expected. Known: {known}; some name which one.")
    return RESPONSES[word](event, which)
