"""Time along, a quantity up: scales, ticks and the frame of a plot."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, tzinfo

from assistant.debrief.moments import MINUTE_MS, local_time
from assistant.debrief.picture import Shape, Stroke, Words, wide

LEFT, RIGHT = 108.0, 706.0
"""Where time begins and ends on every picture, so that pictures can be laid one under the other."""
STEPS_MIN = (0.25, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 240, 480)
MOST_TICKS = 13


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """From one moment of the record to another."""

    end_ms: int
    opened: datetime | None
    zone: tzinfo | None
    start_ms: int = 0

    def x(self, at_ms: float) -> float:
        """Where a moment lies."""
        share = min(1.0, max(0.0, (at_ms - self.start_ms) / self.span_ms))
        return LEFT + share * (RIGHT - LEFT)

    @property
    def span_ms(self) -> int:
        """At least a minute, so that an empty record has an axis."""
        return max(MINUTE_MS, self.end_ms - self.start_ms)

    def ticks_ms(self) -> list[int]:
        """Round minutes, at most a dozen or so."""
        span_min = self.span_ms / MINUTE_MS
        step = round(next((step for step in STEPS_MIN if span_min / step < MOST_TICKS), 960) * MINUTE_MS)
        first = -(-self.start_ms // step) * step
        return list(range(first, self.start_ms + self.span_ms + 1, step))

    def frame(self, top: float, bottom: float) -> Iterator[Shape]:
        """Upright lines, minutes below the plot, and local time of day below them."""
        last_end = -1.0
        ticks = self.ticks_ms()
        letters = 5 if all(at_ms % MINUTE_MS == 0 for at_ms in ticks) else 8
        for at_ms in ticks:
            x = self.x(at_ms)
            yield Stroke(((x, top), (x, bottom)), 0.4, "dotted", grey=0.6)
            yield Words(x, bottom + 12, f"{at_ms / MINUTE_MS:g}", 9, "middle")
            clock = local_time(self.opened, at_ms, self.zone)[:letters]
            if self.opened is not None and x - wide(clock, 9) / 2 > last_end:
                yield Words(x, bottom + 24, clock, 9, "middle")
                last_end = x + wide(clock, 9) / 2 + 6
        yield Stroke(((LEFT, bottom), (RIGHT, bottom)), 1.0)
        yield Words(LEFT - 22, bottom + 12, "minutes", 9, "end")
        if self.opened is not None:
            yield Words(LEFT - 22, bottom + 24, "local time", 9, "end")


@dataclass(frozen=True, slots=True)
class Scale:
    """A quantity from the bottom of a plot to its top."""

    low: float
    high: float
    bottom: float
    top: float

    def y(self, value: float) -> float:
        """Where a value lies; kept inside the plot."""
        share = (value - self.low) / (self.high - self.low) if self.high > self.low else 0.0
        return self.bottom - min(1.0, max(0.0, share)) * (self.bottom - self.top)
