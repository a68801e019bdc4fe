"""What a signed-in officer may ask: checked JSON that becomes a command. No rule lives here.

Every action carries an `id` made by the page, so that a press repeated over a bad connection is one action. Where a
late press could hit something else, what was on the page travels with it and is compared before the command is put.
"""

from typing import Annotated, ClassVar

from pydantic import BaseModel, ConfigDict, StringConstraints

from protocol.commands import AnswerRollCall, CheckPerson, Command, Hold, Origin, Resume, Role
from protocol.procedure import Step
from protocol.scene import Scene

ActionId = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{8,64}$")]
Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{1,40}$")]
Written = Annotated[
    str,
    StringConstraints(
        min_length=3,
        max_length=300,
        strip_whitespace=True,
        pattern=r"^[^\x00-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]+$",
    ),
]
"""A sentence for the record: no control characters and none that turn the direction of writing."""


class Action(BaseModel):
    """What every action can do."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: ActionId

    def spoken(self) -> str:
        """What the record says was pressed, in the words that a voice would have used."""
        raise NotImplementedError

    def words(self, _scene: Scene) -> str:
        """The same where the procedure has the words."""
        return self.spoken()

    def command(self, origin: Origin) -> Command:
        """The command; the loop stamps its time."""
        raise NotImplementedError

    def role(self, _scene: Scene) -> Role:
        """For whom the officer speaks."""
        return Role.OUTSIDE

    def outdated(self, _scene: Scene) -> str:
        """Why the page that this was pressed on is out of date for it; empty when it is not."""
        return ""


class PlainAction(Action):
    """An action that needs nothing but itself."""

    phrase: ClassVar[str]
    makes: ClassVar[type[AnswerRollCall | CheckPerson | Hold | Resume]]

    def spoken(self) -> str:
        """As a voice would say it."""
        return self.phrase

    def command(self, origin: Origin) -> Command:
        """The command of its kind."""
        return type(self).makes(0, origin)


def step_of(scene: Scene, step_id: str) -> Step | None:
    """The row with that id, if there is one."""
    return next((row for row in scene.book.procedure.steps if row.id == step_id), None)
