"""The beginning of a drill: what was done before the crew comes in, then the words that tell them it is a drill."""

from collections.abc import Sequence

from assistant.drill.scenarios import Loaded
from assistant.errors import ScenarioError
from assistant.journal import Record
from assistant.session import Session
from protocol.commands import PROGRAM, BeginDrill, Command, OpenIncident, Origin, Role
from protocol.events import AdvanceRefused, CommandRefused, Event
from protocol.state import DRILL

SCENARIO = Origin("scenario", Role.BOTH, "program")


def prepare(session: Session, loaded: Loaded, at_ms: int = 0) -> None:
    """Open the incident as a drill and say what was prepared; nobody hears it yet.

    Raises:
        ScenarioError: naming the prepared line that means nothing or is refused.
        JournalError: if the record cannot be written.
    """
    session.submit(OpenIncident(at_ms, PROGRAM, DRILL, loaded.book.digest))
    for number, line in enumerate(loaded.scenario.scenario.prepared, start=1):
        step = session.state.step
        origin = Origin(SCENARIO.station, SCENARIO.role, SCENARIO.how, line)
        events = session.say(line, at_ms, origin)
        reason = "means nothing there" if events is None else _refused(events)
        if reason:
            raise ScenarioError(f"{loaded.scenario.id}: prepared line {number}, '{line}', at step '{step}': {reason}.")


def begin(session: Session, loaded: Loaded, at_ms: int) -> None:
    """Tell the crew that this is a drill, and where they stand."""
    row = loaded.scenario.scenario
    targets = loaded.scenario.scoring
    if not (targets.stage_min or targets.grade) and loaded.site is not None:
        targets = loaded.site.scoring
    session.submit(BeginDrill(at_ms, PROGRAM, row.id, row.title, row.briefing, targets.stage_ms, targets.grade))


def dry_run(loaded: Loaded) -> None:
    """Check that what was prepared can be said, keeping no record.

    Raises:
        ScenarioError: naming the prepared line that cannot.
    """
    prepare(Session(loaded.book, _Nowhere()), loaded)


class _Nowhere:
    """Keeps no record: the lines are only tried."""

    def append(self, command: Command, events: Sequence[Event]) -> Record:
        """Give it back."""
        return Record(1, command.at_ms, command, tuple(events))


def _refused(events: Sequence[Event]) -> str:
    refusals = [event.reason for event in events if isinstance(event, AdvanceRefused | CommandRefused)]
    return refusals[0] if refusals else ""
