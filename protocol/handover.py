"""The hand-over to the medics in ATMIST order: at most 75 words, about 30 seconds.

Order and length: UK fire and rescue national guidance, casualty hand-over (ATMIST, about 30 s). What nobody has said is
not filled in; it is called not known. Nothing here is medical advice.
"""

from dataclasses import dataclass

from protocol.air import Gas, latest
from protocol.marks import MARKS
from protocol.numbers import figure_words
from protocol.scene import Scene, minutes_ms
from protocol.wording import minutes_words

MOST_WORDS = 75

_CAUSES = {
    "flow": "drawn in by flowing grain",
    "bridge": "grain bridge collapsed",
    "avalanche": "buried by an avalanche",
    "vacuum": "drawn in at a vacuum",
}
_BREATHING = {"yes": "breathing", "hard": "short of breath", "no": "not breathing when found"}
_ANSWERING = {"yes": "talking", "confused": "confused", "no": "not answering when found"}
_FEET = {"free": "moves both feet", "held": "feet were held", "unknown": "no feeling in the feet"}


@dataclass(frozen=True, slots=True)
class Line:
    """One part of the hand-over."""

    letter: str
    title: str
    text: str


def held_ms(scene: Scene) -> int:
    """How long the person was held: from the first call until free, or until now."""
    if scene.state.fact("person") != "free":
        return scene.at_ms
    return dict(scene.state.fact_times_ms)["person"]


def handover(scene: Scene) -> tuple[Line, ...]:
    """The hand-over, line by line."""
    return (
        Line("A", "Age", "Adult, age not known"),
        Line("T", "Time", f"Held {minutes_words(held_ms(scene))} since the first call"),
        Line("M", "Mechanism", _mechanism(scene)),
        Line("I", "Injuries", _known(_FEET, scene, "feet", "feeling not asked")),
        Line("S", "Signs", f"{_known(_BREATHING, scene, 'breathing', 'breathing not known')}, "
                           f"{_known(_ANSWERING, scene, 'answering', 'answering not known')} at first"),
        Line("T", "Treatment", _treatment(scene)),
    )  # fmt: skip


def handover_words(scene: Scene) -> str:
    """The hand-over as it is spoken."""
    lines = [line.text for line in handover(scene)]
    if held_ms(scene) >= minutes_ms(scene.house.held_flag_min):
        lines.insert(2, "Held an hour or more, crush injury possible")
    return ". ".join(text[:1].upper() + text[1:] for text in lines) + "."


def _mechanism(scene: Scene) -> str:
    covered = "covered at first" if scene.state.fact("was_covered") == "yes" else f"deepest at the {_deepest(scene)}"
    grain = scene.state.fact("grain")
    cause = _CAUSES.get(scene.state.fact("cause"), "cause not known")
    return f"{cause}, {covered}, in {'grain' if grain == 'unknown' else grain}"


def _deepest(scene: Scene) -> str:
    marks = [level.mark for level in scene.state.levels]
    first = scene.state.fact("depth")
    if first in MARKS:
        marks.append(first)
    return max(marks, key=MARKS.index) if marks else "mark nobody called"


def _treatment(scene: Scene) -> str:
    oxygen = latest(scene.state.readings, Gas.OXYGEN)
    air = f"oxygen last read {figure_words(format(oxygen.value, 'f'))}" if oxygen else "oxygen never read"
    known = {"yes": "fumigated grain", "no": "no fumigant known"}
    fumigant = known.get(scene.state.fact("fumigated"), "fumigant unknown")
    pulled = {"yes": "was pulled", "no": "was not pulled"}.get(scene.state.fact("pulled"), "pulling not asked")
    line = "line on" if scene.state.fact("line") == "on" else "no line recorded"
    mask = "dust mask on" if scene.state.fact("mask") == "on" else "no mask recorded"
    return f"{line}, {mask}, {pulled}, {air}, {fumigant}"


def _known(words: dict[str, str], scene: Scene, fact: str, otherwise: str) -> str:
    return words.get(scene.state.fact(fact, ""), otherwise)
