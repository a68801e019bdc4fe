"""A rescue procedure as data: the rows of a TOML file, checked one by one.

The text is parsed here, the file is read elsewhere. `protocol.machine` turns the rows into a state machine and
checks them as a whole.
"""

import tomllib
from collections.abc import Callable, Iterator
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from protocol.errors import TableError

Identifier = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{1,40}$")]
Sentence = Annotated[str, StringConstraints(min_length=2, max_length=240, strip_whitespace=True)]
SpokenPhrase = Annotated[str, StringConstraints(pattern=r"^[a-z]+( [a-z]+| \{n\})+$", max_length=60)]
Confirmer = Literal["inside", "outside", "either"]

MAX_PROCEDURE_CHARS = 400_000
"""A procedure longer than this is refused: the shipped ones are under a tenth of it."""
BAD_AIR = "bad_air"
"""The emergency that a bad reading raises: every procedure has it."""
RETURN = "@return"
"""Destination of a step that ends an interruption: back to the step that was interrupted."""


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Heading(_Row):
    """What the whole file is."""

    id: Identifier
    title: Sentence
    version: int = Field(ge=1)
    caution: Sentence
    """Shown first and spoken first in a live run."""
    includes: tuple[Identifier, ...] = ()
    """Other procedures whose stages and steps belong to this one (branches, emergencies)."""


class Stage(_Row):
    """A headed part of the procedure."""

    id: Identifier
    title: Sentence
    inside_bin: bool = False
    """People are in the bin: no step advances on bad, stale or unread air."""
    emergency: bool = False
    """Steps that answer an interruption; leaving them ends it."""
    counts: bool = False
    """Canisters are counted and grain levels are called."""


class Answer(_Row):
    """One answer to a question, and where it leads."""

    say: tuple[SpokenPhrase, ...] = Field(min_length=1)
    value: Identifier
    to: str | None = None
    """Next step when it is not the step's own next; the row's `needs` hold for it too."""
    direction: Sentence | None = None
    """Spoken after this answer: what has to be done about it, and whose word comes first."""


class Detour(_Row):
    """Where a step leads instead of to its next while a fact has one of these values."""

    fact: Identifier
    values: tuple[Identifier, ...] = Field(min_length=1)
    to: Identifier


class Step(_Row):
    """One step or gate."""

    id: Identifier
    stage: Identifier
    title: Annotated[str, StringConstraints(min_length=2, max_length=48)]
    """Short label for the board."""
    inside: Sentence | None = None
    """What the rescuers inside hear."""
    outside: Sentence | None = None
    """What the safety officer outside hears."""
    confirmed_by: Confirmer
    say: tuple[SpokenPhrase, ...] = ()
    """Phrases that confirm the step; with `repeat` they hold {n}."""
    fact: Identifier | None = None
    """Name of the fact that the answers give."""
    answers: tuple[Answer, ...] = ()
    repeat: Literal["panels"] | None = None
    """Name of the house setting that says how often the step is confirmed."""
    ordered: bool = True
    """Repeats are confirmed one, two, three; otherwise in any order."""
    critical: bool = False
    """Read back, and waits for "affirmative"."""
    needs: tuple[Identifier, ...] = ()
    """Guards that must hold before the step may be confirmed."""
    sets: tuple[tuple[Identifier, Identifier], ...] = ()
    """Facts that are true once the step is confirmed."""
    place: Literal["hatch", "person"] | None = None
    """Where air readings are taken while this step stands."""
    leaving: bool = False
    """The step leads people out: it is not blocked by the air."""
    caution: Sentence | None = None
    source: Sentence
    """Published source, or "common practice, no source"."""
    next: str | None = None
    """Next step when it is not the row below; "@return" ends an interruption."""
    detours: tuple[Detour, ...] = ()
    """In order; for answers only where they have no `to` of their own."""
    begins_again: Identifier | None = None
    """With this answer the work begins again for the next person: what was known of the last one is forgotten."""
    final: bool = False
    """Nothing follows: the incident is closed."""


class Interruption(_Row):
    """An emergency that may be raised in any step, and the step that answers it."""

    id: Identifier
    title: Sentence
    say: tuple[SpokenPhrase, ...] = Field(min_length=1)
    first: Sentence
    """Spoken at once to everyone, before anything else."""
    to: Identifier
    """First step of its own short procedure."""
    evacuates: bool = False
    """The order is to leave the bin."""
    source: Sentence


