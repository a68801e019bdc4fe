"""What `run`, `resume`, `station` and `standby` share: brokers, names, headsets of this machine, the relay."""

from argparse import Namespace
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace

from assistant.app import Built, Wishes, live_station
from assistant.clock import Clock
from assistant.errors import LinkError, UsageError
from assistant.incident import Incident
from assistant.inputs import Part
from assistant.journal import whole_lines
from assistant.live import Loop, Post
from assistant.stations import relay as rl
from assistant.stations.credentials import read_credentials
from assistant.stations.finding import incident_name
from assistant.stations.link import Broker, MqttWire, broker_at
from assistant.stations.messages import checked_name
from assistant.stations.numbered import Numbered
from assistant.stations.power import battery_percent
from assistant.stations.relay import Relay
from protocol.commands import Role
from protocol.scene import Book


@dataclass(frozen=True, slots=True)
class Place:
    """Where one stands on the network."""

    broker: Broker
    name: str
    roles: Mapping[str, Role] | None
    """Which headsets there are; None where nobody says (loopback without credentials)."""
    sort: str = ""
    """What the credentials are for."""


def place_of(options: Namespace, default: str) -> Place:
    """Broker, name and roles from the options and the credentials.

    Raises:
        UsageError: if no broker is named.
        LinkError: if the broker or the credentials cannot be used.
    """
    own = read_credentials(options.credentials) if options.credentials else None
    url = options.broker or (own.url if own else "")
    if not url:
        raise UsageError("Name the broker: --broker mqtt://127.0.0.1, or --credentials FOLDER.")
    name = checked_name(options.name or (own.name if own else default))
    if own and own.name != name:
        raise LinkError(f"These credentials are of {own.name}, not of {name}. Leave --name out.")
    return Place(broker_at(url, own.keys if own else None), name, own.roles if own else None, own.sort if own else "")


def wishes_of(options: Namespace) -> list[Wishes]:
    """The headsets of this machine: those named with --headset, or the one of the other options.

    Raises:
        UsageError: if a headset is named wrongly or two have one name.
    """
    plain = Wishes(
        Role(options.role), options.keyboard, options.mute, options.input, options.output, options.model,
        options.save_audio,
    )  # fmt: skip
    named = [_headset(text, plain) for text in getattr(options, "headset", None) or ()]
    if len({one.name for one in named}) < len(named):
        raise UsageError("Two headsets have the same name. Give each its own.")
    return named or [plain]


def _headset(text: str, plain: Wishes) -> Wishes:
    name, _, rest = text.partition(":")
    role, _, rest = rest.partition(":")
    ear, _, mouth = rest.partition("|")
    if role not in set(Role):
        raise UsageError(f"--headset '{text}': write NAME:inside, outside or both, then :MICROPHONE|SPEAKER if needed.")
    audio = plain.save_audio
    mine = audio.with_name(f"{audio.stem}-{name}{audio.suffix}") if audio else None
    made = replace(plain, name=checked_name(name), role=Role(role), save_audio=mine)
    return replace(made, input=ear or plain.input, output=mouth or ear or plain.output)


def open_headsets(
    book: Book, wishes: Sequence[Wishes], clock: Clock, show: Callable[[str], None], last: ExitStack
) -> list[Built]:
    """The headsets of this machine; they share one model and one store of sentences, and are closed with `last`."""
    built: list[Built] = []
    for wish in wishes:
        made = live_station(book, wish, clock, show, built[0] if built else None)
        last.callback(made.close)
        built.append(made)
    return built


def warn_all(built: Sequence[Built], text: str) -> None:
    """Say at every headset what cannot be on record."""
    for one in built:
        one.station.warn(text)


def posts_of(incident: Incident, built: Sequence[Built], *, shared: bool) -> list[Post]:
    """Headsets as the loop sees them: numbered where several share the incident."""
    if not shared and len(built) == 1:
        return [built[0].station]
    return [Numbered(one.station, incident.session, battery_percent) for one in built]


def open_relay(
    incident: Incident, options: Namespace, loop: Loop, troubles: list[Part], show: Callable[[str], None]
) -> Relay | None:
    """The line to the stations, if one is wanted; a broker that is not there yet is a trouble, never a stop.

    Raises:
        UsageError: if no broker is named beside --credentials.
        LinkError: if broker or credentials cannot be used at all.
    """
    if not is_shared(options):
        return None
    place = place_of(options, "command")
    lines = whole_lines(incident.journal.path)
    name = incident_name(lines[0])
    client, topics = f"{place.name}-{name}", rl.topics_of(name, place.name)
    wire = MqttWire(place.broker, client, topics)
    try:
        wire.open()
    except LinkError as error:
        troubles.append(Part(rl.BROKER, works=False, detail=str(error)))
        wire = MqttWire(place.broker, client, topics)
        wire.open_later()
    own = [wish.name for wish in wishes_of(options)]
    relay = Relay(
        incident, wire, (name, place.name), lines, put=loop.put, show=show, roles=place.roles, own=own
    )
    loop.add(relay)
    show(f"Stations join with: bin-rescue station --broker {place.broker.url}   (incident {name})")
    return relay


def check_place(options: Namespace) -> None:
    """Refuse a broker or credentials that cannot be used, before a record is begun.

    Raises:
        LinkError: with the reason.
    """
    if is_shared(options):
        place_of(options, "command")


def is_shared(options: Namespace) -> bool:
    """Whether stations join over a broker."""
    return bool(getattr(options, "broker", None) or getattr(options, "credentials", None))
