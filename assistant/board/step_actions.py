"""Actions on the step that stands: confirm, relay, refuse, read-backs, override, going back."""

from typing import Annotated

from pydantic import Field, StringConstraints

from assistant.board.action import Action, Name, Written, step_of
from assistant.board.step_card import STATION, lacking
from protocol import commands as cmd
from protocol.phrases import AFFIRM_PHRASES, BACK_PHRASE, NEGATIVE_PHRASE
from protocol.scene import Scene
from protocol.wording import fill_number


class Confirm(Action):
    """Confirm the step that is named."""

    step: Name
    answer: Name | None = None
    number: int | None = Field(default=None, ge=1, le=24)

    def words(self, scene: Scene) -> str:
        """The phrase that a voice would have said."""
        step = step_of(scene, self.step)
        if step is None:
            return f"confirm {self.step}"
        if self.answer is not None:
            return next((row.say[0] for row in step.answers if row.value == self.answer), self.answer)
        if not step.say:
            return step.title.lower()
        return fill_number(step.say[0], self.number or 0) if step.repeat else step.say[0]

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """Advance."""
        return cmd.Advance(0, origin, self.step, self.answer, self.number)


class Relay(Confirm):
    """Confirm a step for the crew inside, whose headset failed, with how the officer knows.

    Every precondition and read-back holds as if the crew had said it; the record names the board.
    """

    reason: Written

    def words(self, scene: Scene) -> str:
        """The crew's phrase, and how the officer knows."""
        return f"{super().words(scene)} (for the crew: {self.reason})"

    def role(self, _scene: Scene) -> cmd.Role:
        """For both sides."""
        return cmd.Role.BOTH


class Refuse(Action):
    """The officer says that the step is not done, and why; nothing advances."""

    step: Name
    reason: Written

    def words(self, scene: Scene) -> str:
        """The step and the reason."""
        step = step_of(scene, self.step)
        return f"not done: {step.title if step else self.step}: {self.reason}"

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """A note; the step stands."""
        return cmd.Note(0, origin, origin.heard[:1].upper() + origin.heard[1:])


class OnReadback(Action):
    """An answer to what was read back."""

    asked_ms: int = Field(ge=0)
    """When what the officer saw was read back."""

    def outdated(self, scene: Scene) -> str:
        """Something else, or nothing, waits by now."""
        pending = scene.state.pending
        if pending is not None and pending.asked_ms == self.asked_ms:
            return ""
        return "That read-back is over. Look at the step again."


class Affirm(OnReadback):
    """Yes to what was read back."""

    def spoken(self) -> str:
        """As a voice would say it."""
        return AFFIRM_PHRASES[0]

    def role(self, scene: Scene) -> cmd.Role:
        """Who relayed the crew's step also affirms it; what the crew said itself the crew affirms."""
        pending = scene.state.pending
        relayed = pending is not None and pending.what == "step" and pending.by.startswith(STATION)
        return cmd.Role.BOTH if relayed else cmd.Role.OUTSIDE

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """Affirm."""
        return cmd.Affirm(0, origin)


class Negate(OnReadback):
    """No to what was read back."""

    def spoken(self) -> str:
        """As a voice would say it."""
        return NEGATIVE_PHRASE

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """Negate."""
        return cmd.Negate(0, origin)


class Override(Action):
    """Go on without a precondition; the reason and what was missing are on record."""

    step: Name
    reason: Written
    answer: Name | None = None
    without: tuple[Annotated[str, StringConstraints(max_length=200)], ...] = Field(max_length=20)
    """What the officer's page named as missing."""

    def spoken(self) -> str:
        """The reason as written."""
        return f"override: {self.reason}"

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """Override."""
        without = f"Passed without: {'; '.join(self.without)}" if self.without else "Nothing was missing"
        return cmd.Override(0, origin, self.step, f"{self.reason.rstrip('.')}. {without}.", self.answer)

    def outdated(self, scene: Scene) -> str:
        """Something else is missing by now than the officer has seen."""
        if scene.state.step != self.step or lacking(scene) == self.without:
            return ""
        return "What is missing has changed meanwhile. Look at the step again."


class EndWork(Action):
    """End the work from any step, with a reason; only with the bin empty."""

    reason: Written

    def spoken(self) -> str:
        """The reason as written."""
        return f"end the work: {self.reason}"

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """EndWork."""
        return cmd.EndWork(0, origin, self.reason)


class StepBack(Action):
    """Go back one step."""

    step: Name
    """The step on the officer's page."""

    def spoken(self) -> str:
        """As a voice would say it."""
        return BACK_PHRASE

    def command(self, origin: cmd.Origin) -> cmd.Command:
        """StepBack."""
        return cmd.StepBack(0, origin)

    def outdated(self, scene: Scene) -> str:
        """The step has moved on."""
        return "" if scene.state.step == self.step else "The step has changed meanwhile. Look at it again."
