"""What happens to the program itself: parts that fail, stations, what they delivered, who leads, kept sound."""

from dataclasses import dataclass

from protocol.delivery import Link
from protocol.headset import Sound, Verdict


@dataclass(frozen=True, slots=True)
class PartFailed:
    """A part of the program does not work."""

    at_ms: int
    part: str
    detail: str


@dataclass(frozen=True, slots=True)
class PartRecovered:
    """A part of the program works again."""

    at_ms: int
    part: str
    detail: str


@dataclass(frozen=True, slots=True)
class StationChanged:
    """A station joined, was lost, came back or left, or its battery went down a step."""

    at_ms: int
    station: str
    role: str
    link: Link
    battery: int | None = None


@dataclass(frozen=True, slots=True)
class HearingBegun:
    """A station's microphone is heard for the first time; its radio check is still to come."""

    at_ms: int
    station: str
    role: str


@dataclass(frozen=True, slots=True)
class RadioChecked:
    """A radio check was heard at a station, with what was measured at its microphone."""

    at_ms: int
    station: str
    role: str
    sound: Sound
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class DeliveryTaken:
    """A station's command was taken; what it caused follows in the same record."""

    at_ms: int
    station: str
    session: str
    seq: int
    said_ms: int
    heard: str


@dataclass(frozen=True, slots=True)
class DeliveryRefused:
    """A station's command was not taken, and why."""

    at_ms: int
    station: str
    session: str
    seq: int
    said_ms: int
    heard: str
    reason: str


@dataclass(frozen=True, slots=True)
class LeadTaken:
    """Another coordinator leads from here on, by order of the officer."""

    at_ms: int
    term: int
    leader: str
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class AudioKept:
    """What a station's microphone hears is kept from here on."""

    at_ms: int
    """The moment of the first sample."""
    station: str
    file: str
