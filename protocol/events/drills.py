"""What happens only in a drill."""

from dataclasses import dataclass

from protocol.targets import Grade


@dataclass(frozen=True, slots=True)
class DrillBegun:
    """The crew was told that this is a drill; what stands before this was prepared by the scenario."""

    at_ms: int
    scenario: str
    title: str
    targets_ms: tuple[tuple[str, int], ...] = ()
    grades: tuple[Grade, ...] = ()


@dataclass(frozen=True, slots=True)
class DrillEnded:
    """The drill was over before stand-down: its scenario was worked through, or the trainer said so."""

    at_ms: int
    why: str


@dataclass(frozen=True, slots=True)
class InjectGiven:
    """Something happened in the drill's scenario."""

    at_ms: int
    inject: str
    to: str
    text: str
    expects: tuple[str, ...] = ()
    within_s: float | None = None


@dataclass(frozen=True, slots=True)
class DrillPaused:
    """The drill and its clocks stand still."""

    at_ms: int


@dataclass(frozen=True, slots=True)
class DrillContinued:
    """The drill goes on where it stood."""

    at_ms: int


@dataclass(frozen=True, slots=True)
class DrillRewound:
    """The drill stands where it stood when a step was entered; only a drill has this."""

    at_ms: int
    step: str
    """Where it stood before."""
    to: str
    moment_ms: int
    """When `to` was entered: everything since then is undone, every clock and age runs on as from there."""


@dataclass(frozen=True, slots=True)
class TrainerNoted:
    """The trainer's words for the debrief."""

    at_ms: int
    text: str
