"""What travels over the broker, and under which topics. A payload that cannot be read is refused by name.

binrescue/INCIDENT/all/header    the first line of the record                      kept by the broker
binrescue/INCIDENT/all/lead      who leads, how far the record is, what time it is  kept, every two seconds
binrescue/INCIDENT/all/state     the state after a record, for whoever joins late   kept
binrescue/INCIDENT/all/fence     another coordinator takes the lead                 kept
binrescue/INCIDENT/all/yield     the one that led stops, and where its record ended
binrescue/INCIDENT/all/records   new records, as their lines
binrescue/INCIDENT/to/NAME       records that NAME asked for
binrescue/INCIDENT/from/NAME/here    link, role, battery; the last will says "lost"  kept
binrescue/INCIDENT/from/NAME/pulse   the same, every two seconds
binrescue/INCIDENT/from/NAME/say     one command
binrescue/INCIDENT/from/NAME/ask     the number after which records are missing
binrescue/INCIDENT/from/NAME/offer   records that a new coordinator may lack
"""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, TypeVar

from pydantic import ConfigDict, TypeAdapter, ValidationError

from assistant.errors import LinkError
from protocol.commands import Command, Role
from protocol.delivery import Link
from protocol.errors import HistoryError
from protocol.state import State
from protocol.wire import command_from, to_plain

ROOT = "binrescue"
NAME = re.compile(r"[a-z][a-z0-9-]{0,31}")
MOST_BYTES = 4_500_000
"""A longer payload is not read."""
BATCH_BYTES = 200_000
"""Lines that were asked for travel in pieces of about so much."""


@dataclass(frozen=True, slots=True)
class Lead:
    """Who leads and how far it is."""

    term: int
    leader: str
    n: int
    chain: str
    at_ms: int
    """Incident time when it was sent."""
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Here:
    """A station's own account of itself."""

    role: Role
    link: Link
    battery: int | None = None
    n: int = 0
    """The last record that it has."""
    standby: bool = False
    """It keeps a copy of the record and can lead; it is no headset."""


NOTHING = -1


@dataclass(frozen=True, slots=True)
class Ask:
    """Records are missing after this number; NOTHING: even the header is."""

    after: int


@dataclass(frozen=True, slots=True)
class Fence:
    """Another coordinator takes the lead with this number."""

    term: int
    leader: str
    after: int
    """Its record ends here; whoever has more offers it."""


@dataclass(frozen=True, slots=True)
class Yielded:
    """The coordinator that led has stopped."""

    term: int
    n: int
    chain: str


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The state after a record."""

    term: int
    n: int
    chain: str
    state: State


@dataclass(frozen=True, slots=True)
class Lines:
    """Records as their lines, and the fencing number of whoever published them."""

    term: int
    lines: tuple[bytes, ...]


M = TypeVar("M", Lead, Here, Ask, Fence, Yielded, Snapshot)


def topic(incident: str, *parts: str) -> str:
    """A topic of one incident."""
    return "/".join((ROOT, incident, *parts))


def checked_name(name: str) -> str:
    """A station's name as it may stand in a topic.

    Raises:
        LinkError: if it may not.
    """
    if not NAME.fullmatch(name):
        raise LinkError(f"'{name}' is no name for a station: small letters, digits and hyphens, a letter first.")
    return name


def to_bytes(message: Lead | Here | Ask | Fence | Yielded | Snapshot) -> bytes:
    """A message as JSON; what a drill keeps for rewinding stays behind."""
    kind: Any = type(message)
    plain = _strict(kind).dump_python(message, mode="json")
    if isinstance(message, Snapshot):
        plain["state"].pop("moments")
    return json.dumps(plain, separators=(",", ":"), ensure_ascii=False).encode(errors="replace")


def from_bytes(kind: type[M], payload: bytes) -> M:
    """A message from JSON.

    Raises:
        LinkError: if it is none of that kind.
    """
    target: Any = kind
    try:
        found: M = _strict(target).validate_python(_json(payload))
    except (ValidationError, RecursionError) as error:
        raise LinkError(f"nonsense where a {kind.__name__} should be ({_first(error)})") from error
    return found


def say_bytes(command: Command) -> bytes:
    """A command on its way to the coordinator."""
    return json.dumps(to_plain(command), separators=(",", ":"), ensure_ascii=False).encode(errors="replace")


def said_from(payload: bytes) -> Command:
    """A command that carries a delivery.

    Raises:
        LinkError: if it is none.
    """
    plain = _json(payload)
    try:
        command = command_from(plain)
    except (HistoryError, RecursionError, ValueError, TypeError, OverflowError) as error:
        raise LinkError(f"nonsense where a command should be ({error})") from error
    if command.origin.delivery is None:
        raise LinkError("a command without its number")
    return command


def lines_bytes(term: int, lines: Sequence[bytes]) -> bytes:
    """Lines with their fencing number in front."""
    return b"\n".join((json.dumps({"term": term}).encode(), *lines))


def lines_from(payload: bytes) -> Lines:
    """Lines and their fencing number; the lines themselves are checked by whoever follows them.

    Raises:
        LinkError: if there is no fencing number in front.
    """
    if len(payload) > MOST_BYTES:
        raise LinkError(f"a message of {len(payload)} bytes")
    head, *lines = payload.split(b"\n")
    plain = _json(head)
    term = plain.get("term") if isinstance(plain, dict) else None
    if not isinstance(term, int) or isinstance(term, bool) or term < 0:
        raise LinkError("records without a fencing number")
    return Lines(term, tuple(line for line in lines if line))


def batches(lines: Sequence[bytes]) -> list[list[bytes]]:
    """Lines in pieces that a message can carry."""
    pieces: list[list[bytes]] = [[]]
    size = 0
    for line in lines:
        if pieces[-1] and size + len(line) > BATCH_BYTES:
            pieces.append([])
            size = 0
        pieces[-1].append(line)
        size += len(line)
    return [piece for piece in pieces if piece]


def _json(payload: bytes) -> Any:
    if len(payload) > MOST_BYTES:
        raise LinkError(f"a message of {len(payload)} bytes")
    try:
        return json.loads(payload)
    except (ValueError, RecursionError) as error:
        raise LinkError("nonsense where JSON should be") from error


def _first(error: Exception) -> str:
    if isinstance(error, ValidationError):
        first = error.errors()[0]
        return f"{'.'.join(str(part) for part in first['loc'])}: {first['msg']}"
    return "nested too deep"


@cache
def _strict(kind: Any) -> TypeAdapter[Any]:
    kind.__pydantic_config__ = ConfigDict(extra="forbid")
    return TypeAdapter(kind)
