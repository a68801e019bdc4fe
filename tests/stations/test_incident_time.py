"""Incident time on a station: a little behind, never ahead, never back, and never earlier than what is known."""

from hypothesis import given
from hypothesis import strategies as st

from assistant.clock import ManualClock
from assistant.stations.incident_time import IncidentTime


@given(start_ms=st.integers(0, 10**7), delays_ms=st.lists(st.tuples(st.integers(0, 3_000), st.booleans()), min_size=1, max_size=80))
def test_it_lags_by_the_quickest_message_and_never_runs_ahead(start_ms: int, delays_ms: list[tuple[int, bool]]) -> None:
    """Whatever the delays, it is behind by no more than the quickest of the last beats, and not before a record."""
    clock, true_ms = ManualClock(500), start_ms
    time = IncidentTime(clock)
    last = 0
    seen: list[int] = []
    for delay_ms, is_record in delays_ms:
        sent_ms = true_ms
        clock.wait_ms(delay_ms)
        true_ms += delay_ms
        if is_record and time.known:
            time.at_least(sent_ms)
        elif not is_record:
            time.note(sent_ms)
            seen.append(delay_ms)
        if not time.known:
            continue
        assert last <= time.now_ms() <= true_ms
        if is_record:
            assert time.now_ms() >= sent_ms
        assert true_ms - time.now_ms() <= min(seen[-50:])
        last = time.now_ms()
        clock.wait_ms(2_000)
        true_ms += 2_000


def test_a_moment_heard_earlier_is_dated_earlier() -> None:
    """The end of a phrase lies a little before the moment at which it is understood."""
    clock = ManualClock(10_000)
    time = IncidentTime(clock)
    assert not time.known
    time.note(5_000)
    clock.wait_ms(3_000)
    assert (8_000, 7_400) == (time.now_ms(), time.at(12_400))


def test_a_coordinator_whose_time_leapt_is_believed() -> None:
    """After a restart its clock may be far on; a station follows at once."""
    clock = ManualClock(10_000)
    time = IncidentTime(clock)
    time.note(5_000)
    time.note(65_000)
    assert 65_000 == time.now_ms()
