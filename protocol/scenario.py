"""A drill's scenario as data: the site, the person, what was done before, simulated grain, injects and targets.

The text is parsed here, the file is read elsewhere. Every row is checked alone, then against the procedure.
"""

import tomllib
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, PositiveFloat, StringConstraints, ValidationError, model_validator

from protocol.errors import ProtocolError, TableError
from protocol.house import House
from protocol.procedure import Identifier, Procedure, Sentence, line_of
from protocol.responses import NEEDS_WHICH, RESPONSES
from protocol.site import Site
from protocol.targets import Targets

MAX_SCENARIO_CHARS = 200_000
Told = Annotated[str, StringConstraints(min_length=2, max_length=400, strip_whitespace=True)]
Marks = Literal["knees", "hips", "waist", "ribs", "chest", "shoulders", "chin"]


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Heading(_Row):
    """What the drill is."""

    id: Identifier
    title: Annotated[str, StringConstraints(min_length=3, max_length=60, strip_whitespace=True)]
    version: int = Field(default=1, ge=1)
    place: Sentence
    """Where it is said to happen: invented."""
    aim: Sentence
    """What the crew is to learn, for the list."""
    briefing: Told
    """Spoken to the crew at the start, after "this is a drill"."""
    minutes: PositiveFloat
    """About how long it takes."""
    pace: float = Field(default=1.0, ge=1, le=60)
    """How much faster than in earnest the simulated vacuum works."""
    prepared: tuple[str, ...] = Field(default=(), max_length=200)
    """What was said and done before the crew comes in, phrase by phrase."""
    ends: str | None = None
    """What ends the drill, as in an inject's `on`; left out, stand-down does."""


class Person(_Row):
    """The person in the grain."""

    height_m: float = Field(default=1.75, ge=1.0, le=2.2)
    mass_kg: float = Field(default=80.0, ge=20, le=200)


class SimulatedGrain(_Row):
    """Grain that is not there: where it stands and how it moves."""

    mark: Marks
    """Where it stands on the person at the start."""
    outside_higher_m: float = Field(default=0.2, ge=0, le=3)
    """How much higher it stands outside the ring."""
    drum_s: float = Field(default=180.0, ge=10, le=3600)
    """Seconds of work for one drum, in earnest: common practice, no source."""
    leak_l_min: float = Field(default=0.0, ge=0, le=500)
    """What runs in while the ring leaks, litres a minute, in earnest."""
    leak_on: str | None = None
    """What starts the leak, as in an inject's `on`."""


class Inject(_Row):
    """Something that happens, and is told."""

    id: Identifier
    say: Told
    to: Literal["inside", "outside", "both"] = "both"
    urgent: bool = False
    """Spoken as an alarm: it cuts into prompts."""
    at_s: float | None = Field(default=None, ge=0, le=86_400)
    """Seconds after the drill began."""
    on: str | None = None
    """What starts it: a word of `protocol.responses`, such as "step joined" or "canister 2"."""
    enters: Identifier | None = None
    """Given when this step begins."""
    delay_s: float = Field(default=0.0, ge=0, le=3600)
    """So long after what starts it."""
    expects: tuple[str, ...] = ()
    """What answers it, any of these."""
    within_s: float | None = Field(default=None, gt=0, le=3600)
    """The answer is wanted within this time."""

    @model_validator(mode="after")
    def _one_start(self) -> "Inject":
        if sum(start is not None for start in (self.at_s, self.on, self.enters)) != 1:
            raise ValueError("give one of at_s, on and enters, so that it is clear when this happens")
        if self.within_s is not None and not self.expects:
            raise ValueError("within_s says how fast an answer is wanted, but expects names none")
        return self


class Scenario(_Row):
    """The whole file."""

    scenario: Heading
    site: Site | None = None
    """The department's card, written into the scenario."""
    card: str | None = Field(default=None, max_length=200)
    """Or the name of a site card beside the scenario."""
    person: Person = Person()
    grain: SimulatedGrain | None = None
    inject: tuple[Inject, ...] = ()
    scoring: Targets = Targets()

    @property
    def id(self) -> str:
        """Its name."""
        return self.scenario.id

    def house(self, site: Site | None) -> House:
        """House rules of the site, with the person of this scenario.

        Raises:
            TableError: if an interval of the site is unknown or out of bounds.
        """
        rules = site.house_rules() if site else House()
        known = {"person_height_m": (self.person.height_m - 0.05, self.person.height_m + 0.05),
                 "person_mass_kg": (self.person.mass_kg * 0.9, self.person.mass_kg * 1.1)}  # fmt: skip
        return rules.model_copy(update=known)


