"""One turn: events are collected and applied as they are decided, so that each rule sees what came before it."""

from protocol import events as ev
from protocol.commands import Role
from protocol.history import apply
from protocol.procedure import Step
from protocol.scene import Book, Scene
from protocol.state import State
from protocol.timers import running, timer_row
from protocol.told import Told
from protocol.wording import estimates_in, how_to_confirm, prompt

SIDES = ("inside", "outside")


class Turn:
    """Events of one command, with the state as it stands after each."""

    def __init__(self, book: Book, state: State, at_ms: int) -> None:
        self._book = book
        self._state = state
        self._at_ms = at_ms
        self._events: list[ev.Event] = []

    @property
    def scene(self) -> Scene:
        """The moment, with all events so far applied."""
        return Scene(self._book, self._state, self._at_ms)

    @property
    def state(self) -> State:
        """The state with all events so far applied."""
        return self._state

    @property
    def at_ms(self) -> int:
        """The time of the command."""
        return self._at_ms

    @property
    def events(self) -> tuple[ev.Event, ...]:
        """What happened, in order."""
        return tuple(self._events)

    def emit(self, event: ev.Event) -> None:
        """Record an event and apply it."""
        self._events.append(event)
        self._state = apply(self._state, event)

    def say(
        self, to: str, urgency: ev.Urgency, text: str, about: str, station: str = "", estimates: tuple[str, ...] = ()
    ) -> None:
        """Say a sentence to one side or both, or to one station of it, with the estimates that it speaks."""
        if text:
            self.emit(ev.Said(self._at_ms, to, urgency, text, about, station, estimates))

    def answer(self, text: str, about: str, to: str = "both", station: str = "") -> None:
        """Answer whoever asked or confirmed."""
        self.say(to, ev.Urgency.ANSWER, text, about, station)

    def tell(self, told: Told, about: str, to: str = "both", station: str = "") -> None:
        """Answer with a sentence whose estimates can be asked for afterwards."""
        self.say(to, ev.Urgency.ANSWER, told.text, about, station, told.estimates)

    def prompt(self, step: Step, lead: str = "", lead_to: Role = Role.BOTH) -> None:
        """Say a step's prompt to the sides that it addresses, after what was just confirmed.

        Args:
            step: whose prompt.
            lead: the acknowledgement; a side without a prompt hears it alone if it confirmed.
            lead_to: the role that confirmed.
        """
        texts = {side: prompt(self.scene, step, side) for side in SIDES}
        addressed = {side: text for side, text in texts.items() if text}
        if texts["inside"] and texts["inside"] == texts["outside"]:
            addressed = {"both": texts["inside"]}
        elif not addressed or (lead_to is not Role.BOTH and lead_to.value not in addressed):
            self.answer(lead, step.id, lead_to.value)
        for side, text in addressed.items():
            if lead_to is not Role.BOTH or side == next(iter(addressed)):
                self.say(side, ev.Urgency.PROMPT, lead, step.id)
            self.say(side, ev.Urgency.PROMPT, text, step.id, estimates=estimates_in(self.scene, step))

    def prompt_repeat(self, step: Step, lead: str) -> None:
        """Between the repeats of a step: what was confirmed, and the words for the next."""
        side = "both" if step.confirmed_by == "either" else step.confirmed_by
        self.say(side, ev.Urgency.PROMPT, lead, step.id)
        self.say(side, ev.Urgency.PROMPT, how_to_confirm(self.scene, step), step.id)

    def start_timer(self, timer: str, key: str = "") -> None:
        """Start or restart a clock."""
        interval = timer_row(timer).interval_ms(self._book.house)
        self.emit(ev.TimerStarted(self._at_ms, timer, key, self._at_ms + interval))

    def stop_timer(self, timer: str, key: str = "") -> None:
        """Stop a clock if it runs."""
        if running(self._state, timer, key):
            self.emit(ev.TimerStopped(self._at_ms, timer, key))

    def drop_readback(self, why: str) -> None:
        """Forget what waits for "affirmative", if anything does."""
        if self._state.pending:
            self.emit(ev.ReadbackDropped(self._at_ms, why))
            self.stop_timer("readback")

    def enter(self, step_id: str, lead: str = "", lead_to: Role = Role.BOTH, repeats: tuple[int, ...] = ()) -> None:
        """Make a step the current one, with what was done of it before an interruption, and say its prompt."""
        self.emit(ev.StepEntered(self._at_ms, step_id, repeats))
        self.start_timer("quiet")
        step = self._book.procedure.step(step_id)
        self.prompt(step, lead, lead_to)
        if step.final:
            self.emit(ev.IncidentClosed(self._at_ms))
