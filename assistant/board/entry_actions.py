"""Actions that enter something or concern the whole incident: readings, counts, levels, people, hold, emergencies."""

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from assistant.board.action import Action, Name, PlainAction, Written
from protocol import commands as cmd
from protocol.air import Gas
from protocol.lines import written
from protocol.names import MAX_TENDERS, LineTag, PersonName
from protocol.numbers import count_words
from protocol.phrases import (
    CANISTER_PHRASE,
    CORRECTION_PHRASE,
    DISREGARD_PHRASE,
    HOLD_PHRASE,
    PERSON_PHRASE,
    RESUME_PHRASE,
    ROLL_CALL_PHRASE,
    level_phrase,
    rescuer_phrase,
)
from protocol.scene import Scene

MeterValue = Annotated[str, StringConstraints(pattern=r"^[0-9]{1,6}(\.[0-9]{1,3})?$")]


class Air(Action):
    """A meter reading."""

    gas: Gas
    value: MeterValue
    place: Literal["hatch", "person"]

    def spoken(self) -> str:
        """The reading in figures."""
        return f"{self.gas.spoken} {self.value} at the {self.place}"

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """ReportAir."""
        return cmd.ReportAir(0, origin, self.gas, Decimal(self.value), self.place)


class Canister(Action):
    """One more canister is out."""

    number: int = Field(ge=1, le=100_000)
    """Which one it is by the officer's page."""

    def spoken(self) -> str:
        """As a voice would say it."""
        return CANISTER_PHRASE

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """CountCanister."""
        return cmd.CountCanister(0, origin)

    def outdated(self, scene: Scene) -> str:
        """It was counted by somebody else."""
        counted = len(scene.state.canisters_ms)
        return "" if counted + 1 == self.number else f"The count is {counted} by now. Is that canister among them?"


class Level(Action):
    """A grain level."""

    mark: Literal["feet", "knees", "hips", "waist", "ribs", "chest", "shoulders", "chin"]

    def spoken(self) -> str:
        """As a voice would say it."""
        return level_phrase(self.mark)

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """CallLevel."""
        return cmd.CallLevel(0, origin, self.mark)


class Corner(Action):
    """A corner taped from the rim of the ring down to the grain, in inches or, in a metric department, centimetres."""

    corner: int = Field(ge=1, le=24)
    down: MeterValue

    def spoken(self) -> str:
        """Corner and figure."""
        return f"corner {count_words(self.corner)} {self.down}"

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """TapeCorner."""
        return cmd.TapeCorner(0, origin, self.corner, Decimal(self.down))


class Outside(Action):
    """How much higher the grain stands outside a panel, in inches or centimetres."""

    panel: int = Field(ge=1, le=24)
    higher: MeterValue

    def spoken(self) -> str:
        """Panel and figure."""
        return f"outside panel {count_words(self.panel)} {self.higher}"

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """CallOutside."""
        return cmd.CallOutside(0, origin, self.panel, Decimal(self.higher))


class Move(Action):
    """A rescuer goes in, on a line with tenders if they are known, or comes out."""

    slot: int = Field(ge=1, le=9)
    inside: bool
    line: LineTag = ""
    tenders: tuple[PersonName, ...] = Field(default=(), max_length=MAX_TENDERS)

    def spoken(self) -> str:
        """As a voice would say it."""
        return rescuer_phrase(self.slot, self.inside)

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """MoveRescuer."""
        return cmd.MoveRescuer(0, origin, self.slot, self.inside, self.line, self.tenders)


class Line(Action):
    """On which line a rescuer inside is, and who holds it."""

    slot: int = Field(ge=1, le=9)
    line: LineTag
    tenders: tuple[PersonName, ...] = Field(max_length=MAX_TENDERS)

    def spoken(self) -> str:
        """Rescuer, line, names."""
        return f"rescuer {count_words(self.slot)}: {written(self.line, self.tenders) or 'line not known'}"

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """RecordLine."""
        return cmd.RecordLine(0, origin, self.slot, self.line, self.tenders)

    def outdated(self, scene: Scene) -> str:
        """That rescuer came out meanwhile."""
        inside = {one.slot for one in scene.state.inside}
        return "" if self.slot in inside else f"Rescuer {count_words(self.slot)} is not inside any more."


class RollCall(PlainAction):
    """Everyone inside is accounted for."""

    phrase = ROLL_CALL_PHRASE
    makes = cmd.AnswerRollCall


class Person(PlainAction):
    """The person answered."""

    phrase = PERSON_PHRASE
    makes = cmd.CheckPerson


class Hold(PlainAction):
    """All work stands still."""

    phrase = HOLD_PHRASE
    makes = cmd.Hold


class Resume(PlainAction):
    """Work goes on."""

    phrase = RESUME_PHRASE
    makes = cmd.Resume


class SayAgain(PlainAction):
    """Speak the step again to both sides."""

    phrase = "say again"

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """Ask."""
        return cmd.Ask(0, origin, cmd.Query.SAY_AGAIN)


class Raise(Action):
    """An emergency."""

    kind: Name

    def spoken(self) -> str:
        """Its name."""
        return self.kind.replace("_", " ")

    def words(self, scene: Scene) -> str:
        """As a voice would say it."""
        rows = scene.book.procedure.interruptions
        return next((row.say[0] for row in rows if row.id == self.kind), self.spoken())

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """RaiseEmergency."""
        return cmd.RaiseEmergency(0, origin, self.kind)


class Withdraw(Action):
    """The emergency on the officer's page was a mistake."""

    kind: Name

    def spoken(self) -> str:
        """As a voice would say it."""
        return DISREGARD_PHRASE

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """WithdrawEmergency."""
        return cmd.WithdrawEmergency(0, origin)

    def outdated(self, scene: Scene) -> str:
        """Another emergency is the newest by now, or none is open."""
        open_now = scene.state.emergencies
        return "" if open_now and open_now[-1].kind == self.kind else "That emergency is not the newest any more."


class Correct(Action):
    """Take the last entry back; the record keeps it."""

    entries: int = Field(ge=0)
    """How many entries stood on the officer's page."""

    def spoken(self) -> str:
        """As a voice would say it."""
        return CORRECTION_PHRASE

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """Correct."""
        return cmd.Correct(0, origin)

    def outdated(self, scene: Scene) -> str:
        """An entry was added or taken back, or something waits to be affirmed and would be dropped instead."""
        if scene.state.pending is not None:
            return "Something was read back and waits. Answer that first."
        if len(scene.state.entries) == self.entries:
            return ""
        return "Another entry was made or taken back meanwhile. Look at the last entry again."


class Note(Action):
    """Words for the record."""

    text: Written

    def spoken(self) -> str:
        """As written."""
        return f"note: {self.text}"

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """Note."""
        return cmd.Note(0, origin, self.text)
