"""What is known about stations: how their commands are numbered, who is linked, and who leads.

Nothing here decides; `rules.delivering` does.
"""

from dataclasses import dataclass, replace
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Delivery:
    """How a command came from a station, so that it counts once however often it arrives."""

    session: str
    """Drawn afresh when a station begins to number its commands."""
    seq: int
    """1, 2, 3 … within the session, without a gap."""
    said_ms: int
    """When it was said, in incident time by the station's own clock."""
    term: int = 0
    """The highest fencing number that the station knew."""


class Link(StrEnum):
    """How a station is connected."""

    UP = "up"
    LOST = "lost"
    LEFT = "left"
    """It said goodbye."""


@dataclass(frozen=True, slots=True)
class StationSeen:
    """One station as the record knows it."""

    name: str
    role: str
    link: Link
    since_ms: int
    battery: int | None = None
    """Percent, in steps; None when it has none or does not say."""
    sessions: tuple[tuple[str, int], ...] = ()
    """Number of the last command of each session that was taken or refused."""

    def seq(self, session: str) -> int:
        """Number of a session's last command that was decided; 0 before the first."""
        return dict(self.sessions).get(session, 0)


@dataclass(frozen=True, slots=True)
class Uttered:
    """Words that a station brought lately, to know them again when another microphone brings them too."""

    station: str
    heard: str
    said_ms: int


MOST_UTTERED = 32


@dataclass(frozen=True, slots=True)
class Stations:
    """Everything about stations that the rules look at."""

    term: int = 1
    """The fencing number: rises by an explicit order when another coordinator takes over."""
    leader: str = ""
    """Who took over; empty for whoever began the incident."""
    seen: tuple[StationSeen, ...] = ()
    uttered: tuple[Uttered, ...] = ()

    def station(self, name: str) -> StationSeen | None:
        """That station, if it was ever here."""
        return next((one for one in self.seen if one.name == name), None)

    def seq(self, name: str, session: str) -> int:
        """Number of the last command of a station's session that was decided."""
        found = self.station(name)
        return found.seq(session) if found else 0

    def with_link(self, station: StationSeen) -> "Stations":
        """With a station's new link; what it has delivered stays."""
        known = self.station(station.name)
        kept = station
        if known:
            since_ms = known.since_ms if known.link is station.link else station.since_ms
            kept = replace(station, sessions=known.sessions, since_ms=since_ms)
        others = tuple(one for one in self.seen if one.name != station.name)
        return replace(self, seen=tuple(sorted((*others, kept), key=lambda one: one.name)))

    def with_delivery(self, name: str, delivery: Delivery, heard: str) -> "Stations":
        """With one more command decided."""
        seen = tuple(_counted(one, delivery) if one.name == name else one for one in self.seen)
        uttered = (*self.uttered, Uttered(name, heard, delivery.said_ms)) if heard else self.uttered
        return replace(self, seen=seen, uttered=uttered[-MOST_UTTERED:])


def _counted(station: StationSeen, delivery: Delivery) -> StationSeen:
    others = tuple(pair for pair in station.sessions if pair[0] != delivery.session)
    return replace(station, sessions=(*others, (delivery.session, delivery.seq)))
