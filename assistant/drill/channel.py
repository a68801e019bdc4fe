"""The trainer's channel: commands typed at the terminal. The crew hears nothing of it but what it brings about."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from types import MappingProxyType

from assistant.drill.director import Director, given
from assistant.inputs import Input, Order
from protocol.commands import Command, EndDrill, GiveInject, Origin, PauseDrill, RewindDrill, Role, TrainerNote
from protocol.rules.drills import moment_of
from protocol.scene import Book
from protocol.state import State

TRAINER = Origin("trainer", Role.BOTH, "keyboard")
HELP = (
    "Trainer, unheard by the crew: /pause, /continue, /steps, /rewind STEP, /injects, /inject ID, /tell TEXT (lets "
    "something happen), /trainer TEXT (note for the debrief), /facts (so far), /finish WHY, /help."
)


class Channel:
    """Takes the trainer's lines out of what is typed."""

    def __init__(
        self,
        director: Director,
        book: Book,
        state: Callable[[], State],
        facts: Callable[[], Iterable[str]],
        show: Callable[[str], None],
    ) -> None:
        """Make it ready.

        Args:
            director: the scenario under way.
            book: the procedure, for the names of steps.
            state: gives the incident as it stands.
            facts: gives the score so far as lines.
            show: tells the trainer.
        """
        self._director = director
        self._book = book
        self._state = state
        self._facts = facts
        self._show = show

    def crew_lines(self, typed: Iterable[str], put: Callable[[Input], None]) -> Iterator[str]:
        """What is typed for the crew; the trainer's lines are worked on here.

        Args:
            typed: standard input, usually.
            put: the queue's put.
        """
        for line in typed:
            word, _space, rest = line.strip().partition(" ")
            work = _WORK.get(word)
            if work is None:
                yield line
                continue
            command = work(self, rest.strip())
            if command is not None:
                put(Order(command))

    def pause(self, _rest: str) -> Command | None:
        """Stand still; when it does already, nothing happens."""
        return PauseDrill(0, TRAINER, paused=True)

    def go_on(self, _rest: str) -> Command | None:
        """Go on; when it does already, nothing happens."""
        return PauseDrill(0, TRAINER, paused=False)

    def steps(self, _rest: str) -> Command | None:
        """Show where the drill has been."""
        procedure = self._book.procedure
        moments = self._state().moments[self._director.prepared :]
        steps = dict.fromkeys(moment.step for moment in moments)
        self._show("\n".join(f"  {step:18s} {procedure.step(step).title}" for step in steps))
        return None

    def rewind(self, rest: str) -> Command | None:
        """Put the drill back."""
        if moment_of(self._state(), rest) is None:
            self._show(f"The drill has not been at a step called '{rest}'. Type /steps to see where it has been.")
            return None
        return RewindDrill(0, TRAINER, rest)

    def injects(self, _rest: str) -> Command | None:
        """Show what may happen."""
        for name, row in self._director.injects.items():
            self._show(f"  {name:18s} {'given' if name in self._director.given else 'to come'}: {row.say}")
        if not self._director.injects:
            self._show("This scenario has no injects. Type /tell TEXT.")
        return None

    def inject(self, rest: str) -> Command | None:
        """Let one happen now."""
        row = self._director.injects.get(rest)
        if row is None:
            self._show(f"This scenario has no inject '{rest}'. Type /injects to see them.")
            return None
        return given(row, 0)

    def tell(self, rest: str) -> Command | None:
        """Let something else happen."""
        if not rest:
            self._show("Type what happens after /tell.")
            return None
        return GiveInject(0, TRAINER, "trainer", "both", rest)

    def note(self, rest: str) -> Command | None:
        """Keep words for the debrief."""
        if not rest:
            self._show("Type the note after /trainer.")
            return None
        self._show("Noted for the debrief.")
        return TrainerNote(0, TRAINER, rest)

    def show_facts(self, _rest: str) -> Command | None:
        """The score so far."""
        self._show("\n".join(self._facts()))
        return None

    def finish(self, rest: str) -> Command | None:
        """End the drill here."""
        return EndDrill(0, TRAINER, rest or "the trainer ends it")

    def help(self, _rest: str) -> Command | None:
        """What can be typed."""
        self._show(HELP)
        return None


_WORK: Mapping[str, Callable[[Channel, str], Command | None]] = MappingProxyType({
    "/pause": Channel.pause,
    "/continue": Channel.go_on,
    "/steps": Channel.steps,
    "/rewind": Channel.rewind,
    "/injects": Channel.injects,
    "/inject": Channel.inject,
    "/tell": Channel.tell,
    "/trainer": Channel.note,
    "/facts": Channel.show_facts,
    "/finish": Channel.finish,
    "/help": Channel.help,
})
"""Every word of the trainer's channel."""
