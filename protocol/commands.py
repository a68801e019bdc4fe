"""What may be asked of the procedure. Each command carries its time and where it came from."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from protocol.air import Gas
from protocol.delivery import Delivery, Link
from protocol.targets import Grade


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


PROGRAM = Origin()


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


@dataclass(frozen=True, slots=True)
class Note:
    """Words for the record."""

    at_ms: int
    origin: Origin
    text: str


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


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has passed."""

    at_ms: int
    origin: Origin = PROGRAM


Command = (
    OpenIncident | Advance | Affirm | Negate | ReportAir | CountCanister | CallLevel | TapeCorner | CallOutside
    | CheckPerson | AnswerRollCall | MoveRescuer | StepBack | Correct | Hold | Resume | RaiseEmergency
    | WithdrawEmergency | Ask | Override | EndWork | ReportPart | ReportStation | TakeLead | KeepAudio | Note | Tick
    | BeginDrill | EndDrill | GiveInject | PauseDrill | RewindDrill | TrainerNote
)  # fmt: skip
