"""A drill that was stopped, put together again from its own record: scenario, simulated grain, what was given."""

from collections.abc import Iterable

from assistant.drill.director import Director
from assistant.drill.scenarios import kept_scenario
from assistant.errors import ScenarioError, UsageError
from assistant.incident import Incident
from assistant.journal import Record
from assistant.session import Reaction
from protocol.events import DrillBegun
from protocol.history import fold
from protocol.state import State

NOT_KEPT = "The record does not hold the scenario '{scenario}': an earlier version of the program made it."
NOT_BEGUN = "This drill was stopped before the crew was told of it. Begin it anew: bin-rescue drill NAME."


def director_again(incident: Incident) -> Director | None:
    """The scenario of a drill that goes on, as it stood at the stop; None when the incident has none.

    Args:
        incident: resumed.

    Raises:
        ScenarioError: if there was one and it cannot go on.
    """
    begun = [event for record in incident.history for event in record.events if isinstance(event, DrillBegun)]
    kept, book = incident.scenario, incident.session.book
    if kept is None:
        if begun and begun[0].scenario:
            raise ScenarioError(NOT_KEPT.format(scenario=begun[0].scenario))
        return None
    if not begun:
        raise UsageError(NOT_BEGUN)
    director = Director(kept_scenario(kept, book), book, kept.pace)
    follow(incident.history, director.follow)
    return director


def follow(records: Iterable[Record], *reactions: Reaction) -> None:
    """Tell of each record again, with the state as it was after it."""
    state = State()
    for record in records:
        state = fold(record.events, state)
        for reaction in reactions:
            reaction(record, state)
