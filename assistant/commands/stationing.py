"""`station`, `station credentials` and `standby`: an incident that another computer leads."""

import io
import queue
import sys
import threading
from argparse import Namespace
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.app import Built, Wishes, live_station
from assistant.clock import SystemClock, wall_ms_since
from assistant.commands.linking import Place, place_of
from assistant.commands.running import UNFINISHED, lead, show
from assistant.errors import LinkError, UsageError
from assistant.journal import Record
from assistant.keyboard import HELP, read_lines
from assistant.station import Station
from assistant.stations import follower as fl
from assistant.stations import messages as ms
from assistant.stations import standby as sb
from assistant.stations.credentials import make_credentials
from assistant.stations.finding import find_incident
from assistant.stations.follower import Follower
from assistant.stations.link import MqttWire, Will
from assistant.stations.power import battery_percent
from assistant.stations.remote import RemoteStation
from assistant.stations.standby import Phase, Standby
from assistant.story import lines_of
from protocol.commands import Origin, Role
from protocol.delivery import Link
from protocol.scene import Book

if TYPE_CHECKING:
    from assistant.inputs import Input

LOOK_MS = 20
WAIT_MS = 600_000
"""A station or standby waits so long for an incident to be opened."""
LEAD = "/lead"


def station(options: Namespace) -> int:
    """Be one headset of an incident that another computer leads."""
    place = place_of(options, "")
    role = Role(options.role or (place.sort if place.sort in set(Role) else Role.BOTH))
    clock = SystemClock()
    incident = find_incident(place.broker, place.name, clock, options.incident, patience_ms=_patience(options))
    will = Will(ms.topic(incident, "from", place.name, "here"), ms.to_bytes(ms.Here(role, Link.LOST)))
    wire = MqttWire(place.broker, f"{place.name}-{incident}", fl.topics_of(incident, place.name), will)
    wire.open()
    wishes = Wishes(
        role, options.keyboard, options.mute, options.input, options.output, options.model, options.save_audio,
        place.name,
    )  # fmt: skip
    built: list[Built] = []

    def make(book: Book) -> Station:
        built.append(live_station(book, wishes, clock, show))
        for trouble in built[0].troubles:
            show(f"** {trouble.part}: {trouble.detail}")
        return built[0].station

    follower = Follower(wire, incident, place.name, clock)
    outbox = options.outbox or Path("stations") / f"{incident}-{place.name}.jsonl"
    remote = RemoteStation(
        make, follower, role, clock, outbox, show=show, tell=_tell, battery=battery_percent
    )
    show(f"Headset {place.name} ({role.value}) at incident {incident}. Kept here: {outbox}")
    if options.keyboard or sys.stdin.isatty():
        show(HELP)
    try:
        _serve(remote, wire, clock, ends_run=options.keyboard)
    finally:
        remote.close()
        for one in built:
            one.close()
    show(f"Ended: {remote.ended}.")
    return 0 if remote.state.closed else UNFINISHED


def _serve(remote: RemoteStation, wire: MqttWire, clock: SystemClock, *, ends_run: bool) -> None:
    typed: queue.SimpleQueue[Input] = queue.SimpleQueue()
    origin = Origin(remote.follower.name, remote.role, "keyboard")
    read_lines(_typed(), typed.put, origin, lambda: remote.state.step, ends_run=ends_run)
    while not remote.ended:
        while not typed.empty() and remote.ready and not remote.ended:
            remote.put(typed.get_nowait())
        remote.poll()
        if wire.displaced:
            raise LinkError(f"Another device joined as {remote.follower.name}. Give each headset its own name.")
        clock.wait_ms(LOOK_MS)


def _typed() -> Iterable[str]:
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")
    return sys.stdin


def _tell(record: Record, book: Book) -> None:
    for line in lines_of(record, book):
        show(line)


