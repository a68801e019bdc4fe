"""Who speaks, from where, and what may be asked."""

from dataclasses import dataclass
from enum import StrEnum

from protocol.delivery import Delivery
from protocol.headset import Sound


class Role(StrEnum):
    """Who is at a station; BOTH is one headset shared by a drill crew."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    BOTH = "both"

    def covers(self, who: str) -> bool:
        """Whether a person in this role may confirm for `who` (inside, outside or either)."""
        return self is Role.BOTH or who in {"either", self.value}


class Query(StrEnum):
    """Questions that have a spoken answer and change nothing."""

    SAY_AGAIN = "say_again"
    CAUTION = "caution"
    WHAT_NEXT = "what_next"
    CHOICES = "choices"
    TIME = "time"
    GRAIN = "grain"
    BALANCE = "balance"
    ESTIMATE = "estimate"
    AIR = "air"
    CREW = "crew"
    SPEAK = "speak"
    SPEAK_OTHER = "speak_other"
    HANDOVER = "handover"
    RADIO_CHECK = "radio_check"


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a command came from."""

    station: str = "program"
    role: Role = Role.BOTH
    how: str = "program"
    """voice, keyboard, board or program."""
    heard: str = ""
    """The words as heard or typed."""
    confidence: float | None = None
    delivery: Delivery | None = None
    """How it came, where several stations share an incident."""
    sound: Sound | None = None
    """What was measured while it was said; only of a radio check that was heard."""


PROGRAM = Origin()
