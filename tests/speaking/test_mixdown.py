"""The saved audio is exact to the sample, one channel for each station, and readable at any moment."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import AudioError, UsageError
from assistant.speaking.mixdown import LARGEST_DATA_BYTES, Mixdown

PIECE = st.tuples(st.sampled_from(["inside", "outside"]), st.integers(0, 40_000), st.integers(1, 20_000))


@settings(max_examples=30, deadline=None)
@given(pieces=st.lists(PIECE, min_size=1, max_size=6))
def test_pieces_lie_where_they_were_put(
    tmp_path_factory: pytest.TempPathFactory, pieces: list[tuple[str, int, int]]
) -> None:
    """Any pieces in any order give the sum of all at their positions, read back by libsndfile."""
    path = tmp_path_factory.mktemp("mix") / "heard.wav"
    expected = np.zeros((max(at + size for _, at, size in pieces), 2), np.int64)
    with Mixdown(path, ["inside", "outside"]) as mix:
        for number, (station, at, size) in enumerate(pieces):
            samples = np.full(size, 100 + number, np.int16)
            mix.add(station, at, samples)
            expected[at : at + size, mix.stations.index(station)] += samples
    heard, rate_hz = soundfile.read(path, dtype="int16")
    assert 16_000 == rate_hz
    assert np.array_equal(expected, heard)


def test_overlaps_are_held_at_full_scale(tmp_path: Path) -> None:
    """Two loud sounds at once do not wrap round."""
    with Mixdown(tmp_path / "m.wav", ["inside"]) as mix:
        mix.add("inside", 0, np.full(10, 30_000, np.int16))
        mix.add("inside", 0, np.full(10, 30_000, np.int16))
        mix.add("inside", 20, np.full(10, -30_000, np.int16))
        mix.add("inside", 20, np.full(10, -30_000, np.int16))
    heard, _ = soundfile.read(tmp_path / "m.wav", dtype="int16")
    assert (32_767, -32_768) == (heard[5], heard[25])


def test_what_lies_before_zero_is_left_out(tmp_path: Path) -> None:
    """A sound that began before the clock's zero keeps its later part in place."""
    with Mixdown(tmp_path / "m.wav", ["inside"]) as mix:
        mix.add("inside", -3, np.arange(1, 11, dtype=np.int16))
        mix.add("inside", -50, np.ones(10, np.int16))
    heard, _ = soundfile.read(tmp_path / "m.wav", dtype="int16")
    assert [4, 5, 6, 7, 8, 9, 10] == heard.tolist()


def test_the_file_is_readable_while_it_grows(tmp_path: Path) -> None:
    """After each write the header tells the true length."""
    mix = Mixdown(tmp_path / "m.wav", ["inside", "outside"])
    for second in range(3):
        mix.add("inside", second * 16_000, np.ones(16_000, np.int16))
        assert 16_000 * (second + 1) == soundfile.info(tmp_path / "m.wav").frames
    mix.lengthen(100_000)
    assert 100_000 == soundfile.info(tmp_path / "m.wav").frames
    mix.close()


def test_a_killed_program_leaves_a_readable_file(tmp_path: Path) -> None:
    """After kill -9 in the middle of writing, everything that was added can be read."""
    program = (
        "import sys, numpy as np; from pathlib import Path; from assistant.speaking.mixdown import Mixdown\n"
        "mix = Mixdown(Path(sys.argv[1]), ['inside'])\n"
        "for n in range(100_000):\n"
        "    mix.add('inside', n * 160, np.full(160, 7, np.int16)); print(n, flush=True)\n"
    )
    path = tmp_path / "killed.wav"
    command = [sys.executable, "-c", program, str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]) as process:
        assert process.stdout is not None
        told = [int(process.stdout.readline()) for _ in range(200)]
        os.kill(process.pid, signal.SIGKILL)
    heard, _ = soundfile.read(path, dtype="int16")
    assert heard.size >= 160 * (told[-1] + 1)
    assert set(np.unique(heard).tolist()) == {7}


def test_the_end_of_a_wav_file_is_the_end(tmp_path: Path) -> None:
    """Past four gigabytes nothing is written and nothing breaks; the file is sparse until then."""
    end = LARGEST_DATA_BYTES // 2
    with Mixdown(tmp_path / "m.wav", ["inside"]) as mix:
        mix.add("inside", end - 5, np.ones(10, np.int16))
        mix.add("inside", end + 5, np.ones(10, np.int16))
        assert pytest.approx(end / 16_000) == mix.seconds


def test_a_place_that_cannot_be_written_is_an_audio_error(tmp_path: Path) -> None:
    """A missing folder and a full disk each give one sentence."""
    with pytest.raises(AudioError, match="cannot be saved"):
        Mixdown(tmp_path / "missing" / "m.wav", ["inside"])
    if Path("/dev/full").exists():
        with pytest.raises(AudioError, match="cannot be saved"):
            Mixdown(Path("/dev/full"), ["inside"])


def test_unknown_and_doubled_stations_are_refused(tmp_path: Path) -> None:
    """A station that is not in the file is an error that names those that are."""
    with pytest.raises(UsageError, match="each named once"):
        Mixdown(tmp_path / "m.wav", ["inside", "inside"])
    with Mixdown(tmp_path / "m.wav", ["inside"]) as mix, pytest.raises(UsageError, match="it has inside"):
        mix.add("roof", 0, np.ones(1, np.int16))
