"""The whole speaking path on a sound server without hardware: espeak-ng, PortAudio, ALSA, PulseAudio, and back."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.clock import SystemClock
from assistant.speaking import levels
from assistant.speaking.arbiter import (
    CutOff,
    DeviceBack,
    DeviceLost,
    Finished,
    Priority,
    SpeechEvent,
    Started,
    Utterance,
)
from assistant.speaking.clips import ClipCache
from assistant.speaking.device_player import open_player
from assistant.speaking.levels import RATE_HZ, Samples
from assistant.speaking.mixdown import Mixdown
from assistant.speaking.player import Player
from tests.pulse import PulseServer, private_pulse

PROMPT = "Panel two set. Drive it below the knees, then tell me panel two driven, and keep the nozzle off the legs."
ALARM = "All rescuers leave the bin now."


pytestmark = pytest.mark.realtime


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ClipCache]:
    """Both texts, rendered."""
    cache = ClipCache(tmp_path_factory.mktemp("clips"))
    assert () == cache.prepare([PROMPT, ALARM]).failed
    yield cache
    cache.close()


@pytest.fixture
def pulse() -> Iterator[PulseServer]:
    """A server with one headset."""
    with private_pulse(speakers=("headset",)) as server:
        yield server


def place_of(needle: Samples, hay: Samples) -> tuple[int, float]:
    """Where a sound lies in a recording, and how loud it is there against the original (1.0 is the same)."""
    size = 1 << int(np.ceil(np.log2(needle.size + hay.size)))
    match = np.fft.irfft(np.fft.rfft(hay.astype(float), size) * np.conj(np.fft.rfft(needle.astype(float), size)), size)
    place = int(match[: hay.size].argmax())
    return place, float(match[place] / (needle.astype(float) ** 2).sum())


def wait_for(
    player: Player, clock: SystemClock, kind: type[SpeechEvent], name: str = "", limit_ms: int = 9000
) -> SpeechEvent:
    """The next event of a kind, or a failure."""
    until_ms = clock.now_ms() + limit_ms
    while clock.now_ms() < until_ms:
        for event in player.poll(clock.now_ms()):
            if isinstance(event, kind) and name in {"", getattr(getattr(event, "utterance", None), "id", "")}:
                return event
        clock.wait_ms(5)
    raise AssertionError(f"no {kind.__name__} {name} within {limit_ms} ms")


def test_an_alarm_is_heard_within_100_ms(pulse: PulseServer, clips: ClipCache, tmp_path: Path) -> None:
    """The alarm begins at the loudspeaker within 0.1 s of being raised, at its own level, and so says the saved file.

    The recorder adds its own delay, so the figure from the recording is an upper bound.
    """
    clock = SystemClock()
    alarm = clips.clip(ALARM)
    assert alarm is not None
    with Mixdown(tmp_path / "heard.wav", ["inside"]) as mix:
        player, why = open_player("inside", clock, clips, "headset", mix.add)
        assert "" == why
        recording = pulse.record("headset")
        player.say(Utterance("p", PROMPT, Priority.PROMPT))
        wait_for(player, clock, Started, "p")
        clock.wait_ms(800)
        recorded_s, raised_ms = recording.seconds(), clock.now_ms()
        player.say(Utterance("a", ALARM, Priority.ALARM))
        wait_for(player, clock, Finished, "a")
        clock.wait_ms(200)
        heard = recording.stop()
        player.close()
    place, level = place_of(alarm.samples, heard)
    saved, _ = soundfile.read(tmp_path / "heard.wav", dtype="int16")
    saved_place, saved_level = place_of(alarm.samples, saved)
    assert 0 <= saved_place / RATE_HZ * 1000 - raised_ms <= 100
    assert -20 <= (place / RATE_HZ - recorded_s) * 1000 <= 150
    assert pytest.approx(1.0, abs=0.05) == level
    assert pytest.approx(1.0, abs=0.02) == saved_level
    assert pytest.approx(-20.0, abs=1.0) == 20 * np.log10(levels.speech_active_rms(heard))


def test_a_whole_prompt_arrives(pulse: PulseServer, clips: ClipCache) -> None:
    """Nothing is lost between the clip and the loudspeaker: the recording holds the prompt at full match."""
    clock = SystemClock()
    clip = clips.clip(ALARM)
    assert clip is not None
    player, _ = open_player("inside", clock, clips, "headset")
    recording = pulse.record("headset")
    player.say(Utterance("p", ALARM, Priority.PROMPT))
    started = wait_for(player, clock, Started, "p")
    finished = wait_for(player, clock, Finished, "p")
    clock.wait_ms(200)
    heard = recording.stop()
    player.close()
    _, level = place_of(clip.samples, heard)
    assert pytest.approx(1.0, abs=0.05) == level
    assert abs(finished.at_ms - started.at_ms - clip.duration_ms) <= 200


def test_a_sound_server_that_dies_and_returns(pulse: PulseServer, clips: ClipCache) -> None:
    """The loss is told within 3 s; once the server is back the prompt is said again and heard."""
    clock = SystemClock()
    player, _ = open_player("inside", clock, clips, "headset")
    player.say(Utterance("p", PROMPT, Priority.PROMPT))
    wait_for(player, clock, Started, "p")
    clock.wait_ms(300)
    pulse.stop()
    stopped_ms = clock.now_ms()
    events: list[SpeechEvent] = []
    while not any(isinstance(event, DeviceLost) for event in events) and clock.now_ms() - stopped_ms < 5000:
        events += player.poll(clock.now_ms())
        clock.wait_ms(5)
    assert [DeviceLost, CutOff, Started] == [type(event) for event in events]
    assert events[0].at_ms - stopped_ms < 3000
    pulse.start()
    wait_for(player, clock, DeviceBack)
    recording = pulse.record("headset")
    clock.wait_ms(1000)
    assert player.speaking is not None
    player.close()
    assert levels.speech_active_rms(recording.stop()) > 0.01
