"""An incident with a coordinator and stations on one virtual clock, over whatever broker a test gives."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from assistant.clock import ManualClock
from assistant.incident import Incident, begin, open_incident
from assistant.inputs import Input, Stop, Words
from assistant.journal import whole_lines
from assistant.library import source_for
from assistant.live import Loop
from assistant.speaking.player import NullPlayer
from assistant.station import Place, Station
from assistant.stations import follower as fl
from assistant.stations import messages as ms
from assistant.stations import relay as rl
from assistant.stations import standby as sb
from assistant.stations.follower import Follower
from assistant.stations.link import Will, Wire
from assistant.stations.relay import Relay
from assistant.stations.remote import RemoteStation
from assistant.stations.standby import Phase, Standby
from protocol.commands import Origin, Role
from protocol.delivery import Link
from protocol.scene import Book, Scene

INCIDENT = "farm"
STEP_MS = 100
Dial = Callable[[list[str], Will | None, str], Wire]
"""Gives a wire for topics, a last will and a name."""


class HeardPlayer(NullPlayer):
    """A voice that keeps what it was given to say."""

    def __init__(self, station: str, clock: ManualClock) -> None:
        super().__init__(station, clock)
        self.said: list[str] = []

    def say(self, *utterances: object) -> None:
        """Keep the texts."""
        self.said.extend(utterance.text for utterance in utterances)  # type: ignore[attr-defined]
        super().say(*utterances)  # type: ignore[arg-type]


@dataclass
class Coordinator:
    """A loop that is turned by hand."""

    incident: Incident
    loop: Loop
    relay: Relay
    shown: list[str]
    stopped: str = ""

    def turn(self) -> None:
        """One look at everything, as `Loop.run` does it."""
        if self.stopped:
            return
        while not self.loop._inputs.empty():
            item = self.loop._inputs.get_nowait()
            if isinstance(item, Stop):
                self.stopped = item.why
                return
            self.loop._take(item)
        self.loop._let_time_pass()
        self.loop._poll()

    @property
    def digest(self) -> str:
        """Digest of the record."""
        return self.incident.journal.chain


def will_of(name: str, role: Role) -> Will:
    """What the broker says when a station is lost."""
    return Will(ms.topic(INCIDENT, "from", name, "here"), ms.to_bytes(ms.Here(role, Link.LOST)))


@dataclass
class Site:
    """Everyone at one incident."""

    clock: ManualClock
    dial: Dial
    folder: Path
    coordinator: Coordinator | None = None
    stations: dict[str, RemoteStation] = field(default_factory=dict)
    players: dict[str, HeardPlayer] = field(default_factory=dict)
    wires: dict[str, Wire] = field(default_factory=dict)
    others: list[Callable[[], object]] = field(default_factory=list)
    """Also looked at in each step."""
    standby: Standby | None = None
    shown: list[str] = field(default_factory=list)

    def lead(self, name: str = "command", kind: str = "drill") -> Coordinator:
        """Begin the incident."""
        path = self.folder / f"{name}.jsonl"
        incident = open_incident(source_for(), path, kind, self.clock)
        self.coordinator = coordinate(incident, self.dial, name)
        self.wires[name] = self.coordinator.relay._wire
        begin(incident, kind)
        return self.coordinator

    def join(self, name: str, role: Role, outbox: Path | None = None) -> RemoteStation:
        """A station without ears: its words are typed."""
        wire = self.dial(fl.topics_of(INCIDENT, name), will_of(name, role), name)
        follower = Follower(wire, INCIDENT, name, self.clock)

        def make(book: Book) -> Station:
            player = self.players[name] = HeardPlayer(name, self.clock)
            return Station(Place(name, role), player, None, lambda state, at_ms: Scene(book, state, at_ms))

        made = RemoteStation(make, follower, role, self.clock, outbox, show=lambda _text: None)
        self.stations[name], self.wires[name] = made, wire
        return made

    def stand_by(self, name: str = "spare") -> Standby:
        """A standby with its own copy of the record."""
        path = self.folder / f"{name}.jsonl"
        wire = self.dial(sb.topics_of(INCIDENT, name), None, name)
        made = Standby(wire, (INCIDENT, name), self.clock, path, self.shown.append)
        self.wires[name] = wire
        self.others.append(made.poll)
        self.standby = made
        return made

    def order_standby(self, reason: str = "the coordinator is dead") -> Coordinator:
        """The officer orders the standby to lead, and it does when it is ready."""
        standby = self.standby
        assert standby is not None
        standby.order()
        for _ in range(100):
            self.pass_time(0.1)
            if standby.phase is not Phase.CLAIMING:
                break
        assert Phase.READY is standby.phase
        self.others.remove(standby.poll)
        standby.follower.wire.close()
        lines = whole_lines(standby.replica.path) if standby.replica else []
        incident = standby.incident(self.clock)
        self.coordinator = coordinate(incident, self.dial, standby.follower.name, lines)
        officer = Origin("officer", Role.OUTSIDE, "keyboard", f"/lead {reason}")
        incident.session.submit(standby.command(self.clock.now_ms(), officer, reason))
        return self.coordinator

    def say(self, name: str, text: str, how: str = "voice") -> None:
        """Somebody says something at a station."""
        station = self.stations[name]
        item: Input = Words(text, Origin(name, station._origin.role, how, text), self.clock.now_ms())
        station.put(item)

    def pass_time(self, seconds: float) -> None:
        """Let everyone work for so long."""
        for _ in range(max(1, round(seconds * 1000 / STEP_MS))):
            self.clock.wait_ms(STEP_MS)
            self.settle()

    def settle(self) -> None:
        """One look by everyone."""
        if self.coordinator is not None:
            self.coordinator.turn()
        for station in self.stations.values():
            station.poll()
        for other in self.others:
            other()


def coordinate(incident: Incident, dial: Dial, name: str, lines: Sequence[bytes] = ()) -> Coordinator:
    """A coordinator of an incident."""
    shown: list[str] = []
    wire = dial(rl.topics_of(INCIDENT, name), None, name)
    kept = list(lines) or whole_lines(incident.journal.path)
    loop = Loop(incident, [], shown.append)
    relay = Relay(incident, wire, (INCIDENT, name), kept, put=loop.put, show=shown.append)
    loop.add(relay)
    return Coordinator(incident, loop, relay, shown)
