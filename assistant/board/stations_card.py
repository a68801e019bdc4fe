"""The stations of an incident: whose headset, whether it is linked, and its battery if it says."""

from dataclasses import dataclass

from protocol.delivery import Link
from protocol.rules.linking import LOW_BATTERY
from protocol.scene import Scene

_WORDS = {Link.UP: "linked", Link.LOST: "LOST", Link.LEFT: "has left"}


@dataclass(frozen=True, slots=True)
class StationRow:
    """One headset."""

    name: str
    role: str
    link: str
    """up, lost or left."""
    words: str
    since_ms: int
    """Since when the link is so."""
    battery: int | None
    """Percent."""
    low: bool


@dataclass(frozen=True, slots=True)
class StationsCard:
    """All headsets, and who leads."""

    rows: tuple[StationRow, ...]
    leader: str
    """Who took the lead by order; empty for whoever began."""


def stations_card(scene: Scene) -> StationsCard:
    """The stations at a moment; without any, one headset serves the incident."""
    known = scene.state.stations
    rows = tuple(
        StationRow(
            one.name, one.role, one.link.value, _WORDS[one.link], one.since_ms, one.battery,
            one.battery is not None and one.battery <= LOW_BATTERY,
        )
        for one in known.seen
    )  # fmt: skip
    return StationsCard(rows, known.leader)
