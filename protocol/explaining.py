"""How the estimate that was spoken last was made: inputs, method, range and source, one short sentence each."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from protocol.balance import FEWEST_SETS, closed_ms, complete_sets
from protocol.numbers import count_words
from protocol.scene import Scene
from protocol.state import SpokenEstimate
from protocol.told import GRAIN, LEAK, ORDER, REFILL, TIME_LEFT

NOTHING_SPOKEN = "No estimate has been spoken that still stands. Call the grain level, or ask, grain remaining."


@dataclass(frozen=True, slots=True)
class Explanation:
    """What is said about one kind of estimate; places in braces are filled by `_inputs`."""

    inputs: str
    method: str
    range: str
    source: str

    def spoken(self, places: Mapping[str, str]) -> str:
        """All four sentences."""
        return (
            f"From {self.inputs.format(**places)}. {self.method}. The range covers {self.range}. Source: {self.source}."
        )


EXPLANATIONS: Mapping[str, Explanation] = MappingProxyType({
    GRAIN: Explanation(
        "grain at {mark} and a ring of {panels} panels",
        "Ring area times height, less the body",
        "the size of the person, the ring, and the marks as called",
        "published body tables; how full a canister gets is common practice",
    ),
    TIME_LEFT: Explanation(
        "{canisters} called and {levels}",
        "Canisters left times minutes per canister, both learned from your calls, holds left out",
        "nine jobs in ten",
        "your own calls, with assumed errors",
    ),
    LEAK: Explanation(
        "{canisters} called and {levels}",
        "Grain taken out against the fall of the level",
        "errors of counting, filling and reading",
        "conservation of volume, with assumed errors",
    ),
    REFILL: Explanation(
        "{outside} called outside and the level inside",
        "Grain slides until it lies at its angle of repose on both sides",
        "the levels as judged, the grain and the person",
        "geometry and published angles of repose",
    ),
    ORDER: Explanation(
        "{outside} called outside",
        "At each step the panel that lets least in comes next",
        "nothing: it is an order, made from the middle of each refill",
        "every order tried on model rings",
    ),
})
"""The methods and sources in full: `bin-rescue estimate` and `protocol/estimates/`."""


def estimate_answer(scene: Scene) -> str:
    """The last spoken estimate again, as it was said, and how it was made."""
    told = scene.state.estimate
    if told is None:
        return NOTHING_SPOKEN
    places = _inputs(scene, told)
    explained = " ".join(EXPLANATIONS[kind].spoken(places) for kind in told.kinds if kind in EXPLANATIONS)
    return f"It was said: {told.text} {explained} It is an estimate."


def _inputs(scene: Scene, told: SpokenEstimate) -> Mapping[str, str]:
    state, at_ms = scene.state, told.at_ms
    marks = [level.mark for level in state.levels if level.at_ms <= at_ms]
    return {
        "mark": marks[-1] if marks else "a mark nobody called",
        "panels": count_words(scene.house.panels),
        "canisters": _canisters(scene, told),
        "levels": _levels(scene, told),
        "outside": _counted(len(state.outside_m), "level", "levels"),
    }


def _canisters(scene: Scene, told: SpokenEstimate) -> str:
    since_ms = _weighed_from_ms(scene, told)
    called = sum(since_ms < one_ms <= told.at_ms for one_ms in scene.state.canisters_ms)
    return _counted(called, "canister", "canisters")


def _levels(scene: Scene, told: SpokenEstimate) -> str:
    """What the level was read by: whole taped sets, once there are enough for a leak; else the marks called."""
    since_ms = _weighed_from_ms(scene, told)
    sets = sum(since_ms < tape.at_ms <= told.at_ms for tape in complete_sets(scene))
    marks = sum(level.at_ms <= told.at_ms for level in scene.state.levels)
    called = _counted(marks, "mark on the body", "marks on the body")
    taped = _counted(sets, "taped set of corners", "taped sets of corners")
    if LEAK in told.kinds:
        return taped if sets >= FEWEST_SETS else called
    return f"{called} and {taped}" if sets else called


def _weighed_from_ms(scene: Scene, told: SpokenEstimate) -> int:
    """For a leak nothing counts from before the last one was closed."""
    return closed_ms(scene) if LEAK in told.kinds and closed_ms(scene) <= told.at_ms else 0


def _counted(count: int, one: str, many: str) -> str:
    return f"{count_words(count)} {one if count == 1 else many}"
