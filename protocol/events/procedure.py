"""What happens in an incident: steps, facts, air, grain, people, clocks, emergencies, and what is said."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from protocol.air import Gas


class Urgency(StrEnum):
    """How soon a sentence must be heard."""

    ALARM = "alarm"
    PROMPT = "prompt"
    ANSWER = "answer"
    INFO = "info"


@dataclass(frozen=True, slots=True)
class IncidentOpened:
    """The incident began."""

    at_ms: int
    kind: str
    digest: str


@dataclass(frozen=True, slots=True)
class IncidentClosed:
    """Stand-down is complete."""

    at_ms: int


@dataclass(frozen=True, slots=True)
class StepEntered:
    """A step is now the current one."""

    at_ms: int
    step: str
    repeats: tuple[int, ...] = ()
    """Which of a repeated step were confirmed before an emergency interrupted it."""


@dataclass(frozen=True, slots=True)
class StepConfirmed:
    """A step was confirmed by a person."""

    at_ms: int
    step: str
    by: str
    """Station that confirmed."""
    heard: str
    answer: str | None = None
    skipped: bool = False
    """Confirmed by an override, without its preconditions."""


@dataclass(frozen=True, slots=True)
class RepeatConfirmed:
    """One of a repeated step was confirmed: panel two of four."""

    at_ms: int
    step: str
    number: int
    of: int
    by: str
    heard: str


@dataclass(frozen=True, slots=True)
class SteppedBack:
    """The step before is the current one again."""

    at_ms: int
    step: str
    to: str


@dataclass(frozen=True, slots=True)
class AdvanceRefused:
    """A confirmation was refused."""

    at_ms: int
    step: str
    guard: str
    reason: str


@dataclass(frozen=True, slots=True)
class ReadbackAsked:
    """Something that can hurt was read back and waits for "affirmative"."""

    at_ms: int
    what: str
    """step or air."""
    step: str
    by: str
    heard: str
    answer: str | None = None
    gas: Gas | None = None
    value: Decimal | None = None
    place: str | None = None


@dataclass(frozen=True, slots=True)
class ReadbackDropped:
    """A read-back was refused, lapsed, or was overtaken."""

    at_ms: int
    why: str
    """negative, lapsed or overtaken."""


@dataclass(frozen=True, slots=True)
class FactLearned:
    """An answer or a confirmed step made something known."""

    at_ms: int
    fact: str
    value: str


@dataclass(frozen=True, slots=True)
class NextPersonBegun:
    """The work begins again for another person; what is known of the bin, the grain and the air stays."""

    at_ms: int
    kept: tuple[str, ...]
    """Facts that stay; every other one was about the last person or the ring round them."""


@dataclass(frozen=True, slots=True)
class AirRead:
    """A meter reading is on record."""

    at_ms: int
    gas: Gas
    value: Decimal
    place: str
    verdict: str


@dataclass(frozen=True, slots=True)
class AirLimitCrossed:
    """A reading crossed a published limit."""

    at_ms: int
    gas: Gas
    value: Decimal
    place: str
    limit: str
    source: str
    verdict: str


@dataclass(frozen=True, slots=True)
class AirWentStale:
    """A reading is too old to count."""

    at_ms: int
    gas: Gas
    place: str


@dataclass(frozen=True, slots=True)
class CanisterCounted:
    """One more canister is out."""

    at_ms: int
    total: int


@dataclass(frozen=True, slots=True)
class LevelCalled:
    """The grain inside the ring stands at a mark."""

    at_ms: int
    mark: str


@dataclass(frozen=True, slots=True)
class CornerTaped:
    """The grain at one corner was taped from the rim down."""

    at_ms: int
    corner: int
    down_m: float
    opens: bool
    """The first corner of a new set."""


@dataclass(frozen=True, slots=True)
class OutsideCalled:
    """How much higher the grain stands outside a panel than inside."""

    at_ms: int
    panel: int
    higher_m: float


@dataclass(frozen=True, slots=True)
class EntryTakenBack:
    """The last entry was wrong; the record keeps it, the state does not."""

    at_ms: int
    entry: str
    """air, canister, level, corner or rescuer_out."""
    detail: str


@dataclass(frozen=True, slots=True)
class PersonChecked:
    """The person answered."""

    at_ms: int


@dataclass(frozen=True, slots=True)
class RollCallAnswered:
    """Everyone inside is accounted for."""

    at_ms: int
    inside: int


@dataclass(frozen=True, slots=True)
class RescuerEntered:
    """A rescuer went in."""

    at_ms: int
    slot: int
    line: str = ""
    """The lifeline, as on its tag; empty: none recorded."""
    tenders: tuple[str, ...] = ()
    """Who hold it outside."""


@dataclass(frozen=True, slots=True)
class LineRecorded:
    """On which lifeline a rescuer inside is, and who holds it, from here on."""

    at_ms: int
    slot: int
    line: str
    tenders: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RescuerLeft:
    """A rescuer came out."""

    at_ms: int
    slot: int


@dataclass(frozen=True, slots=True)
class TimerStarted:
    """A clock runs towards a deadline."""

    at_ms: int
    timer: str
    key: str
    due_ms: int
    since_ms: int | None = None
    """It counts from this earlier moment, because a step that had stopped it was taken back."""


@dataclass(frozen=True, slots=True)
class TimerStopped:
    """A clock was stopped."""

    at_ms: int
    timer: str
    key: str


@dataclass(frozen=True, slots=True)
class TimerExpired:
    """A deadline passed."""

    at_ms: int
    timer: str
    key: str
    next_due_ms: int | None
    """When it will be due again, or None."""


@dataclass(frozen=True, slots=True)
class WorkHeld:
    """All work stands still."""

    at_ms: int


@dataclass(frozen=True, slots=True)
class WorkResumed:
    """Work goes on."""

    at_ms: int


@dataclass(frozen=True, slots=True)
class EmergencyRaised:
    """An emergency interrupts the procedure."""

    at_ms: int
    kind: str
    by: str
    from_step: str


@dataclass(frozen=True, slots=True)
class EmergencyEnded:
    """An emergency is over or was taken back."""

    at_ms: int
    kind: str
    withdrawn: bool


@dataclass(frozen=True, slots=True)
class NoteTaken:
    """Words for the record."""

    at_ms: int
    by: str
    text: str


@dataclass(frozen=True, slots=True)
class CommandRefused:
    """A command that could not be taken, and why."""

    at_ms: int
    command: str
    reason: str


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence for the people at one side or both; nothing is spoken that is not recorded here first."""

    at_ms: int
    to: str
    """inside, outside or both."""
    urgency: Urgency
    text: str
    about: str
    """What it belongs to: step id, timer, emergency, query …"""
    station: str = ""
    """For this station alone; empty: for every station of that side."""
    estimates: tuple[str, ...] = ()
    """Kinds of estimates (`protocol.told.KINDS`) whose numbers are in it."""
