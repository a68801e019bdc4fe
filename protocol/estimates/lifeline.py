"""How much slack a lifeline may have so that its wearer cannot sink below the waist.

WAC 296-99-040(2)(b)(ii): the line must stop the wearer sinking below the waist. The line runs straight from an anchor
to the back ring of the harness, .80 of stature over the feet (from memory). Sinking straight down lengthens that
distance; slack and stretch together may be no longer than it has grown when grain is at the waist.
"""

import math
from dataclasses import dataclass

from protocol.errors import EstimateError
from protocol.estimates.body import MARK_FRACTIONS, Mark, Person
from protocol.estimates.result import Estimate, Given, Span, spread
from protocol.estimates.wording import rounded
from protocol.units import System, Unit

RING_FRACTION = Span(0.80, 0.76, 0.84)
STRETCH = Span(0.05, 0.02, 0.10)
"""Under the pull of sinking grain, of its length: low-stretch rope, from memory."""
SOURCE = "WAC 296-99-040(2)(b)(ii): not below the waist; rope stretch from memory"


def line_length_m(anchor_above_m: float, aside_m: float, ring_above_m: float) -> float:
    """Straight line from the anchor to the harness ring (m), both heights over the grain surface."""
    return math.hypot(anchor_above_m - ring_above_m, aside_m)


@dataclass(frozen=True, slots=True)
class Slack:
    """Slack a line may have; people are told the low end only."""

    allowed: Estimate

    def spoken(self, units: System = "us") -> str:
        """The most that is safe to allow, and what to do about it."""
        least = self.allowed.low
        text = rounded((least, least, least), Unit.METRE, units).floor
        first = "No slack to spare." if text == "nothing" else f"No more than {text} of slack."
        return f"{first} {self.allowed.then_say}"


def slack_allowed(person: Person, anchor_above_m: Span, aside_m: Span) -> Slack:
    """Slack (m) a standing rescuer's line may have; nothing means: keep it snug.

    Args:
        person: the rescuer.
        anchor_above_m: anchor over the grain surface.
        aside_m: how far the rescuer stands to the side of the anchor.

    Raises:
        EstimateError: for an anchor at or below the harness ring, or distances that cannot be.
    """
    ring_high = RING_FRACTION.high * person.height_m.high
    if anchor_above_m.low <= ring_high:
        raise EstimateError("The anchor must be well above the rescuer's back: use a higher anchor.")
    if aside_m.low < 0 or aside_m.high > 30 or anchor_above_m.high > 60:
        raise EstimateError("Give an anchor up to 60 m above and 30 m aside.")

    def slack(height: float, ring: float, anchor: float, aside: float, stretch: float) -> float:
        standing = line_length_m(anchor, aside, ring * height)
        sunk = line_length_m(anchor, aside, (ring - MARK_FRACTIONS[Mark.WAIST]) * height)
        return sunk - (1 + stretch) * standing

    span = spread(
        slack, height=person.height_m, ring=RING_FRACTION, anchor=anchor_above_m, aside=aside_m, stretch=STRETCH
    )
    return Slack(
        Estimate(
            max(0.0, span.value),
            max(0.0, span.low),
            max(0.0, span.high),
            Unit.METRE,
            "length of the line when sunk to the waist less its length standing, less stretch",
            SOURCE,
            "{amount} of slack",
            inputs=(
                *person.given,
                Given.span("anchor above grain", anchor_above_m, "m"),
                Given.span("aside of anchor", aside_m, "m"),
                Given.span("stretch", STRETCH, ""),
            ),
            cautions=("Go by the low end.", "Anchors on older bins are not rated: ask, never assume."),
            then_say="Keep it snug, and check it at every move.",
        )
    )
