"""One frozen record of the incident; nothing in it is computed from a clock."""

from dataclasses import dataclass, field
from decimal import Decimal

from protocol.air import Gas, Reading
from protocol.delivery import Stations
from protocol.headset import Headset

DRILL = "drill"
"""Kind of an incident that is one."""


@dataclass(frozen=True, slots=True)
class RunningTimer:
    """A clock that runs towards a deadline."""

    timer: str
    key: str
    """Which one, where there are several: a rescuer, a gas and place."""
    started_ms: int
    due_ms: int | None
    """None: it has run out and is not repeated."""


@dataclass(frozen=True, slots=True)
class Pending:
    """What was read back and waits for "affirmative"."""

    what: str
    step: str
    by: str
    heard: str
    asked_ms: int
    answer: str | None = None
    gas: Gas | None = None
    value: Decimal | None = None
    place: str | None = None


@dataclass(frozen=True, slots=True)
class Rescuer:
    """One who went in."""

    slot: int
    entered_ms: int
    left_ms: int | None = None
    line: str = ""
    """The lifeline as on its tag, last recorded; empty: none. It stays with the one who came out."""
    tenders: tuple[str, ...] = ()
    """Who hold it outside."""

    @property
    def inside(self) -> bool:
        """Whether still in the bin."""
        return self.left_ms is None


@dataclass(frozen=True, slots=True)
class Level:
    """Grain level as called."""

    mark: str
    at_ms: int


@dataclass(frozen=True, slots=True)
class Tape:
    """One set of corners taped from the rim of the ring down to the grain."""

    at_ms: int
    """When its last corner was read."""
    down_m: tuple[tuple[int, float], ...]
    """Corner, and metres below the rim."""


@dataclass(frozen=True, slots=True)
class SpokenEstimate:
    """A sentence with estimated numbers, as it was spoken."""

    kinds: tuple[str, ...]
    text: str
    at_ms: int


@dataclass(frozen=True, slots=True)
class OpenEmergency:
    """An interruption that is not over."""

    kind: str
    raised_ms: int
    return_to: str
    """The step that was interrupted."""
    repeats: tuple[int, ...] = ()
    """Which of it were confirmed by then, if it is a repeated step."""
    by: str = ""
    """Station that raised it."""


@dataclass(frozen=True, slots=True)
class State:
    """The incident so far."""

    at_ms: int = 0
    kind: str = ""
    opened: bool = False
    closed: bool = False
    step: str = ""
    step_since_ms: int = 0
    repeats: tuple[int, ...] = ()
    """Which of a repeated step are confirmed (panel one is 1)."""
    trail: tuple[str, ...] = ()
    """Steps confirmed on the way here, oldest first; an interruption does not add to it."""
    facts: tuple[tuple[str, str], ...] = ()
    fact_times_ms: tuple[tuple[str, int], ...] = ()
    """When each fact was last learned."""
    readings: tuple[Reading, ...] = ()
    levels: tuple[Level, ...] = ()
    tapes: tuple[Tape, ...] = ()
    outside_m: tuple[tuple[int, float], ...] = ()
    """Panel, and how much higher the grain stands outside it."""
    canisters_ms: tuple[int, ...] = ()
    entries: tuple[str, ...] = ()
    """Kinds of entries in order (air, canister, level, corner, rescuer_out), so that the last can be taken back."""
    crew: tuple[Rescuer, ...] = ()
    out_order: tuple[int, ...] = ()
    """Numbers of those counted out, in order."""
    timers: tuple[RunningTimer, ...] = ()
    pending: Pending | None = None
    held: bool = False
    holds_ms: tuple[tuple[int, int], ...] = ()
    """Past holds, from and to."""
    held_since_ms: int = 0
    emergencies: tuple[OpenEmergency, ...] = ()
    failed_parts: tuple[str, ...] = ()
    last_said: tuple[tuple[str, str], ...] = ()
    """The last prompt, answer or alarm for inside and outside; what one station alone was told is not it."""
    estimate: SpokenEstimate | None = None
    """The last that was spoken and whose entries still stand."""
    steps_confirmed: int = 0
    stations: Stations = field(default_factory=Stations)
    """Who is linked, which of their commands were decided, and who leads."""
    headsets: tuple[Headset, ...] = ()
    """Stations whose microphone was heard, by name."""
    drill_paused: bool = False
    moments: tuple["State", ...] = field(default=(), compare=False, repr=False)
    """In a drill, the state as each step was entered, oldest first, so that it can be put back there; else empty."""

    def fact(self, name: str, default: str = "unknown") -> str:
        """What is known about `name`."""
        for key, value in self.facts:
            if key == name:
                return value
        return default

    @property
    def inside(self) -> tuple[Rescuer, ...]:
        """Rescuers in the bin now."""
        return tuple(rescuer for rescuer in self.crew if rescuer.inside)

    @property
    def left_last(self) -> int:
        """Who was counted out last; 0 when nobody was."""
        return self.out_order[-1] if self.out_order else 0

    @property
    def level(self) -> str | None:
        """The last mark called."""
        return self.levels[-1].mark if self.levels else None

    def headset(self, name: str) -> Headset | None:
        """The station of that name, if its microphone was heard."""
        return next((one for one in self.headsets if one.name == name), None)

    def said_to(self, side: str) -> str:
        """The last sentence for a side."""
        return dict(self.last_said).get(side, "")
