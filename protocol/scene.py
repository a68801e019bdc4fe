"""Everything a rule may look at: the procedure, the house rules, the state and the time of the command."""

from dataclasses import dataclass, replace

from protocol.house import House
from protocol.procedure import Procedure, Step
from protocol.state import State


@dataclass(frozen=True, slots=True)
class Book:
    """What does not change during an incident."""

    procedure: Procedure
    house: House
    digest: str
    """Digest of procedure and house rules as loaded."""


@dataclass(frozen=True, slots=True)
class Scene:
    """The state as a rule sees it at one moment."""

    book: Book
    state: State
    at_ms: int

    @property
    def house(self) -> House:
        """House rules."""
        return self.book.house

    @property
    def step(self) -> Step:
        """The current step's row."""
        return self.book.procedure.step(self.state.step)

    @property
    def in_emergency(self) -> bool:
        """Whether the current step answers an interruption."""
        return self.book.procedure.stage_of(self.step).emergency

    def with_state(self, state: State) -> "Scene":
        """The same moment with another state."""
        return replace(self, state=state)


def minutes_ms(minutes: float) -> int:
    """Minutes in whole milliseconds."""
    return round(minutes * 60_000)
