"""Following an incident over the broker: header, lead, records, catch-up by number, and whether the link holds."""

from collections.abc import Callable
from dataclasses import dataclass, field

from assistant.clock import Clock
from assistant.errors import LinkError
from assistant.journal import Record
from assistant.stations import messages as ms
from assistant.stations.incident_time import IncidentTime
from assistant.stations.link import Came, Wire
from assistant.stations.log import Gained, Keeper, Log

SILENT_MS = 6_000
"""Nothing from the coordinator for so long: cut off."""
ASK_AGAIN_MS = 1_000
OTHER_WAY = "The new coordinator's record goes another way: it is read anew"


@dataclass(slots=True)
class News:
    """What one look at the wire brought."""

    records: list[Record] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)
    began: bool = False
    """The header came, or a snapshot: there is something to listen for."""
    fences: list[ms.Fence] = field(default_factory=list)
    """In the broker's order, which is the same for everybody."""
    yielded: ms.Yielded | None = None


def topics_of(incident: str, name: str) -> list[str]:
    """What a follower listens to."""
    return [ms.topic(incident, "all", "#"), ms.topic(incident, "to", name)]


class Follower:
    """One follower of one incident; polled."""

    def __init__(
        self,
        wire: Wire,
        incident: str,
        name: str,
        clock: Clock,
        *,
        keeper: Callable[[bytes], Keeper] | None = None,
        whole: bool = False,
        log: Log | None = None,
    ) -> None:
        """Follow.

        Args:
            wire: subscribed to `topics_of`.
            incident: its name on the broker.
            name: the follower's own.
            clock: this machine's.
            keeper: given the header line, gives what keeps each line; called once.
            whole: from the first record on, never from a snapshot.
            log: what was kept of the record before.
        """
        self.wire = wire
        self.incident = incident
        self.name = name
        self.time = IncidentTime(clock)
        self.log = log
        self.lead: ms.Lead | None = None
        self._clock = clock
        self._keeper = keeper
        self._whole = whole
        self._heard_ms: int | None = None
        self._asked_ms = -ASK_AGAIN_MS
        self._fence = 0
        self._snapshot: ms.Snapshot | None = None

    @property
    def linked(self) -> bool:
        """Whether the coordinator is heard; a broker that is back within seconds is not worth a word."""
        return self._heard_ms is not None and self._clock.now_ms() - self._heard_ms < SILENT_MS

    @property
    def behind(self) -> bool:
        """Whether records are known to be missing."""
        return self.log is not None and self.lead is not None and self.lead.n > self.log.head.n

    def poll(self) -> News:
        """Take what came, and ask for what is missing."""
        news = News()
        for came in self.wire.take():
            try:
                self._take(came, news)
            except LinkError as error:
                news.troubles.append(f"{came.topic}: {error}.")
        if self.wire.up and (self.behind or (self.log is None and self.lead is not None)):
            self._ask()
        return news

    def send(self, what: str, payload: bytes, *, keep: bool = False, sure: bool = True) -> None:
        """Send under this follower's own topic."""
        self.wire.send(ms.topic(self.incident, "from", self.name, what), payload, keep=keep, sure=sure)

    def offer(self, fence: ms.Fence) -> None:
        """Give a new coordinator the lines that it may lack."""
        if self.log is not None:
            for piece in ms.batches(self.log.after(fence.after)):
                self.send("offer", ms.lines_bytes(self.log.head.term, piece))

    def _take(self, came: Came, news: News) -> None:
        what = came.topic.rsplit("/", 1)[-1]
        if what == "header" and self.log is None:
            self._begin(came.payload, news)
        elif what == "lead":
            self._take_lead(came, news)
        elif what == "state" and not self._whole:
            self._jump(ms.from_bytes(ms.Snapshot, came.payload), news)
        elif what == "fence":
            fence = ms.from_bytes(ms.Fence, came.payload)
            news.fences.append(fence)
            if fence.leader != self.name:  # one's own claim: what the old coordinator had is still taken
                self._raise_fence(fence.term)
        elif what == "yield":
            news.yielded = ms.from_bytes(ms.Yielded, came.payload)
        elif what in {"records", self.name}:
            self._gain(ms.lines_from(came.payload), news)

    def _begin(self, payload: bytes, news: News) -> None:
        keep: Keeper = self._keeper(payload) if self._keeper else lambda _line: None
        self.log = Log(payload, keep)
        self.log.raise_fence(self._fence)
        if self._snapshot is not None:
            self.log.jump(self._snapshot)
        news.began = True

    def _jump(self, snapshot: ms.Snapshot, news: News) -> None:
        if self.log is None:
            self._snapshot = snapshot
        elif self.log.jump(snapshot):
            news.began = True

    def _take_lead(self, came: Came, news: News) -> None:
        lead = ms.from_bytes(ms.Lead, came.payload)
        if lead.term < self._fence:
            return
        self.lead = lead
        if self.log is not None and self.log.heed(lead.term, lead.n, lead.chain):
            news.troubles.append(OTHER_WAY)
        self._raise_fence(lead.term)
        if not came.kept:
            self._heard_ms = self._clock.now_ms()
            self.time.note(lead.at_ms)

    def _raise_fence(self, term: int) -> None:
        self._fence = max(self._fence, term)
        if self.log is not None:
            self.log.raise_fence(self._fence)

    def _gain(self, lines: ms.Lines, news: News) -> None:
        if self.log is None:
            return
        gained: Gained = self.log.take(lines)
        news.records.extend(gained.records)
        if gained.records:
            self.time.at_least(gained.records[-1].at_ms)
        if gained.trouble:
            news.troubles.append(gained.trouble)
        if gained.lacking:
            self._ask()

    def _ask(self) -> None:
        now_ms = self._clock.now_ms()
        if now_ms - self._asked_ms >= ASK_AGAIN_MS:
            self._asked_ms = now_ms
            self.send("ask", ms.to_bytes(ms.Ask(self.log.head.n if self.log else ms.NOTHING)))
