"""What a record tells, as rows: everything that a debrief shows, in milliseconds since the start and SI units."""

from dataclasses import dataclass
from datetime import datetime, tzinfo

from protocol.air import Gas, Verdict
from protocol.handover import Line
from protocol.score import Score

KINDS = {"live": "Incident", "drill": "Drill", "rehearsal": "Rehearsal from a recording"}


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time."""

    from_ms: int
    to_ms: int
    open: bool = False
    """Still going on when the record ends."""

    @property
    def length_ms(self) -> int:
        """How long."""
        return self.to_ms - self.from_ms


@dataclass(frozen=True, slots=True)
class StageRow:
    """One stay in a stage."""

    stage: str
    title: str
    emergency: bool
    span: Span


@dataclass(frozen=True, slots=True)
class Confirmation:
    """Who confirmed what and when."""

    at_ms: int
    step: str
    title: str
    by: str
    how: str
    """voice, keyboard, board or program."""
    heard: str
    confidence: float | None
    outcome: str
    """confirmed, read back and affirmed, or passed by override."""


@dataclass(frozen=True, slots=True)
class Order:
    """An override, or the end of work ordered from outside, with its reason."""

    at_ms: int
    what: str
    by: str
    reason: str
    taken: bool
    """False: it was refused."""


@dataclass(frozen=True, slots=True)
class Refusal:
    """Something that was not taken, and why."""

    at_ms: int
    what: str
    reason: str
    heard: str


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """A sentence spoken as an alarm."""

    at_ms: int
    to: str
    text: str
    about: str


@dataclass(frozen=True, slots=True)
class EmergencyRow:
    """One emergency from the call to its end."""

    kind: str
    title: str
    by: str
    span: Span
    withdrawn: bool


@dataclass(frozen=True, slots=True)
class AirRow:
    """One meter reading."""

    at_ms: int
    gas: Gas
    value: float
    shown: str
    """As it was read, with its unit."""
    place: str
    verdict: Verdict
    limit: str
    """Name of the worst limit crossed; empty: none."""
    taken_back: bool = False


@dataclass(frozen=True, slots=True)
class LevelRow:
    """One grain level."""

    at_ms: int
    mark: str
    height_m: float
    """Over the soles of the person assumed."""
    taped: bool = False
    taken_back: bool = False


@dataclass(frozen=True, slots=True)
class CanisterRow:
    """One canister called full."""

    at_ms: int
    taken_back: bool = False


@dataclass(frozen=True, slots=True)
class LineRow:
    """On which lifeline a rescuer was from a moment on, and who held it."""

    at_ms: int
    line: str
    tenders: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CrewRow:
    """One rescuer's stay in the bin."""

    slot: int
    span: Span
    lines: tuple[LineRow, ...] = ()
    """As recorded, in order; empty: none was."""


@dataclass(frozen=True, slots=True)
class PartRow:
    """A part of the program that did not work."""

    part: str
    detail: str
    span: Span


@dataclass(frozen=True, slots=True)
class Moment:
    """Something that happened, with a word for it."""

    at_ms: int
    what: str
    text: str = ""


@dataclass(frozen=True, slots=True)
class TimeGuess:
    """What was predicted at a moment: seconds of work until the grain stands at the target."""

    at_ms: int
    target: str
    low_s: float
    value_s: float
    high_s: float


@dataclass(frozen=True, slots=True)
class LevelGuess:
    """The level that the count of canisters predicts, metres over the soles."""

    at_ms: int
    low_m: float
    value_m: float
    high_m: float


@dataclass(frozen=True, slots=True)
class StoryLine:
    """One line of what was heard, said or done."""

    at_ms: int
    n: int
    sort: str
    """heard, said, alarm, step or note."""
    who: str
    text: str


@dataclass(frozen=True, slots=True)
class SoundRow:
    """A station's sound kept in a file beside the record."""

    station: str
    file: str
    start_ms: int
    """The moment of its first sample."""


@dataclass(frozen=True, slots=True)
class Condition:
    """Whether the record is as it was written."""

    whole: bool
    sentences: tuple[str, ...]
    digest: str
    """Digest of the last whole line."""
    records: int
    verified: bool | None
    """Today's rules decide every record as it was recorded; None: not tried."""


@dataclass(frozen=True, slots=True)
class Tale:
    """Everything."""

    kind: str
    title: str
    """Of the procedure."""
    scenario: str
    opened: datetime | None
    zone: tzinfo | None
    """None: the machine's own."""
    program: str
    units: str
    book_digest: str
    end_ms: int
    closed: bool
    last_step: str
    condition: Condition
    max_age_ms: int
    """How long an air reading counts."""
    needed: tuple[Gas, ...]
    """Gases that had to be read."""
    height_m: float
    """Of the person assumed."""
    stages: tuple[StageRow, ...] = ()
    confirmations: tuple[Confirmation, ...] = ()
    orders: tuple[Order, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    alarms: tuple[AlarmRow, ...] = ()
    emergencies: tuple[EmergencyRow, ...] = ()
    holds: tuple[Span, ...] = ()
    air: tuple[AirRow, ...] = ()
    levels: tuple[LevelRow, ...] = ()
    canisters: tuple[CanisterRow, ...] = ()
    crew: tuple[CrewRow, ...] = ()
    parts: tuple[PartRow, ...] = ()
    moments: tuple[Moment, ...] = ()
    """Roll calls, person checks, stale readings, drill injects."""
    notes: tuple[Moment, ...] = ()
    time_guesses: tuple[TimeGuess, ...] = ()
    level_guesses: tuple[LevelGuess, ...] = ()
    story: tuple[StoryLine, ...] = ()
    sounds: tuple[SoundRow, ...] = ()
    handover: tuple[Line, ...] = ()
    score: Score | None = None
    """None: it could not be counted."""
    gaps: tuple[str, ...] = ()
    """What is not known, in sentences."""

    @property
    def not_read(self) -> tuple[Gas, ...]:
        """Gases that nobody has read anywhere."""
        taken = {row.gas for row in self.air if not row.taken_back}
        return tuple(gas for gas in Gas if gas not in taken)
