"""Clocks that only go forward."""

import pytest

from assistant.clock import ManualClock, SystemClock, boot_ms, wall_ms_since, wall_time


def test_manual_clock_stands_still_until_moved() -> None:
    """Nothing but `move_to` and `wait_ms` changes it."""
    clock = ManualClock(500)
    clock.wait_ms(250)
    clock.move_to(1000)
    clock.wait_ms(-5)
    assert 1000 == clock.now_ms()


def test_time_cannot_go_back() -> None:
    """Moving a clock into the past is an error."""
    with pytest.raises(ValueError, match="cannot go back"):
        ManualClock(10).move_to(9)


def test_system_clock_starts_where_it_is_told() -> None:
    """A resumed incident goes on from its own time, within the time this test takes."""
    before = boot_ms()
    clock = SystemClock(3_600_000)
    passed = clock.now_ms() - 3_600_000
    assert 0 <= passed <= boot_ms() - before + 1


def test_wall_time_is_read_back() -> None:
    """The moment written into a record is understood again."""
    assert 0 <= wall_ms_since(wall_time()) < 60_000