class ProcedureText(_Row):
    """The rows of one file."""

    procedure: Heading
    stage: tuple[Stage, ...] = Field(min_length=1)
    step: tuple[Step, ...] = Field(min_length=1)
    interruption: tuple[Interruption, ...] = ()


class Procedure(_Row):
    """A procedure with all that it includes."""

    heading: Heading
    stages: tuple[Stage, ...]
    steps: tuple[Step, ...]
    interruptions: tuple[Interruption, ...]
    main: int
    """How many of the steps are the main file's own."""

    def step(self, step_id: str) -> Step:
        """The row with that id.

        Raises:
            TableError: if there is none.
        """
        for step in self.steps:
            if step.id == step_id:
                return step
        raise TableError(f"The procedure '{self.heading.id}' has no step '{step_id}'.")

    def stage_of(self, step: Step) -> Stage:
        """The stage a step belongs to."""
        return next(stage for stage in self.stages if stage.id == step.stage)

    def interruption(self, kind: str) -> Interruption:
        """The interruption with that id.

        Raises:
            TableError: if there is none.
        """
        for row in self.interruptions:
            if row.id == kind:
                return row
        raise TableError(f"The procedure '{self.heading.id}' has no emergency '{kind}'.")


def by_way_of(step: Step, dest: str, fact: Callable[[str], str]) -> str:
    """Where a step really leads when its row says `dest`.

    Args:
        step: the step that is left.
        dest: from the table.
        fact: what is known about a name.
    """
    if dest != step.next:
        return dest
    return next((row.to for row in step.detours if fact(row.fact) in row.values), dest)


def read_procedure_text(text: str, name: str) -> ProcedureText:
    """Parse and check the rows of one file.

    Args:
        text: the TOML text.
        name: how the file is called in the message.

    Raises:
        TableError: with file, line and reason.
    """
    if len(text) > MAX_PROCEDURE_CHARS:
        raise TableError(f"{name}: longer than {MAX_PROCEDURE_CHARS} characters; a procedure is not that long.")
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise TableError(f"{name}: not valid TOML: {error}.") from error
    try:
        return ProcedureText.model_validate(raw)
    except ValidationError as error:
        raise TableError(_first_reason(error, text, name)) from error


def merge(main: ProcedureText, included: tuple[ProcedureText, ...]) -> Procedure:
    """Put a procedure and its branches together; each branch keeps its own order of rows.

    The last row of a branch falls through to nothing: it names its next, or is final.
    """
    steps = list(with_next(main))
    for branch in included:
        steps.extend(with_next(branch))
    every = (main, *included)
    return Procedure(
        heading=main.procedure,
        stages=tuple(stage for text in every for stage in text.stage),
        steps=tuple(steps),
        interruptions=tuple(row for text in every for row in text.interruption),
        main=len(main.step),
    )


def with_next(text: ProcedureText) -> Iterator[Step]:
    """The steps of one file, each with its next written out."""
    following = [step.id for step in text.step[1:]]
    for index, step in enumerate(text.step):
        if step.next or step.final or index >= len(following):
            yield step
        else:
            yield step.model_copy(update={"next": following[index]})


def line_of(text: str, table: str, index: int, key: str | None = None) -> int:
    """The line (from 1) where the `index`-th [[table]] stands, or of its `key` if that is written there."""
    seen = -1
    start = 1
    for number, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if stripped.startswith("["):
            if seen == index:
                return start
            if stripped == f"[[{table}]]":
                seen += 1
                start = number
        elif seen == index and key and stripped.split("=")[0].strip() == key:
            return number
    return start


def _first_reason(error: ValidationError, text: str, name: str) -> str:
    first = error.errors()[0]
    place = [str(part) for part in first["loc"]]
    line = 1
    if len(place) >= 2 and place[1].isdigit():
        line = line_of(text, place[0], int(place[1]), place[2] if len(place) > 2 else None)
    more = f" ({error.error_count() - 1} more below)" if error.error_count() > 1 else ""
    return f"{name}, line {line}: {'.'.join(place)}: {first['msg']}{more}."
