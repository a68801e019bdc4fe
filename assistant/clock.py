"""The one door to the clock."""

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol


class Clock(Protocol):
    """Milliseconds that only go forward, and a way to wait."""

    def now_ms(self) -> int:
        """Milliseconds since this clock's zero; never goes back, whatever the wall clock does."""
        ...

    def wait_ms(self, duration_ms: int) -> None:
        """Return after `duration_ms` of this clock."""
        ...


class SystemClock:
    """The machine's monotonic clock, counted from `zero_ms` at construction.

    CLOCK_BOOTTIME is used where the system has it, so that a suspended laptop does not lose minutes.
    """

    def __init__(self, start_ms: int = 0) -> None:
        self._zero_ns = _boot_ns() - start_ms * 1_000_000

    def now_ms(self) -> int:
        """Milliseconds since zero, suspended time included."""
        return (_boot_ns() - self._zero_ns) // 1_000_000

    def wait_ms(self, duration_ms: int) -> None:
        """Sleep."""
        if duration_ms > 0:
            time.sleep(duration_ms / 1000)  # noqa: TID251  this is the Clock that everything else waits on


class ManualClock:
    """A clock that stands still until it is moved: for tests, replays and fast rehearsals."""

    def __init__(self, start_ms: int = 0) -> None:
        self._now_ms = start_ms

    def now_ms(self) -> int:
        """The time it was last moved to."""
        return self._now_ms

    def wait_ms(self, duration_ms: int) -> None:
        """Jump forward by `duration_ms`."""
        self.move_to(self._now_ms + max(0, duration_ms))

    def move_to(self, at_ms: int) -> None:
        """Jump forward to `at_ms`.

        Raises:
            ValueError: if that lies in the past.
        """
        if at_ms < self._now_ms:
            raise ValueError(f"time cannot go back from {self._now_ms} ms to {at_ms} ms")
        self._now_ms = at_ms


def _boot_ns() -> int:
    if hasattr(time, "CLOCK_BOOTTIME"):
        return time.clock_gettime_ns(time.CLOCK_BOOTTIME)
    return time.monotonic_ns()


def wall_time() -> str:
    """Now in UTC as ISO 8601 to the second, written once per incident for the record."""
    return datetime.now(UTC).isoformat(timespec="seconds")  # noqa: TID251  the one reader of wall time


def cpu_seconds() -> float:
    """Processor time used by this process, for measurements."""
    return time.process_time()


def stopwatch_s() -> float:
    """A running count of seconds, for measurements only."""
    return time.perf_counter()


def boot_id() -> str:
    """Which start of the machine this is; empty where the system does not say."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        return ""


def boot_ms() -> int:
    """Milliseconds since the machine was started."""
    return _boot_ns() // 1_000_000


def wall_ms_since(moment: str) -> int:
    """Milliseconds of wall time since an ISO 8601 moment; negative when the wall clock was put back."""
    passed = datetime.now(UTC) - datetime.fromisoformat(moment)  # noqa: TID251  only to resume after a restart
    return round(passed.total_seconds() * 1000)
