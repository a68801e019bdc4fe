"""A standby: keeps a copy of the record, and leads when the officer orders it. It never takes the lead by itself.

Taking the lead: a higher fencing number is claimed at the broker, the coordinator that led stops at its next look
and says where its record ended, stations offer records that the copy may lack, and only then the copy is led from.
"""

from collections.abc import Callable
from enum import StrEnum
from pathlib import Path

from assistant.clock import Clock
from assistant.errors import JournalError, LinkError
from assistant.incident import Incident
from assistant.journal import MALFORMED, whole_lines
from assistant.session import Session
from assistant.stations import follower as fl
from assistant.stations import messages as ms
from assistant.stations.follower import Follower, News
from assistant.stations.link import Came, Wire
from assistant.stations.log import Keeper, Log
from assistant.stations.replica import Replica
from protocol.commands import Origin, Role, TakeLead
from protocol.delivery import Link
from protocol.errors import ProtocolError
from protocol.state import State

PULSE_MS = 2_000
WAIT_MS = 3_000
"""So long the old coordinator has to say where its record ends, and stations to offer what is missing."""
NOT_HEARD_MS = 8_000


class Phase(StrEnum):
    """What the standby is doing."""

    FOLLOWING = "following"
    CLAIMING = "claiming"
    READY = "ready"
    """The copy may be led from now."""
    BEATEN = "beaten"
    """Somebody else claimed first."""


def topics_of(incident: str, name: str) -> list[str]:
    """What a standby listens to."""
    return [*fl.topics_of(incident, name), ms.topic(incident, "from", "+", "offer")]


