"""What may be asked in an incident: steps, readings, people, holds, emergencies, words."""

from dataclasses import dataclass
from decimal import Decimal

from protocol.air import Gas
from protocol.commands.origin import PROGRAM, Origin, Query


@dataclass(frozen=True, slots=True)
class OpenIncident:
    """Begin: the first call was taken at this time."""

    at_ms: int
    origin: Origin
    kind: str
    """live or drill."""
    digest: str
    """Digest of procedure and house rules, so that a replay knows what it ran on."""


@dataclass(frozen=True, slots=True)
class Advance:
    """Confirm the step that is named, with the answer if it asks one."""

    at_ms: int
    origin: Origin
    step: str
    answer: str | None = None
    number: int | None = None
    """For a repeated step: which one (panel two is 2)."""


@dataclass(frozen=True, slots=True)
class Affirm:
    """Yes to what was read back."""

    at_ms: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class Negate:
    """No to what was read back."""

    at_ms: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class ReportAir:
    """A meter reading as said."""

    at_ms: int
    origin: Origin
    gas: Gas
    value: Decimal
    place: str | None = None
    """hatch or person; None: where the step is."""


@dataclass(frozen=True, slots=True)
class CountCanister:
    """One more canister of grain is out."""

    at_ms: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class CallLevel:
    """The grain inside the ring is at this mark of the person's body."""

    at_ms: int
    origin: Origin
    mark: str


@dataclass(frozen=True, slots=True)
class TapeCorner:
    """Taped at one corner with the vacuum stopped: from the rim of the ring down to the grain."""

    at_ms: int
    origin: Origin
    corner: int
    down: Decimal
    """Inches, or centimetres in a metric department."""


@dataclass(frozen=True, slots=True)
class CallOutside:
    """The grain outside a panel stands so much higher than the grain inside the ring."""

    at_ms: int
    origin: Origin
    panel: int
    higher: Decimal
    """Inches, or centimetres in a metric department."""


@dataclass(frozen=True, slots=True)
class CheckPerson:
    """Somebody spoke with the person, and the person answered."""

    at_ms: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class AnswerRollCall:
    """Everyone inside is accounted for."""

    at_ms: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class MoveRescuer:
    """A rescuer goes in or comes out, outside the counted steps."""

    at_ms: int
    origin: Origin
    slot: int
    inside: bool
    line: str = ""
    """The lifeline that one who goes in is on, as on its tag; empty: not said."""
    tenders: tuple[str, ...] = ()
    """Who hold that line outside."""


@dataclass(frozen=True, slots=True)
class RecordLine:
    """On which lifeline a rescuer inside is, and who holds it; it replaces what was on record."""

    at_ms: int
    origin: Origin
    slot: int
    line: str
    """As on its tag; empty: not known."""
    tenders: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StepBack:
    """Go back one step."""

    at_ms: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class Correct:
    """Take the last entry back (reading, count or level)."""

    at_ms: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class Hold:
    """Stop all work; nothing advances."""

    at_ms: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class Resume:
    """Go on after a hold."""

    at_ms: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class RaiseEmergency:
    """An emergency, accepted in every step."""

    at_ms: int
    origin: Origin
    kind: str


@dataclass(frozen=True, slots=True)
class WithdrawEmergency:
    """The last emergency was said by mistake or misheard."""

    at_ms: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class Ask:
    """A question."""

    at_ms: int
    origin: Origin
    query: Query


@dataclass(frozen=True, slots=True)
class Override:
    """The officer goes on without a precondition, and says why."""

    at_ms: int
    origin: Origin
    step: str
    reason: str
    answer: str | None = None


@dataclass(frozen=True, slots=True)
class EndWork:
    """The officer outside ends the work and goes on to stand-down, and says why; the bin has to be empty."""

    at_ms: int
    origin: Origin
    reason: str


@dataclass(frozen=True, slots=True)
class Note:
    """Words for the record."""

    at_ms: int
    origin: Origin
    text: str


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has passed."""

    at_ms: int
    origin: Origin = PROGRAM
