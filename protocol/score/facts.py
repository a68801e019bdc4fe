"""The facts of a drill or an incident, as its record tells them. They are no grade."""

from dataclasses import dataclass

from protocol.air import Gas


@dataclass(frozen=True, slots=True)
class StageTime:
    """Time in one stage, all visits together."""

    stage: str
    title: str
    spent_ms: int
    target_ms: int | None = None
    """What the department wants; None when it has set nothing."""

    @property
    def over_ms(self) -> int:
        """How much longer than wanted; 0 within it or without a target."""
        return max(0, self.spent_ms - self.target_ms) if self.target_ms is not None else 0


@dataclass(frozen=True, slots=True)
class OrderFault:
    """Something was tried before its turn."""

    at_ms: int
    step: str
    what: str


@dataclass(frozen=True, slots=True)
class RefusedAdvance:
    """A confirmation was refused because something was missing."""

    at_ms: int
    step: str
    guard: str
    reason: str


@dataclass(frozen=True, slots=True)
class InjectAnswer:
    """An inject and when it was answered."""

    inject: str
    text: str
    given_ms: int
    expects: tuple[str, ...]
    """Empty: nothing had to follow."""
    answered_ms: int | None = None
    within_s: float | None = None
    """What the department wants; None when it has set nothing."""

    @property
    def took_ms(self) -> int | None:
        """From the inject to its answer."""
        return None if self.answered_ms is None else self.answered_ms - self.given_ms

    @property
    def in_time(self) -> bool:
        """Whether it was answered, and in time if a time was set; true when nothing was expected."""
        if not self.expects:
            return True
        took = self.took_ms
        return took is not None and (self.within_s is None or took <= self.within_s * 1000)


@dataclass(frozen=True, slots=True)
class AirAge:
    """How old the air readings were when a step that needs air was confirmed."""

    at_ms: int
    step: str
    oldest_ms: int | None
    """Age of the oldest newest reading of a required gas; None when none was read."""
    gas: Gas | None
    """Which gas that was."""
    unread: tuple[Gas, ...] = ()
    """Required gases that had not been read (passed by an override)."""


@dataclass(frozen=True, slots=True)
class Call:
    """A roll call or a person check that the program asked for."""

    asked_ms: int
    answered_ms: int | None = None

    @property
    def missed(self) -> bool:
        """Not answered before the next was due, before everyone was out, or before the end."""
        return self.answered_ms is None


@dataclass(frozen=True, slots=True)
class ReadBacks:
    """Read-backs, and what became of them."""

    asked: int = 0
    affirmed: int = 0
    negated: int = 0
    lapsed: int = 0
    overtaken: int = 0


@dataclass(frozen=True, slots=True)
class Misheard:
    """Words that were taken and then taken back: misheard or misspoken."""

    at_ms: int
    words: str
    how: str
    """negative (a read-back was refused), taken back (correction) or withdrawn (an emergency)."""


@dataclass(frozen=True, slots=True)
class Unsure:
    """A spoken phrase that the recogniser was least sure of."""

    at_ms: int
    words: str
    confidence: float


@dataclass(frozen=True, slots=True)
class Passed:
    """A step that was passed by an override."""

    at_ms: int
    step: str
    reason: str


@dataclass(frozen=True, slots=True)
class EmergencyTime:
    """An emergency from when it was raised to when it was over."""

    kind: str
    raised_ms: int
    ended_ms: int | None = None
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class Score:
    """Everything that is counted. Times are milliseconds since the first call."""

    kind: str
    """live, drill or rehearsal."""
    scenario: str
    """Name of the drill's scenario; empty without one."""
    title: str
    begun_ms: int
    """When the crew was told that the drill begins; 0 in an incident."""
    ended_ms: int
    """The last thing on record."""
    closed: bool
    """Whether stand-down was reached, or the drill's own end."""
    ended_by: str
    """Why a drill was over before stand-down; empty otherwise."""
    steps_confirmed: int
    canisters: int
    stages: tuple[StageTime, ...]
    """In the procedure's order; only stages that were visited or have a target."""
    order_faults: tuple[OrderFault, ...]
    refused: tuple[RefusedAdvance, ...]
    injects: tuple[InjectAnswer, ...]
    air_ages: tuple[AirAge, ...]
    roll_calls: tuple[Call, ...]
    person_checks: tuple[Call, ...]
    read_backs: ReadBacks
    misheard: tuple[Misheard, ...]
    said_again_ms: tuple[int, ...]
    """When somebody asked to hear it again (needs the commands)."""
    unsure: tuple[Unsure, ...]
    """Spoken phrases taken with a confidence under `UNSURE_BELOW`, least sure first (needs the commands)."""
    overrides: tuple[Passed, ...]
    emergencies: tuple[EmergencyTime, ...]
    steps_back: int
    rewinds: int
    pauses: int
    grade: str = ""
    """The department's own word, or empty: nobody is graded unless the department sets it."""

    @property
    def duration_ms(self) -> int:
        """From the beginning of the drill to its end."""
        return self.ended_ms - self.begun_ms

    @property
    def missed_roll_calls(self) -> int:
        """Roll calls that nobody answered."""
        return sum(call.missed for call in self.roll_calls)

    @property
    def missed_person_checks(self) -> int:
        """Person checks that nobody answered."""
        return sum(call.missed for call in self.person_checks)

    @property
    def late_answers(self) -> int:
        """Injects not answered in time, or not at all."""
        return sum(not answer.in_time for answer in self.injects)

    @property
    def oldest_air_ms(self) -> int | None:
        """The oldest air that a step was confirmed on."""
        return max((row.oldest_ms for row in self.air_ages if row.oldest_ms is not None), default=None)


UNSURE_BELOW = 0.8
"""A phrase taken with less confidence is listed, so that its wording or the headset can be looked at: a house rule."""