class Standby:
    """Follows one incident from its first record. Polled."""

    def __init__(
        self, wire: Wire, names: tuple[str, str], clock: Clock, path: Path, show: Callable[[str], None]
    ) -> None:
        """Follow.

        Args:
            wire: subscribed to `topics_of`.
            names: of the incident on the broker, and of this standby.
            clock: this machine's.
            path: file of the copy; one that exists is gone on with.
            show: tells the person at the terminal.

        Raises:
            JournalError: if the file cannot be used.
        """
        self._path, self._show, self._clock = path, show, clock
        self.replica: Replica | None = None
        incident, name = names
        self.follower = Follower(
            _WithOffers(wire, self._offers), incident, name, clock,
            keeper=self._keep_in, whole=True, log=self._kept(path),
        )  # fmt: skip
        self.phase = Phase.FOLLOWING
        self.term = 0
        self._claimed_ms = 0
        self._winner = ""
        """Whose claim of this number the broker handed out first."""
        self._yielded: ms.Yielded | None = None
        self._pulse_ms = -PULSE_MS
        self._last_ms = clock.now_ms()
        self._told_lost = False
        self._offered: list[ms.Lines] = []

    @property
    def n(self) -> int:
        """How far the copy is."""
        return self.follower.log.head.n if self.follower.log else 0

    @property
    def state(self) -> State:
        """The incident as copied."""
        return self.follower.log.state if self.follower.log else State()

    @property
    def closed(self) -> bool:
        """Whether the incident is closed and wholly copied."""
        return self.state.closed and not self.follower.behind

    def poll(self) -> News:
        """Copy what came, and bring a claim to its end."""
        news = self.follower.poll()
        self._take_offers()
        for trouble in news.troubles:
            self._show(f"** {trouble}")
        self._pulse()
        self._watch_lead()
        if self.phase is Phase.CLAIMING:
            self._claim(news)
        return news

    def order(self) -> None:
        """The officer orders this standby to lead.

        Raises:
            LinkError: if it has no open incident to lead, or cannot tell the others.
        """
        log = self.follower.log
        if log is None or not log.state.opened or log.state.closed:
            raise LinkError("There is no open incident in this copy yet: there is nothing to lead.")
        if not self.follower.wire.up:
            raise LinkError("The broker is not reached: nobody would hear who leads. Order it again when it is back.")
        self.term = max(log.fence, log.state.stations.term) + 1
        self.phase = Phase.CLAIMING
        self._winner, self._yielded = "", None
        self._send_claim(self._clock.now_ms())

    def incident(self, clock: Clock) -> Incident:
        """The incident as this copy has it, to be led from here.

        Args:
            clock: of incident time; see `follower.time`.
        """
        log = self.follower.log
        assert log is not None
        assert self.replica is not None
        return Incident(Session(log.book, self.replica, log.state), self.replica, clock)

    def command(self, at_ms: int, origin: Origin, reason: str) -> TakeLead:
        """The officer's order, for the record."""
        return TakeLead(at_ms, origin, self.follower.name, self.term, reason)

    def close(self) -> None:
        """Leave the broker; the copy stays open for whoever leads from it."""
        self.follower.send("here", ms.to_bytes(self._here(Link.LEFT)), keep=True)
        self.follower.wire.close()

    def _claim(self, news: News) -> None:
        self._yielded = news.yielded or self._yielded
        for fence in news.fences:
            if (fence.term == self.term and not self._winner) or fence.term > self.term:
                self._winner = fence.leader
        now_ms = self._clock.now_ms()
        if not self._winner:
            if now_ms - self._claimed_ms >= WAIT_MS:
                self._send_claim(now_ms)
        elif self._winner != self.follower.name:
            self.phase = Phase.BEATEN
            self._show(f"!! {self._winner} takes the lead already. This standby goes on following.")
        elif self._yielded is not None and self.n >= self._yielded.n:
            self.phase = Phase.READY
        elif now_ms - self._claimed_ms >= WAIT_MS:
            self.phase = Phase.READY
            self._show("** The old coordinator did not say where its record ends: its last records may be missing.")

    def _send_claim(self, now_ms: int) -> None:
        self._claimed_ms = now_ms
        fence = ms.to_bytes(ms.Fence(self.term, self.follower.name, self.n))
        self.follower.wire.send(ms.topic(self.follower.incident, "all", "fence"), fence, keep=True)

    def _offers(self, came: Came) -> None:
        try:
            self._offered.append(ms.lines_from(came.payload))
        except LinkError as error:
            self._show(f"** {came.topic}: {error}")

    def _take_offers(self) -> None:
        """Lines from stations: each is checked as any other, under the number of whoever published it first."""
        offered, self._offered = self._offered, []
        if self.phase is Phase.CLAIMING and self.follower.log is not None:
            for lines in offered:
                self.follower.log.take(lines)

    def _watch_lead(self) -> None:
        now_ms = self._clock.now_ms()
        if self.follower.linked:
            self._last_ms, self._told_lost = now_ms, False
        elif now_ms - self._last_ms > NOT_HEARD_MS and not self._told_lost:
            self._told_lost = True
            self._show("!! The coordinator is not heard. To lead from here, by order of the officer: /lead REASON")

    def _pulse(self) -> None:
        now_ms = self._clock.now_ms()
        if now_ms - self._pulse_ms >= PULSE_MS:
            first, self._pulse_ms = self._pulse_ms < 0, now_ms
            here = ms.to_bytes(self._here(Link.UP))
            self.follower.send("here" if first else "pulse", here, keep=first, sure=first)

    def _here(self, link: Link) -> ms.Here:
        return ms.Here(Role.OUTSIDE, link, None, self.n, standby=True)

    def _keep_in(self, header_line: bytes) -> Keeper:
        try:
            self.replica = Replica.copy(self._path, header_line)
        except ProtocolError as error:
            raise LinkError(f"the record cannot be copied ({error})") from error
        return self._append

    def _append(self, line: bytes) -> None:
        assert self.replica is not None
        try:
            self.replica.append_line(line)
        except MALFORMED as error:
            raise JournalError(
                f"{self._path} holds records that the coordinator does not have. It is kept as it is: "
                "begin another copy with a new file name."
            ) from error

    def _kept(self, path: Path) -> Log | None:
        if not path.exists():
            return None
        self.replica, _history = Replica.reopen(path)
        header, *lines = whole_lines(path)
        log = Log(header, self._append)
        log.load(lines, 0)
        return log


class _WithOffers:
    """A wire that puts offers aside."""

    def __init__(self, wire: Wire, offers: Callable[[Came], None]) -> None:
        self._wire, self._offers = wire, offers

    @property
    def up(self) -> bool:
        """Whether the broker answers."""
        return self._wire.up

    def send(self, topic: str, payload: bytes, *, keep: bool = False, sure: bool = True) -> None:
        """Send now or not at all."""
        self._wire.send(topic, payload, keep=keep, sure=sure)

    def take(self) -> list[Came]:
        """What came, without the offers."""
        found = []
        for came in self._wire.take():
            if came.topic.endswith("/offer"):
                self._offers(came)
            else:
                found.append(came)
        return found

    def close(self) -> None:
        """Say goodbye."""
        self._wire.close()