def read_scenario(text: str, name: str) -> Scenario:
    """Parse and check a scenario, row by row.

    Args:
        text: the TOML text.
        name: how the file is called in the message.

    Raises:
        TableError: with file, line and reason.
    """
    if len(text) > MAX_SCENARIO_CHARS:
        raise TableError(f"{name}: longer than {MAX_SCENARIO_CHARS} characters; a scenario is not that long.")
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise TableError(f"{name}: not valid TOML: {error}.") from error
    try:
        return Scenario.model_validate(raw)
    except ValidationError as error:
        first = error.errors()[0]
        place = [str(part) for part in first["loc"]]
        where = ".".join(place) or "the file"
        reason = first["msg"].removeprefix("Value error, ")
        raise TableError(f"{name}, line {_line(text, place)}: {where}: {reason}.") from error


def _line(text: str, place: list[str]) -> int:
    """The line of a fault: of its row and key as far as they are written there, else the first."""
    key = place[-1] if len(place) > 1 else None
    if len(place) >= 2 and place[1].isdigit():
        return line_of(text, place[0], int(place[1]), key)
    table = ".".join(place[:-1]) if key else place[0] if place else ""
    inside = 0
    for number, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if stripped.startswith("["):
            inside = number if stripped == f"[{table}]" else 0
            if inside and not _has_key(text, number, key):
                return number
        elif inside and key and stripped.split("=")[0].strip() == key:
            return number
    return 1


def _has_key(text: str, table_line: int, key: str | None) -> bool:
    """Whether a table that begins in a line has such a key."""
    for line in text.splitlines()[table_line:]:
        if line.strip().startswith("["):
            return False
        if line.split("=")[0].strip() == key:
            return True
    return False


def check_against(scenario: Scenario, procedure: Procedure, text: str, name: str) -> None:
    """Check what the rows of a scenario say about the procedure.

    Raises:
        TableError: for two equal ids, an unknown step, stage, emergency or word, with file, line and reason.
    """
    ids = [row.id for row in scenario.inject]
    for index, row in enumerate(scenario.inject):
        try:
            _check_inject(row, procedure, again=row.id in ids[:index])
        except ProtocolError as error:
            line = line_of(text, "inject", index)
            raise TableError(f"{name}, line {line}: inject '{row.id}': {error}") from error
    try:
        _check_rest(scenario, procedure)
    except ProtocolError as error:
        raise TableError(f"{name}: {error}") from error


def _check_inject(row: Inject, procedure: Procedure, *, again: bool) -> None:
    if again:
        raise TableError("there are two of them.")
    for said in (*row.expects, *((row.on,) if row.on else ())):
        check_response(said, procedure)
    if row.enters:
        procedure.step(row.enters)


def _check_rest(scenario: Scenario, procedure: Procedure) -> None:
    if scenario.site is not None and scenario.card is not None:
        raise TableError("give the site in the file, or the name of a card, not both.")
    for said in (scenario.scenario.ends, scenario.grain.leak_on if scenario.grain else None):
        if said is not None:
            check_response(said, procedure)
    unknown = set(scenario.scoring.stage_min) - {stage.id for stage in procedure.stages}
    if unknown:
        raise TableError(f"scoring: there is no stage '{min(unknown)}'.")


def check_response(said: str, procedure: Procedure) -> None:
    """Whether a word for an answer is known, and the step or emergency that it names.

    Raises:
        TableError: if not.
    """
    word, _space, which = said.partition(" ")
    if word not in RESPONSES or (word in NEEDS_WHICH and not which):
        raise TableError(f"'{said}' is no answer that can be expected. Known: {', '.join(RESPONSES)}.")
    if word == "step":
        procedure.step(which)
    if word in {"emergency", "ended"}:
        procedure.interruption(which)
