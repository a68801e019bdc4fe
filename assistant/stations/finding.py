"""Which incidents are open at a broker, and the name of one's own."""

from collections.abc import Sequence
from contextlib import suppress

from assistant.clock import Clock
from assistant.errors import LinkError
from assistant.stations import messages as ms
from assistant.stations.link import Broker, MqttWire
from assistant.stations.replica import chain_of

LOOK_MS = 2_000
NAME_LETTERS = 12


def incident_name(header_line: bytes) -> str:
    """An incident's name on the broker, from the first line of its record: the same after every restart."""
    return chain_of(header_line)[:NAME_LETTERS]


def find_incident(broker: Broker, name: str, clock: Clock, wanted: str | None, *, patience_ms: int = 0) -> str:
    """The one open incident at a broker, or the one that is wanted.

    Args:
        broker: where to look.
        name: of whoever looks.
        clock: this machine's.
        wanted: an incident's name; None when there is only one.
        patience_ms: how long to wait for one to be opened.

    Raises:
        LinkError: if the broker cannot be reached, or none or several are open.
    """
    if wanted:
        return wanted
    wire = MqttWire(broker, f"{name}-looking", [ms.topic("+", "all", "lead")])
    wire.open()
    found: dict[str, ms.Lead] = {}
    began_ms = clock.now_ms()
    try:
        while clock.now_ms() - began_ms < (LOOK_MS if found else max(LOOK_MS, patience_ms)):
            clock.wait_ms(100)
            for came in wire.take():
                with suppress(LinkError):  # somebody's nonsense is no incident
                    found[came.topic.split("/")[1]] = ms.from_bytes(ms.Lead, came.payload)
    finally:
        wire.close()
    return _only([incident for incident, lead in found.items() if not lead.closed], broker)


def _only(names: Sequence[str], broker: Broker) -> str:
    if not names:
        raise LinkError(f"No incident is open at {broker.url}. Begin one with: bin-rescue run --broker {broker.url}")
    if len(names) > 1:
        raise LinkError(f"Several incidents are open: {', '.join(sorted(names))}. Name one with --incident.")
    return names[0]
