"""The coordinator's side: publishes what is on record, takes what stations say, and stops when it is replaced.

The loop sees it as one more post. It decides nothing: a station's command becomes an order in the loop's queue, with
the role that the station has, and `protocol.rules.delivering` takes or refuses it.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from assistant.errors import JournalError, LinkError
from assistant.incident import Incident
from assistant.inputs import Input, Order, Part, Stop
from assistant.journal import Journal, Record
from assistant.stations import messages as ms
from assistant.stations.link import Came, Wire
from protocol import commands as cmd
from protocol.delivery import Link
from protocol.events import Event
from protocol.following import may_lead
from protocol.state import State

BEAT_MS = 2_000
SILENT_MS = 8_000
"""A station that is not heard for so long is lost, whatever the broker says."""
SNAPSHOT_MS = 5_000
TOLD_MS = 3_000
"""A broker that is back within this time is not worth a sentence."""
BATTERY_STEP = 5
BROKER = "broker"
MARK = b"mark"
PULSES = ("here", "pulse")


def topics_of(incident: str, name: str) -> list[str]:
    """What a coordinator listens to."""
    everyone = [ms.topic(incident, "from", "+", what) for what in (*PULSES, "say", "ask")]
    own = [ms.topic(incident, "all", what) for what in ("fence", "lead")]
    return [*everyone, *own, ms.topic(incident, "to", name)]


class Fenced:
    """A recorder that takes nothing any more once its coordinator was replaced."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self.closed_by = ""

    def append(self, command: cmd.Command, events: tuple[Event, ...]) -> Record:
        """Write, unless another coordinator leads.

        Raises:
            JournalError: if one does, or the disk does not take it.
        """
        if self.closed_by:
            raise JournalError(f"{self.closed_by} leads this incident now. Stop this program.")
        return self._journal.append(command, events)


@dataclass(slots=True)
class _Known:
    here: ms.Here
    heard_ms: int


