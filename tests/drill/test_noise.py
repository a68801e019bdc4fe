"""Background noise made from arithmetic, at the level that was asked for."""

from pathlib import Path

import numpy as np
import pytest

from assistant.drill.noise import LOOP_S, NOISES, noise_loop
from assistant.drill.recordings import mixed, noise_of, shipped_recording, with_noise
from assistant.errors import UsageError
from assistant.hearing.blocks import RATE, Block, Samples
from assistant.speaking.background import Background
from assistant.speaking.sound_output import Fill


@pytest.mark.parametrize("kind", NOISES)
@pytest.mark.parametrize("below_db", [0.0, 10.0, 25.0])
def test_the_level_is_as_asked(kind: str, below_db: float) -> None:
    """So many dB under a voice of -20 dBFS, within half a dB; the loudest shouts may be held at full scale."""
    made = noise_loop(kind, below_db) / 32768
    found_db = 20 * np.log10(np.sqrt(np.mean(made**2)))
    assert -20 - below_db == pytest.approx(found_db, abs=0.5)
    assert len(made) == LOOP_S * RATE


def test_the_same_seed_gives_the_same_noise() -> None:
    """So that a recording of speech alone is heard in the noise that it was made in."""
    assert np.array_equal(noise_loop("fan", 10, 9), noise_loop("fan", 10, 9))
    assert not np.array_equal(noise_loop("fan", 10, 9), noise_loop("fan", 10, 8))


@pytest.mark.parametrize("kind", NOISES)
def test_it_repeats_without_a_click(kind: str) -> None:
    """The step from the end to the start is no larger than steps inside."""
    made = noise_loop(kind, 10.0).astype(np.int32)
    assert abs(made[0] - made[-1]) <= np.abs(np.diff(made)).max()


def test_the_noises_differ() -> None:
    """A vacuum is brighter than a fan; shouting has gaps."""
    def bright(kind: str) -> float:
        power = np.abs(np.fft.rfft(noise_loop(kind, 10.0).astype(np.float64))) ** 2
        return float(power[len(power) // 4 :].sum() / power.sum())

    assert bright("vacuum") > 3 * bright("fan")
    frames = noise_loop("shouting", 10.0).astype(np.float64).reshape(-1, RATE // 20)
    levels = np.sqrt((frames**2).mean(axis=1))
    assert np.quantile(levels, 0.1) < 0.5 * np.median(levels)


def test_noise_goes_on_behind_what_is_heard() -> None:
    """Block by block it is the repeated loop, added; without noise nothing changes."""
    noise = np.arange(1000, dtype=np.int16)
    blocks = [Block(np.full(960, 7, np.int16), place * 0.06) for place in range(3)]
    heard = np.concatenate([block.samples for block in with_noise(blocks, noise)])
    assert np.array_equal(heard, 7 + np.arange(2880) % 1000)
    assert blocks == list(with_noise(blocks, None))
    assert 32767 == mixed(np.full(1, 32_000, np.int16), np.full(1, 32_000, np.int16), 0)[0]


def test_a_script_that_names_no_noise_is_refused(tmp_path: Path) -> None:
    """One sentence with the file's name; a script without noise has none."""
    path = tmp_path / "x.json"
    path.write_text('{"noise": {"kind": "rain", "below_voice_db": 3, "seed": 1}}')
    with pytest.raises(UsageError, match="its noise cannot be made"):
        noise_of(path)
    path.write_text('{"noise": "a fan"}')
    assert noise_of(path) is None


def test_a_recording_that_is_not_shipped_is_named() -> None:
    """And what to do about it."""
    with pytest.raises(UsageError, match="No recording comes with 'mine'"):
        shipped_recording("mine")


class Loudspeaker:
    """Asks for blocks when told to."""

    latency_ms = 0
    alive = True

    def __init__(self, fill: Fill) -> None:
        self.fill = fill
        self.closed = False

    def block(self, count: int) -> Samples:
        """The next block."""
        out = np.empty(count, np.int16)
        self.fill(out)
        return out

    def close(self) -> None:
        """Note it."""
        self.closed = True


def test_background_plays_round_and_round() -> None:
    """Blocks of any length follow one another without a gap, over the end and on."""
    made: list[Loudspeaker] = []

    def opener(fill: Fill) -> Loudspeaker:
        made.append(Loudspeaker(fill))
        return made[0]

    background = Background(np.arange(10, dtype=np.int16), opener=opener)
    played = np.concatenate([made[0].block(count) for count in (4, 25, 3)])
    assert np.array_equal(played, np.arange(32) % 10)
    background.close()
    assert made[0].closed
