"""Two headsets on one machine through real sound streams: two microphones, two loudspeakers, one incident."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from assistant.clock import SystemClock
from assistant.journal import read
from protocol.events import DeliveryRefused, DeliveryTaken, StepConfirmed
from tests.pulse import RATE_HZ, private_pulse

pytestmark = pytest.mark.realtime
CLIPS = Path(__file__).parents[2] / "audio_fixtures" / "phrases"
LIMIT_S = 60.0
TRIES = 3


def decided(path: Path) -> list[tuple[str, str, bool]]:
    """Station, words, whether taken."""
    if not path.exists() or not path.stat().st_size:
        return []
    events = read(path).events
    return [
        (event.station, event.heard, isinstance(event, DeliveryTaken))
        for event in events
        if isinstance(event, DeliveryTaken | DeliveryRefused)
    ]


def wait_for(holds: object, seconds: float) -> bool:
    """Wait until something holds."""
    assert callable(holds)
    clock = SystemClock()
    while not holds():
        if clock.now_ms() > seconds * 1000:
            return False
        clock.wait_ms(100)
    return True


def test_two_headsets_hear_and_speak_at_once(tmp_path: Path) -> None:
    """Each hears its own microphone and sounds in its own ear; "hold all work" into both is one."""
    journal = tmp_path / "live.jsonl"
    command = [
        sys.executable, "-m", "assistant", "run", "--drill", "--no-board", "--journal", str(journal),
        "--headset", "one:inside:boom-one|ear-one", "--headset", "officer:outside:boom-two|ear-two",
    ]  # fmt: skip
    with private_pulse(speakers=("ear-one", "ear-two"), microphones=("boom-one", "boom-two")) as pulse:
        ears = {name: pulse.record(name) for name in ("ear-one", "ear-two")}
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
            assert wait_for(lambda: journal.exists() and
                            b"StationChanged" in journal.read_bytes(), LIMIT_S)  # fmt: skip
            SystemClock().wait_ms(14_000)
            for _ in range(TRIES):
                pulse.play("boom-two", CLIPS / "one_person_trapped.flac").wait()
                if wait_for(lambda: ("officer", "one person trapped", True) in decided(journal), 6):
                    break
            loud = {name: one.seconds() for name, one in ears.items()}
            SystemClock().wait_ms(12_000)
            players = [pulse.play(name, CLIPS / "hold_all_work.flac") for name in ("boom-one", "boom-two")]
            for player in players:
                player.wait()
            wait_for(lambda: len(decided(journal)) >= 3, 10)
            process.communicate(b"/quit\n", timeout=30)
        heard = {name: one.stop() for name, one in ears.items()}
    rows = decided(journal)
    assert ("officer", "one person trapped", True) in rows
    assert [True, False] == [taken for _station, words, taken in rows if words == "hold all work"]
    assert {"one", "officer"} == {station for station, words, _taken in rows if words == "hold all work"}
    assert ["officer"] == [event.by for event in read(journal).events if isinstance(event, StepConfirmed)]
    start, end = (round(loud["ear-two"] * RATE_HZ), round((loud["ear-two"] + 9) * RATE_HZ))
    outside = np.abs(heard["ear-two"][start:end].astype(np.int32)) > 500
    inside = np.abs(heard["ear-one"][start:end].astype(np.int32)) > 500
    assert np.count_nonzero(outside) > RATE_HZ // 4, "the officer's prompt was not heard at the officer's headset"
    assert np.count_nonzero(inside) == 0, "the officer's prompt sounded at the rescuer's headset"