def credentials(options: Namespace) -> int:
    """Make credentials for a broker and its stations."""
    stations = [_station_of(text) for text in options.stations]
    listed = make_credentials(options.folder, options.broker, stations)
    folder = options.folder.resolve()
    print(f"Broker: mosquitto -c {folder / 'broker' / 'mosquitto.conf'}")
    print(f"Give each its own folder and no other: {', '.join(listed) or 'nobody'}. Keep {folder} itself locked away.")
    return 0


def _station_of(text: str) -> tuple[str, str]:
    name, gap, sort = text.partition(":")
    if not gap:
        raise UsageError(f"'{text}': write NAME:inside, outside, both, lead, standby or gone.")
    return name, sort


def standby(options: Namespace) -> int:
    """Keep a copy of an incident's record, and lead it when the officer orders it."""
    place = place_of(options, "standby")
    clock = SystemClock()
    incident = find_incident(place.broker, place.name, clock, options.incident, patience_ms=_patience(options))
    wire = _wire(place, incident)
    copy = Standby(wire, (incident, place.name), clock, options.journal, show)
    show(f"Copying incident {incident} into {options.journal}. To lead, by order of the officer: {LEAD} REASON")
    reason = ""
    try:
        _typed()
        orders = _orders()
        while copy.phase is not Phase.READY:
            reason = _next_order(copy, orders, reason)
            copy.poll()
            if copy.phase is Phase.BEATEN:
                copy.phase = Phase.FOLLOWING
                orders = _orders()
            if copy.closed:
                show(f"Ended: closed. Copy: {options.journal}")
                return 0
            clock.wait_ms(LOOK_MS)
    except _GivenUp:
        return UNFINISHED
    finally:
        copy.close()
    return _take_lead(copy, options, reason)


def _take_lead(copy: Standby, options: Namespace, reason: str) -> int:
    state = copy.state
    incident = copy.incident(SystemClock(max(_time_now(copy), state.at_ms)))
    officer = Origin("officer", Role.OUTSIDE, "keyboard", f"{LEAD} {reason}")
    show(f"{copy.follower.name} leads from record {copy.n} on.")
    order = copy.command(max(incident.clock.now_ms(), state.at_ms), officer, reason)
    return lead(incident, options, options.journal, "", None, order)


def _time_now(copy: Standby) -> int:
    """Incident time: as the old coordinator last told it, or by the wall clock when it never did."""
    if copy.follower.time.known or copy.follower.log is None:
        return copy.follower.time.now_ms()
    show("** The old coordinator's clock was never heard: clocks follow this machine's wall clock.")
    return wall_ms_since(copy.follower.log.header.opened)


class _GivenUp(Exception):  # noqa: N818  no error: the person ended it
    """The person ended the standby."""


def _orders() -> "queue.SimpleQueue[str]":
    """Typed lines up to the first order; whoever leads afterwards reads on."""
    typed: queue.SimpleQueue[str] = queue.SimpleQueue()

    def work() -> None:
        for line in iter(sys.stdin.readline, ""):
            typed.put(line.strip())
            if line.startswith((f"{LEAD} ", "/quit")):
                return

    threading.Thread(target=work, name="keyboard", daemon=True).start()
    return typed


def _next_order(copy: Standby, orders: "queue.SimpleQueue[str]", reason: str) -> str:
    if orders.empty():
        return reason
    line = orders.get_nowait()
    if line == "/quit":
        raise _GivenUp
    word, _, why = line.partition(" ")
    if word != LEAD or not why.strip():
        show(f"Type {LEAD} and the reason, or /quit.")
        return reason
    copy.order()
    return why.strip()


def _wire(place: Place, incident: str) -> MqttWire:
    here = ms.Here(Role.OUTSIDE, Link.LOST, standby=True)
    will = Will(ms.topic(incident, "from", place.name, "here"), ms.to_bytes(here))
    wire = MqttWire(place.broker, f"{place.name}-{incident}", sb.topics_of(incident, place.name), will)
    wire.open()
    return wire


def _patience(options: Namespace) -> int:
    return WAIT_MS if options.wait else 0

