"""What is ordered only in a drill."""

from dataclasses import dataclass

from protocol.commands.origin import Origin
from protocol.targets import Grade


@dataclass(frozen=True, slots=True)
class BeginDrill:
    """From here the crew is in the drill; what was recorded before was prepared by the scenario, not done by them."""

    at_ms: int
    origin: Origin
    scenario: str
    """Name of the scenario; empty for a drill without one."""
    title: str
    briefing: str = ""
    """Told to the crew at the start."""
    targets_ms: tuple[tuple[str, int], ...] = ()
    """Stage and the time that the department wants for it."""
    grades: tuple[Grade, ...] = ()
    """The department's own; none by default."""


@dataclass(frozen=True, slots=True)
class GiveInject:
    """Something that the scenario or the trainer lets happen; told to the crew at once."""

    at_ms: int
    origin: Origin
    inject: str
    """Its id in the scenario."""
    to: str
    """inside, outside or both."""
    text: str
    urgent: bool = False
    """Spoken as an alarm."""
    expects: tuple[str, ...] = ()
    """What answers it, any of these; see `protocol.responses`."""
    within_s: float | None = None
    """Seconds in which the department wants the answer."""


@dataclass(frozen=True, slots=True)
class EndDrill:
    """The drill is over: its scenario is worked through, or the trainer says so."""

    at_ms: int
    origin: Origin
    why: str


@dataclass(frozen=True, slots=True)
class PauseDrill:
    """The drill stands still, or goes on; the clocks stand still with it."""

    at_ms: int
    origin: Origin
    paused: bool


@dataclass(frozen=True, slots=True)
class RewindDrill:
    """Put the drill back to when a step was last entered."""

    at_ms: int
    origin: Origin
    step: str


@dataclass(frozen=True, slots=True)
class TrainerNote:
    """The trainer's own words for the debrief; the crew does not hear of it."""

    at_ms: int
    origin: Origin
    text: str
