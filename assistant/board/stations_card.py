"""The stations of an incident: whose headset, whether it is linked, its battery if it says, its radio check."""

from dataclasses import dataclass

from protocol.delivery import Link, StationSeen
from protocol.headset import WRITTEN, Headset, Verdict, figures, verdict_of
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
    radio: str
    """What the last radio check measured, in words; empty where no microphone was heard."""
    radio_bad: bool
    """Whether it is not done yet or not good."""


@dataclass(frozen=True, slots=True)
class StationsCard:
    """All headsets, and who leads."""

    rows: tuple[StationRow, ...]
    leader: str
    """Who took the lead by order; empty for whoever began."""


def stations_card(scene: Scene) -> StationsCard:
    """The stations at a moment; none, where nobody joined and no microphone was heard."""
    state = scene.state
    linked = [_linked(one, state.headset(one.name)) for one in state.stations.seen]
    alone = [_alone(one) for one in state.headsets if state.stations.station(one.name) is None]
    return StationsCard((*linked, *alone), state.stations.leader)


def _linked(one: StationSeen, headset: Headset | None) -> StationRow:
    low = one.battery is not None and one.battery <= LOW_BATTERY
    words = _WORDS[one.link]
    return StationRow(one.name, one.role, one.link.value, words, one.since_ms, one.battery, low, *_radio(headset))


def _alone(headset: Headset) -> StationRow:
    """The one headset of this machine, which has no link that could be lost."""
    words = "checked" if headset.sound else "heard"
    return StationRow(headset.name, headset.role, Link.UP.value, words, headset.since_ms, None, False, *_radio(headset))


def _radio(headset: Headset | None) -> tuple[str, bool]:
    if headset is None:
        return "", False
    if headset.sound is None:
        return "Radio check not done", True
    verdict = verdict_of(headset.sound)
    return f"Radio check: {WRITTEN[verdict]}. {figures(headset.sound)}", verdict is not Verdict.GOOD
