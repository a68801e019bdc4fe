"""What reaches the one queue of a running incident."""

from dataclasses import dataclass

from protocol.commands import Command, Origin


@dataclass(frozen=True, slots=True)
class Words:
    """Words that a station heard or that somebody typed."""

    text: str
    origin: Origin
    said_ms: int | None = None
    """When they were understood, on the station's clock; None: now."""


@dataclass(frozen=True, slots=True)
class Order:
    """A command made elsewhere (the board); its time is stamped when it is taken."""

    command: Command


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the program failed or works again."""

    part: str
    works: bool
    detail: str


@dataclass(frozen=True, slots=True)
class Stop:
    """End the program; the record stays open for `resume`."""

    why: str


Input = Words | Order | Part | Stop
