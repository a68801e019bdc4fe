"""A sentence together with the estimates whose numbers are in it, so that each can be asked for afterwards."""

from dataclasses import dataclass

from protocol.errors import EstimateError

GRAIN = "grain"
TIME_LEFT = "time_left"
LEAK = "leak"
REFILL = "refill"
ORDER = "order"
KINDS = (GRAIN, TIME_LEFT, LEAK, REFILL, ORDER)
"""Every estimate that is spoken during an incident; a test checks that each is explained."""


@dataclass(frozen=True, slots=True)
class Told:
    """What is said, and which of `KINDS` its numbers come from."""

    text: str
    estimates: tuple[str, ...] = ()

    @classmethod
    def why_not(cls, error: EstimateError) -> "Told":
        """No number can be given: the reason instead."""
        return cls(str(error))

    def after(self, lead: str) -> "Told":
        """The same with words before it."""
        return Told(f"{lead} {self.text}".strip(), self.estimates)
