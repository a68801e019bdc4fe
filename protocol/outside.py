"""The grain outside the ring as called, put into the refill estimate: what runs in, and which panel comes out next."""

from protocol.errors import EstimateError
from protocol.estimates.body import Mark
from protocol.estimates.refill import Refill, refill_when_out, removal_order
from protocol.estimates.result import Span
from protocol.numbers import count_words
from protocol.remaining import grain_of, person_of, ring_of
from protocol.scene import Scene
from protocol.told import ORDER, REFILL, Told

JUDGED_SHARE = 0.15
JUDGED_M = 0.05
"""A difference of levels is judged within so much: assumptions, no source."""


def refill_answer(scene: Scene, panel: int) -> Told:
    """What runs in when that panel is taken out first, with a range; why not, when it cannot be said."""
    higher_m = dict(scene.state.outside_m)[panel]
    house = scene.house
    try:
        found = refill_when_out(
            person_of(house), ring_of(house), grain_of(scene), panel, _inside(scene), _about(higher_m)
        )
    except EstimateError as error:
        return Told.why_not(error)
    return Told(found.spoken(house.units), (REFILL,))


def order_of_removal(scene: Scene) -> tuple[Refill, ...]:
    """Every panel in the order that lets least in at each step; empty until the grain outside each was called."""
    house = scene.house
    if len(scene.state.outside_m) < house.panels:
        return ()
    levels = tuple(_about(higher_m) for _panel, higher_m in scene.state.outside_m)
    try:
        return removal_order(person_of(house), ring_of(house), grain_of(scene), _inside(scene), levels)
    except EstimateError:
        return ()


def order_answer(scene: Scene) -> Told:
    """The order in words, once it is known; otherwise empty."""
    order = [count_words(refill.panel) for refill in order_of_removal(scene)]
    return Told(f"Take panel {order[0]} first, then {', '.join(order[1:])}.", (ORDER,)) if order else Told("")


def next_panel_answer(scene: Scene) -> Told:
    """The next panel of the order and what it lets in, once the order is known and a panel is left; otherwise empty."""
    left = [refill for refill in order_of_removal(scene) if refill.panel not in scene.state.repeats]
    if not left:
        return Told("")
    text = f"Next is panel {count_words(left[0].panel)}. {left[0].spoken(scene.house.units)}"
    return Told(text, (ORDER, REFILL))


def _inside(scene: Scene) -> Mark:
    return Mark(scene.state.level or Mark.KNEES.value)


def _about(higher_m: float) -> Span:
    return Span.about(higher_m, max(JUDGED_M, JUDGED_SHARE * higher_m))
