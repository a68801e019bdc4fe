"""Keeping a microphone's sound: where it lies in the file, and what happens when it cannot be kept."""

import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.errors import AudioError
from assistant.hearing.blocks import RATE, Block
from assistant.inputs import Part
from assistant.keeping import PART, RESERVE_BYTES, FlacFile, Keeper, KeptMicrophone, free_name

BLOCK = 960
PLENTY = 2 * RESERVE_BYTES


def tone(start_s: float, count: int = BLOCK, level: int = 1000) -> Block:
    """A block of one level, so that it can be found again."""
    return Block(np.full(count, level, np.int16), start_s)


class Ear:
    """A microphone that hears what it is given."""

    def __init__(self, blocks: list[Block]) -> None:
        self.blocks = blocks
        self.closed = False

    def poll(self, now_ms: int) -> tuple[Sequence[Block], Sequence[Part]]:
        """One block at a time."""
        del now_ms
        return ([self.blocks.pop(0)] if self.blocks else []), []

    def close(self) -> None:
        """Note it."""
        self.closed = True


def test_sound_lies_at_the_incident_s_time(tmp_path: Path) -> None:
    """What was heard 5 s after the first sample lies 5 s into the file, with silence where nothing was heard."""
    file = FlacFile(tmp_path / "a.flac", 10_000)
    file.add(tone(10.0, level=1000))
    file.add(tone(15.0, level=2000))
    file.close()
    sound, rate = soundfile.read(tmp_path / "a.flac", dtype="int16")
    assert RATE == rate
    assert 5 * RATE + BLOCK == len(sound)
    assert {1000} == set(sound[:BLOCK])
    assert {0} == set(sound[BLOCK : 5 * RATE])
    assert {2000} == set(sound[5 * RATE :])


def test_a_sound_card_that_runs_fast_does_not_shift_the_file(tmp_path: Path) -> None:
    """Blocks that overlap are cut where they overlap; small doubts are left alone."""
    file = FlacFile(tmp_path / "a.flac", 0)
    for number in range(100):
        file.add(tone(number * BLOCK / RATE * 0.99))
    file.close()
    length = soundfile.info(tmp_path / "a.flac").frames
    assert abs(length - 100 * BLOCK * 0.99) <= BLOCK


def test_the_file_is_its_owner_s_alone_and_never_written_over(tmp_path: Path) -> None:
    """Voices are private; a file that exists is left as it is."""
    path = tmp_path / "a.flac"
    FlacFile(path, 0).close()
    assert 0 == path.stat().st_mode & 0o077
    before = path.read_bytes()
    with pytest.raises(AudioError, match="cannot be begun"):
        FlacFile(path, 0)
    assert before == path.read_bytes()
    assert "i.crew-1.flac" == free_name(tmp_path / "i.jsonl", "crew").name
    (tmp_path / "i.crew-1.flac").touch()
    assert "i.crew-2.flac" == free_name(tmp_path / "i.jsonl", "crew").name


def test_keeping_stops_before_the_disk_is_full(tmp_path: Path) -> None:
    """The record's room is never taken: not at the start, and not later."""
    with pytest.raises(AudioError, match="which the record needs"):
        FlacFile(tmp_path / "a.flac", 0, lambda _folder: RESERVE_BYTES - 1)
    rooms = [PLENTY, PLENTY, RESERVE_BYTES - 1]
    file = FlacFile(tmp_path / "b.flac", 0, lambda _folder: rooms.pop(0))
    file.add(tone(0.0, 11 * RATE))
    with pytest.raises(AudioError, match="which the record needs"):
        file.add(tone(11.0, 11 * RATE))


def test_a_disk_that_takes_no_more_is_told_once_and_the_incident_goes_on(tmp_path: Path) -> None:
    """The microphone goes on being heard; the station is told what is lost, and only once."""
    rooms = iter([PLENTY, 0])
    keeper = Keeper(FlacFile(tmp_path / "a.flac", 0, lambda _folder: next(rooms)))
    ear = Ear([tone(0.0, 11 * RATE), *(tone(11 + number) for number in range(5))])
    microphone = KeptMicrophone(ear, keeper)
    heard = [microphone.poll(0)]
    keeper.close()
    heard += [microphone.poll(0) for _ in range(5)]
    assert 6 == sum(len(blocks) for blocks, _parts in heard)
    (part,) = [part for _blocks, parts in heard for part in parts]
    assert (PART, False) == (part.part, part.works)
    assert part.detail.endswith("Everything else goes on.")


def test_a_write_that_fails_is_told(tmp_path: Path) -> None:
    """A real full device: the write fails, and the error names what is kept."""
    file = FlacFile(tmp_path / "a.flac", 0)
    file._file.close()
    file._file = soundfile.SoundFile("/dev/full", "w", RATE, 1, "PCM_16", format="FLAC")
    noise = np.random.default_rng(1).integers(-9000, 9000, 5 * RATE).astype(np.int16)
    with pytest.raises(AudioError, match="the disk takes no more"):
        _fill(file, noise)


def test_closing_writes_what_waits(tmp_path: Path) -> None:
    """Everything handed over before the end is in the file, and the device is let go."""
    ear = Ear([tone(number * BLOCK / RATE) for number in range(50)])
    microphone = KeptMicrophone(ear, Keeper(FlacFile(tmp_path / "a.flac", 0)))
    for _ in range(50):
        microphone.poll(0)
    microphone.close()
    assert ear.closed
    assert 50 * BLOCK == soundfile.info(tmp_path / "a.flac").frames


def test_a_killed_program_leaves_sound_that_can_be_played(tmp_path: Path) -> None:
    """All but the last moments of a file without its end is read back by the debrief."""
    from assistant.debrief.clips import read_sound  # noqa: PLC0415

    path = tmp_path / "a.flac"
    code = (
        "import os, sys, numpy as np; from pathlib import Path; from assistant.keeping import FlacFile; "
        "from assistant.hearing.blocks import Block; f = FlacFile(Path(sys.argv[1]), 0); "
        "[f.add(Block(np.full(960, n + 1, np.int16), n * 0.06)) for n in range(500)]; os._exit(9)"
    )
    assert 9 == subprocess.run([sys.executable, "-c", code, str(path)], check=False).returncode
    sound = read_sound(path, 20 * RATE, RATE)
    assert RATE == len(sound)
    assert 20 * RATE // 960 + 1 == sound[0]
    assert 28 * RATE < sum(len(read_sound(path, second * RATE, RATE)) for second in range(30))


def _fill(file: FlacFile, noise: np.ndarray) -> None:
    for number in range(50):
        file.add(Block(noise, 5.0 * number))


def test_while_a_drill_is_paused_nothing_is_kept(tmp_path: Path) -> None:
    """The file is on the drill's own clock: what is heard while it stands still is left out, the rest lies right."""
    behind = iter([0, 2_000, 4_000, 4_000])
    ear = Ear([tone(0.0, RATE, 1), tone(1.0, RATE, 2), tone(3.0, RATE, 3), tone(5.0, RATE, 4)])
    microphone = KeptMicrophone(ear, Keeper(FlacFile(tmp_path / "a.flac", 0)), lambda: next(behind))
    for _ in range(4):
        microphone.poll(0)
    microphone.close()
    sound, _rate = soundfile.read(tmp_path / "a.flac", dtype="int16")
    assert [1, 4] == [sound[0], sound[RATE]]
    assert 2 * RATE == len(sound)
