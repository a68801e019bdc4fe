"""The measuring itself: where a sound lies in a recording, and when that was."""

import numpy as np
import pytest

from tests.faults.crew import Spoken, unsaid
from tests.faults.loudspeaker import Recorded
from tests.pulse import RATE_HZ

ZERO_S = 5_000.0


def recording(sound: np.ndarray[tuple[int], np.dtype[np.int16]], at_s: float, loudness: float = 1.0) -> Recorded:
    """Ten seconds of faint noise with a sound in it, read in pieces that arrive up to 50 ms late, the quickest 5 ms."""
    chance = np.random.default_rng(3)
    samples = chance.normal(0, 20, 10 * RATE_HZ)
    place = round(at_s * RATE_HZ)
    samples[place : place + sound.size] += loudness * sound
    ends = np.arange(640, samples.size + 1, 640)
    late = 0.005 + chance.uniform(0, 0.045, ends.size)
    late[::20] = 0.005
    return Recorded(samples.astype(np.int16), np.column_stack([ends, ZERO_S + ends / RATE_HZ + late]))


@pytest.fixture
def sound() -> np.ndarray[tuple[int], np.dtype[np.int16]]:
    """Half a second that is like nothing else."""
    return (3_000 * np.sin(np.cumsum(np.linspace(0.05, 0.6, RATE_HZ // 2)))).astype(np.int16)


@pytest.mark.parametrize("loudness", [1.0, 0.3])
def test_a_sound_is_found_at_its_moment(sound: np.ndarray[tuple[int], np.dtype[np.int16]], loudness: float) -> None:
    """Within the recorder's own 5 ms, however loud, although most pieces arrive later."""
    found = recording(sound, 4.2, loudness).find(sound, ZERO_S + 3, ZERO_S + 6)
    assert found is not None
    assert 0.0 <= found - (ZERO_S + 4.2) <= 0.006


def test_a_sound_that_is_not_there_is_not_found(sound: np.ndarray[tuple[int], np.dtype[np.int16]]) -> None:
    """Before its time, and another sound instead."""
    heard = recording(sound, 4.2)
    assert heard.find(sound, ZERO_S + 5, ZERO_S + 8) is None
    assert heard.find(sound[::-1].copy(), ZERO_S + 3, ZERO_S + 6) is None


def test_loud_and_quiet_are_told_apart(sound: np.ndarray[tuple[int], np.dtype[np.int16]]) -> None:
    """The stretch before a place."""
    heard = recording(sound, 4.2)
    assert heard.level_before(heard.place_of(ZERO_S + 4.2), 0.3) < 200
    assert heard.level_before(heard.place_of(ZERO_S + 4.6), 0.3) > 2_000


def test_words_that_nobody_said_then_are_told() -> None:
    """Taken before they were said, long after, or only talked about: not said."""
    spoken = [Spoken("time check", 10.0, 11.0), Spoken("hold all work", 20.0, 21.0, command=False)]
    heard = [(10.9, "time check"), (9.0, "time check"), (16.0, "time check"), (21.0, "hold all work")]
    assert heard[1:] == list(unsaid(heard, spoken))
