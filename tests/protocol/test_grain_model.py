"""Simulated grain: nothing appears or is lost, and it moves as the rates say."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import TableError
from protocol.estimates.body import MARK_FRACTIONS, Mark
from protocol.grain_model import Grain, Setting, emptied, grain_at, height_of, passed, volume_below
from protocol.marks import MARKS

RING = Setting(
    area_m2=0.3716, outside_area_m2=6.0, stature_m=1.75, body_kg=80.0, drum_m3=0.0545, take_m3_s=0.0003,
    leak_m3_s=0.0001,
)  # fmt: skip
"""Four panels of two feet, a 16-gallon drum nine tenths full, three minutes for each."""


def chest() -> Grain:
    """Grain at the chest, 20 cm higher outside."""
    return grain_at(RING, "chest", 0.2)


moves = st.lists(
    st.one_of(
        st.tuples(st.floats(0, 600), st.booleans(), st.booleans()),
        st.just("empty"),
    ),
    max_size=20,
)


@given(moves, st.sampled_from([mark for mark in MARKS if mark != "feet"]), st.floats(0, 1))
def test_volume_is_conserved(moves: list[tuple[float, bool, bool] | str], mark: str, higher_m: float) -> None:
    """Whatever the vacuum, the leak and the drum do, inside, outside, drum and carried away add up to the start."""
    grain = grain_at(RING, mark, higher_m)
    start_m3 = grain.total_m3
    for move in moves:
        grain = emptied(grain) if isinstance(move, str) else passed(grain, move[0], vacuum=move[1], leaking=move[2])
        assert start_m3 == pytest.approx(grain.total_m3, rel=1e-9)
        assert min(grain.inside_m3, grain.outside_m3, grain.in_drum_m3, grain.carried_m3) >= -1e-12
        assert grain.in_drum_m3 <= RING.drum_m3 + 1e-12


@given(st.floats(0.01, 1.6))
def test_height_and_volume_are_inverse(height_m: float) -> None:
    """A surface gives a volume, and that volume gives the surface back."""
    assert height_m == pytest.approx(height_of(RING, volume_below(RING, height_m)), abs=1e-6)


@pytest.mark.parametrize("mark", [mark for mark in MARKS if mark != "feet"])
def test_the_start_is_at_its_mark(mark: str) -> None:
    """Grain set at a mark stands there and is called by it."""
    grain = grain_at(RING, mark, 0.0)
    assert MARK_FRACTIONS[Mark(mark)] * 1.75 == pytest.approx(grain.height_m, abs=1e-6)
    assert mark == grain.mark


def test_a_drum_takes_its_time() -> None:
    """At the operator's rate a drum is full after drum / rate seconds, and then the vacuum stands still."""
    seconds = RING.drum_m3 / RING.take_m3_s
    assert not passed(chest(), seconds - 1, vacuum=True, leaking=False).drum_is_full
    full = passed(chest(), seconds + 1, vacuum=True, leaking=False)
    assert full.drum_is_full
    assert full.inside_m3 == passed(full, 100, vacuum=True, leaking=False).inside_m3
    assert 1 == emptied(full).drums


def test_the_leak_fills_at_its_rate_until_both_sides_are_level() -> None:
    """A minute of leak lets rate x 60 s in; it ends when the grain outside is no higher."""
    minute = passed(chest(), 60, vacuum=False, leaking=True)
    assert chest().inside_m3 + 60 * RING.leak_m3_s == pytest.approx(minute.inside_m3)
    level = passed(chest(), 3600, vacuum=False, leaking=True)
    assert level.outside_height_m == pytest.approx(level.height_m, abs=0.001)


def test_nothing_moves_by_itself() -> None:
    """Without vacuum and leak the grain stands."""
    assert chest() == passed(chest(), 3600, vacuum=False, leaking=False)


def test_a_ring_without_room_is_refused() -> None:
    """A body that fills the ring is a fault of the scenario, said in words."""
    with pytest.raises(TableError, match="no room for that person"):
        grain_at(Setting(0.02, 6.0, 1.75, 120.0, 0.05, 0.001), "chest", 0.0)
