"""What concerns the program itself: its parts, stations, who leads, kept sound."""

from dataclasses import dataclass

from protocol.commands.origin import Origin, Role
from protocol.delivery import Link


@dataclass(frozen=True, slots=True)
class ReportPart:
    """A part of the program failed or came back (microphone, speaker, recogniser, board …)."""

    at_ms: int
    origin: Origin
    part: str
    works: bool
    detail: str


@dataclass(frozen=True, slots=True)
class ReportStation:
    """A station joined, was lost, came back, left, or its battery went down a step."""

    at_ms: int
    origin: Origin
    station: str
    role: Role
    link: Link
    battery: int | None = None
    """Percent."""


@dataclass(frozen=True, slots=True)
class BeginHearing:
    """The microphone of the station that this comes from is heard, and nothing is being said there."""

    at_ms: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class TakeLead:
    """The officer orders another coordinator to lead from here on."""

    at_ms: int
    origin: Origin
    leader: str
    term: int
    """The new fencing number: higher than any before."""
    reason: str


@dataclass(frozen=True, slots=True)
class KeepAudio:
    """From here on what a station's microphone hears is kept in a file beside the record; asked for at the start."""

    at_ms: int
    """The moment of the first sample."""
    origin: Origin
    station: str
    file: str
    """Its name, without a folder."""
