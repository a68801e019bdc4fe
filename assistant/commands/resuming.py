"""`resume`: an incident, or a drill with its scenario, after a stop."""

import json
from argparse import Namespace

from assistant.commands.drilling import go_on
from assistant.commands.linking import check_place, is_shared
from assistant.commands.running import lead, show
from assistant.drill.director import Director
from assistant.drill.going_on import director_again
from assistant.errors import ScenarioError, UsageError
from assistant.incident import Incident, resume_incident
from assistant.library import bin_on_card, load_site
from assistant.story import clock_text

PLAIN = "The drill goes on without it: no more surprises come, no grain is simulated."
SEVERAL = "With several headsets or a broker the scenario is left out."


def resume(options: Namespace) -> int:
    """Go on with an incident, or only say where it stands."""
    check_place(options)
    drawn = bin_on_card(load_site(options.site), options.bin)
    incident = resume_incident(options.journal)
    session = incident.session
    if options.show:
        print(json.dumps(standing(incident)))
        incident.journal.close()
        return 0
    step = session.book.procedure.step(session.state.step).title if session.state.step else "the beginning"
    show(f"Resumed at {step}, {clock_text(incident.clock.now_ms())} since the first call. {incident.note}".strip())
    director = _director(incident, several=is_shared(options) or bool(options.headset))
    if director is not None:
        show(f"The scenario goes on: {told(director)}.")
        return go_on(options, incident, director, drawn)
    return lead(incident, options, options.journal, "" if session.state.opened else "live", drawn)


def _director(incident: Incident, *, several: bool) -> Director | None:
    """The scenario of a drill, or None; why one cannot go on is told, and the drill goes on without it."""
    try:
        director = director_again(incident)
    except ScenarioError as error:
        show(f"{error} {PLAIN}")
        return None
    except UsageError:
        incident.journal.close()
        raise
    if director is not None and several:
        show(f"{SEVERAL} {PLAIN}")
        return None
    return director


def told(director: Director) -> str:
    """What has happened of a scenario and what is to come, in words."""
    every = len(director.injects)
    given = sum(name in director.told for name in director.injects)
    if not given:
        return f"{every} of its surprises are to come" if every else "it has no surprises"
    return f"{given} of its {every} surprises {'was' if given == 1 else 'were'} given, and will not be given again"


def standing(incident: Incident) -> dict[str, object]:
    """Where an incident stands, for scripts and tests."""
    state = incident.session.state
    now_ms = incident.clock.now_ms()
    return {
        "step": state.step,
        "closed": state.closed,
        "steps_confirmed": state.steps_confirmed,
        "canisters": len(state.canisters_ms),
        "inside": [rescuer.slot for rescuer in state.inside],
        "clock_ms": now_ms,
        "last_ms": state.at_ms,
        "timers": {f"{timer.timer}:{timer.key}": timer.due_ms for timer in state.timers},
        "note": incident.note,
    }
