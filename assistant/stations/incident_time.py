"""Incident time on a machine that does not keep it: this machine's clock, set by what the coordinator sends."""

from collections import deque

from assistant.clock import Clock

KEPT = 60
"""Beats that count: two minutes, so that a clock that drifts is corrected."""
LEAP_MS = 2_000
"""A coordinator whose time leapt by more is believed at once."""


class IncidentTime:
    """Incident time as the coordinator would tell it, a little behind and never ahead; it never runs back.

    The quickest message of the last two minutes decides: what was delayed on the way says too early a time.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._behind: deque[int] = deque(maxlen=KEPT)
        self._last_ms = 0

    @property
    def known(self) -> bool:
        """Whether the coordinator's time was ever heard."""
        return bool(self._behind)

    def note(self, at_ms: int) -> None:
        """The coordinator sent its time just now or a little earlier."""
        behind = self._clock.now_ms() - at_ms
        if self._behind and behind < min(self._behind) - LEAP_MS:
            self._behind.clear()
        self._behind.append(behind)

    def at_least(self, at_ms: int) -> None:
        """Something that was recorded at this moment is known here: it is no earlier."""
        if self._behind and self._clock.now_ms() - at_ms < min(self._behind):
            self.note(at_ms)

    def now_ms(self) -> int:
        """Incident time."""
        if self._behind:
            self._last_ms = max(self._last_ms, self._clock.now_ms() - min(self._behind))
        return self._last_ms

    def at(self, local_ms: int) -> int:
        """Incident time of a moment of this machine's clock."""
        return max(0, self.now_ms() - max(0, self._clock.now_ms() - local_ms))