class Relay:
    """Stands between the loop and the broker."""

    def __init__(
        self,
        incident: Incident,
        wire: Wire,
        names: tuple[str, str],
        lines: Sequence[bytes],
        *,
        put: Callable[[Input], object],
        show: Callable[[str], None],
        roles: Mapping[str, cmd.Role] | None = None,
        own: Collection[str] = (),
    ) -> None:
        """Take over the publishing of an incident.

        Args:
            incident: what is led.
            wire: subscribed to `topics_of`.
            names: of the incident on the broker, and of this coordinator.
            lines: of the record so far, the header first.
            put: the loop's queue.
            show: tells the person at the terminal.
            roles: which stations there are; None believes what they say (loopback only).
            own: headsets of this machine, which need no broker.
        """
        self._incident = incident
        self._wire = wire
        self._name, self._me = names
        self._header, self._lines = lines[0], list(lines[1:])
        self._put, self._show, self._roles, self._own = put, show, roles, frozenset(own)
        self._recorder = Fenced(incident.journal)
        incident.session.record_with(self._recorder)
        self._known: dict[str, _Known] = {}
        self._standbys: dict[str, _Known] = {}
        self.standby_n = 0
        """How far the standby's copy is."""
        self._nonsense: set[str] = set()
        self._cleared = self._was_up = False
        self._down_since_ms: int | None = None
        self._marked_ms = 0
        self._told_down = False
        self._beat_ms = self._snapshot_ms = -SNAPSHOT_MS
        self._snapshot_n = -1
        self.replaced = False

    @property
    def term(self) -> int:
        """Its fencing number."""
        return self._incident.session.state.stations.term

    def react(self, record: Record, state: State) -> None:
        """Publish a record that is on disk."""
        del record
        self._lines.append(self._incident.journal.last_line)
        if self._cleared:
            self._send("records", ms.lines_bytes(state.stations.term, self._lines[-1:]))
        if state.closed:
            self._snapshot_n = -1

    def poll(self, now_ms: int) -> list[Input]:
        """What stations said, who came and went, and whether the broker answers."""
        found = self._watch_broker(now_ms)
        for came in self._wire.take():
            try:
                found.extend(self._take(came, now_ms))
            except LinkError as error:
                self._tell_once(came.topic, f"{came.topic}: {error}. It is not taken.")
        if self._cleared and not self.replaced:
            self._publish(now_ms)
            found.extend(self._lost(now_ms))
        return found

    @property
    def silent(self) -> bool:
        """Whether every station that is linked has the whole record: the loop ends after that."""
        linked = [one for one in (*self._known.values(), *self._standbys.values()) if one.here.link is Link.UP]
        return not self._cleared or all(one.here.n >= len(self._lines) for one in linked)

    def close(self) -> None:
        """Leave the broker."""
        if self._cleared and not self.replaced:
            self._send_lead(self._incident.clock.now_ms())
        self._wire.close()

    def _watch_broker(self, now_ms: int) -> list[Input]:
        if self._wire.up:
            if not self._was_up:
                self._was_up, self._down_since_ms = True, None
                self._marked_ms = now_ms - BEAT_MS
                for known in (*self._known.values(), *self._standbys.values()):
                    known.heard_ms = now_ms
            if not self._cleared and now_ms - self._marked_ms >= BEAT_MS:
                self._marked_ms = now_ms
                self._wire.send(ms.topic(self._name, "to", self._me), MARK)
            if self._told_down:
                self._told_down = False
                return [Part(BROKER, works=True, detail="The broker is back.")]
            return []
        if self._down_since_ms is None:
            self._down_since_ms, self._was_up, self._cleared = now_ms, False, False
        if now_ms - self._down_since_ms < TOLD_MS or self._told_down:
            return []
        self._told_down = True
        return [Part(BROKER, works=False, detail="Headsets on the network are cut off. Use the radio.")]

    def _take(self, came: Came, now_ms: int) -> list[Input]:
        parts = came.topic.split("/")
        if parts[2] == "all":
            self._watch_fence(came)
        elif parts[2] == "to":
            self._clear(now_ms)
        elif parts[2] == "from" and len(parts) == 5:
            return self._from(parts[3], parts[4], came, now_ms)
        return []

    def _clear(self, now_ms: int) -> None:
        """Whatever the broker had kept has arrived: nobody else leads, so publish."""
        if self.replaced or self._cleared:
            return
        self._cleared = True
        for one in self._incident.session.state.stations.seen:
            if one.link is Link.UP and one.name not in {*self._known, *self._own}:
                self._known[one.name] = _Known(ms.Here(cmd.Role(one.role), one.link, one.battery), now_ms)
        self._send("header", self._header, keep=True)
        self._snapshot_n = -1
        self._beat_ms = now_ms - BEAT_MS

    def _watch_fence(self, came: Came) -> None:
        fence = came.topic.endswith("/fence")
        claim = ms.from_bytes(ms.Fence, came.payload) if fence else ms.from_bytes(ms.Lead, came.payload)
        if claim.leader == self._me or self.replaced or may_lead(self.term, claim.term):
            return
        self.replaced = True
        self._recorder.closed_by = claim.leader
        head = ms.Yielded(self.term, len(self._lines), self._incident.journal.chain)
        self._send("yield", ms.to_bytes(head))
        alone = len(self._lines) - claim.after if isinstance(claim, ms.Fence) else 0
        if alone > 0:
            self._show(f"!! The last {alone} records here may be missing there. Read them: bin-rescue replay FILE")
        self._put(Stop(f"{claim.leader} leads now, by order"))

    def _from(self, name: str, what: str, came: Came, now_ms: int) -> list[Input]:
        if self._roles is not None and name not in self._roles:
            raise LinkError(f"no station of this department is called {name}")
        if what in PULSES:
            return self._hear_of(name, ms.from_bytes(ms.Here, came.payload), came.kept, now_ms)
        if what == "ask":
            self._answer(name, ms.from_bytes(ms.Ask, came.payload))
        elif what == "say" and not self.replaced:
            return self._order(name, ms.said_from(came.payload))
        return []

    def _order(self, name: str, command: cmd.Command) -> list[Input]:
        known = self._known.get(name)
        if known is None:
            return []
        delivery = command.origin.delivery
        if delivery is not None and delivery.term > self.term:
            raise LinkError(f"{name} follows a newer coordinator")
        origin = replace(command.origin, station=name, role=self._role(name, known.here))
        if isinstance(command, cmd.ReportPart):
            command = replace(command, part=f"{name} {command.part}")
        return [Order(replace(command, origin=origin))]

    def _hear_of(self, name: str, here: ms.Here, kept: bool, now_ms: int) -> list[Input]:
        if here.standby:
            return self._hear_of_standby(name, here, now_ms)
        before = self._known.get(name)
        if name in self._own:
            raise LinkError(f"a headset of this machine is called {name} too")
        unknown = before is None and self._incident.session.state.stations.station(name) is None
        if unknown and kept and here.link is not Link.UP:
            return []
        heard_ms = before.heard_ms if before and here.link is not Link.UP else now_ms
        self._known[name] = _Known(here, heard_ms)
        return self._report(name, here) if before is None or _differs(before.here, here) else []

    def _hear_of_standby(self, name: str, here: ms.Here, now_ms: int) -> list[Input]:
        if name == self._me:
            return []  # what it left behind from before it led
        self.standby_n = here.n
        before = self._standbys.get(name)
        heard_ms = now_ms if here.link is Link.UP or before is None else before.heard_ms
        self._standbys[name] = _Known(here, heard_ms)
        if before is None:
            self._show(f"** {name} keeps a copy of the record." if here.link is Link.UP else f"** {name} is not there.")
            return []
        if before.here.link is here.link:
            return []
        return [_standby_part(name, here.link is Link.UP)]

    def _lost(self, now_ms: int) -> list[Input]:
        found: list[Input] = []
        for name, known in self._standbys.items():
            if known.here.link is Link.UP and now_ms - known.heard_ms > SILENT_MS:
                known.here = replace(known.here, link=Link.LOST)
                found.append(_standby_part(name, works=False))
        for name, known in self._known.items():
            if known.here.link is Link.UP and now_ms - known.heard_ms > SILENT_MS:
                known.here = replace(known.here, link=Link.LOST)
                found.extend(self._report(name, known.here))
        return found

    def _report(self, name: str, here: ms.Here) -> list[Input]:
        role = self._role(name, here)
        return [Order(cmd.ReportStation(0, cmd.PROGRAM, name, role, here.link, _step(here.battery)))]

    def _role(self, name: str, here: ms.Here) -> cmd.Role:
        return here.role if self._roles is None else self._roles[name]

    def _answer(self, name: str, ask: ms.Ask) -> None:
        if ask.after <= ms.NOTHING:
            self._send("header", self._header, keep=True)
            return
        for piece in ms.batches(self._lines[max(0, ask.after) :]):
            self._wire.send(ms.topic(self._name, "to", name), ms.lines_bytes(self.term, piece))

    def _publish(self, now_ms: int) -> None:
        if now_ms - self._beat_ms >= BEAT_MS:
            self._beat_ms = now_ms
            self._send_lead(now_ms)
        due = self._snapshot_n < 0 or now_ms - self._snapshot_ms >= SNAPSHOT_MS
        if due and self._snapshot_n != len(self._lines):
            self._snapshot_ms, self._snapshot_n = now_ms, len(self._lines)
            head = self._incident.journal.chain
            state = self._incident.session.state
            self._send("state", ms.to_bytes(ms.Snapshot(self.term, len(self._lines), head, state)), keep=True)

    def _send_lead(self, now_ms: int) -> None:
        state = self._incident.session.state
        head = self._incident.journal.chain
        lead = ms.Lead(self.term, self._me, len(self._lines), head, now_ms, state.closed)
        self._send("lead", ms.to_bytes(lead), keep=True)

    def _send(self, what: str, payload: bytes, *, keep: bool = False) -> None:
        self._wire.send(ms.topic(self._name, "all", what), payload, keep=keep)

    def _tell_once(self, source: str, text: str) -> None:
        if source not in self._nonsense and len(self._nonsense) < 1_000:
            self._nonsense.add(source)
            self._show(text)


def _standby_part(name: str, works: bool) -> Part:
    detail = "The record is copied again." if works else "No copy of the record is kept."
    return Part(f"standby {name}", works, detail)


def _differs(before: ms.Here, now: ms.Here) -> bool:
    return (before.role, before.link, _step(before.battery)) != (now.role, now.link, _step(now.battery))


def _step(battery: int | None) -> int | None:
    """A battery in steps, so that the record is not filled with it."""
    return None if battery is None else battery // BATTERY_STEP * BATTERY_STEP
