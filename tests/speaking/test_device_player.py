"""The player with a loudspeaker: cut-in, late clips, a device that goes and comes back. Fake devices run in real time."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from assistant.clock import SystemClock
from assistant.errors import AudioError
from assistant.speaking.arbiter import (
    CutOff,
    DeviceBack,
    DeviceLost,
    Dropped,
    Finished,
    Priority,
    SavingFailed,
    SpeechEvent,
    Started,
    Utterance,
)
from assistant.speaking.device_player import DevicePlayer, open_player
from assistant.speaking.levels import Samples
from assistant.speaking.mixdown import Mixdown
from assistant.speaking.player import NullPlayer, Player, Sink
from assistant.speaking.tones import Tone
from tests.speaking.fake_sound import LEVEL, FakeClips, FakeDevice

PROMPT = Utterance("p", "p" * 40, Priority.PROMPT, kind="step")
ALARM = Utterance("a", "a" * 10, Priority.ALARM)


class Rig:
    """A player, its fake device and all its events."""

    def __init__(self, clips: FakeClips, sink: Sink | None, clock: "JumpyClock") -> None:
        self.device = FakeDevice()
        self.clock = clock
        self.player = DevicePlayer("inside", self.clock, clips, self.device, sink)
        self.events: list[SpeechEvent] = []

    def wait_for(self, kind: type[SpeechEvent], name: str = "", limit_ms: int = 4000) -> SpeechEvent:
        """The next event of a kind (about an utterance), or a failure after the limit."""
        until_ms = self.clock.now_ms() + limit_ms
        while self.clock.now_ms() < until_ms:
            self.events += self.player.poll(self.clock.now_ms())
            for event in self.events:
                if isinstance(event, kind) and name in {"", getattr(getattr(event, "utterance", None), "id", "")}:
                    self.events.remove(event)
                    return event
            self.clock.wait_ms(5)
        raise AssertionError(f"no {kind.__name__} {name} within {limit_ms} ms; there were {self.events}")


@pytest.fixture
def make() -> Iterator[Callable[..., Rig]]:
    """Makes rigs and closes them."""
    made: list[Rig] = []

    def one(clips: FakeClips | None = None, sink: Sink | None = None, clock: JumpyClock | None = None) -> Rig:
        made.append(Rig(clips or FakeClips(), sink, clock or JumpyClock()))
        return made[-1]

    yield one
    for rig in made:
        rig.player.close()


def test_an_alarm_cuts_in_and_the_prompt_comes_again(make: Callable[..., Rig]) -> None:
    """The alarm starts in the same call; afterwards the prompt is said from its beginning to its end."""
    rig = make()
    rig.player.say(PROMPT)
    rig.wait_for(Started, "p")
    rig.clock.wait_ms(100)
    before_ms = rig.clock.now_ms()
    rig.player.say(ALARM)
    assert rig.wait_for(Started, "a").at_ms - before_ms < 100
    cut = rig.wait_for(CutOff, "p")
    assert CutOff(PROMPT, cut.at_ms, "alarm", again=True) == cut
    assert cut.at_ms - before_ms < 100
    rig.wait_for(Finished, "a")
    rig.wait_for(Started, "p")
    rig.wait_for(Finished, "p")
    heard = np.concatenate(rig.device.opened[0].heard)
    assert np.count_nonzero(heard == LEVEL) >= int((0.1 + 0.4) * 16_000)


def test_the_end_is_known_beforehand(make: Callable[..., Rig]) -> None:
    """`speaking_until_ms` is right to within two blocks."""
    rig = make()
    rig.player.say(PROMPT)
    rig.wait_for(Started, "p")
    foretold_ms = rig.player.speaking_until_ms
    assert abs(rig.wait_for(Finished, "p").at_ms - foretold_ms) <= 60


def test_a_slow_clip_does_not_hold_up_the_caller(make: Callable[..., Rig]) -> None:
    """`say` returns at once and the text is spoken when its clip arrives."""
    clips = FakeClips(slow=(PROMPT.text,))
    rig = make(clips)
    before_ms = rig.clock.now_ms()
    rig.player.say(PROMPT)
    assert rig.clock.now_ms() - before_ms < 50
    assert rig.player.speaking is None
    clips.arrive(PROMPT.text)
    assert getattr(rig.wait_for(Started, "p"), "audible", False)


def test_a_clip_that_never_comes_becomes_text(make: Callable[..., Rig]) -> None:
    """With a hung engine the prompt is shown after 0.4 s and the run goes on."""
    rig = make(FakeClips(slow=(PROMPT.text,)))
    rig.player.say(PROMPT)
    event = rig.wait_for(Started, "p", 1000)
    assert not getattr(event, "audible", True)
    rig.wait_for(Finished, "p")


def test_an_alarm_without_its_clip_begins_with_its_tone(make: Callable[..., Rig]) -> None:
    """Within 0.1 s the tone cuts in; the words follow in the same utterance once they are rendered."""
    clips = FakeClips(slow=(ALARM.text,))
    rig = make(clips)
    rig.player.say(PROMPT)
    rig.wait_for(Started, "p")
    before_ms = rig.clock.now_ms()
    rig.player.say(Utterance("a", ALARM.text, Priority.ALARM, tone=Tone.ALARM))
    started = rig.wait_for(Started, "a")
    assert started.at_ms - before_ms <= 100
    clips.arrive(ALARM.text)
    assert 640 + 40 <= rig.wait_for(Finished, "a").at_ms - started.at_ms <= 640 + 40 + 100 + 400


@pytest.mark.parametrize("how", ["frozen", "ended"])
def test_a_lost_device_is_noticed_and_comes_back(make: Callable[..., Rig], how: str) -> None:
    """Within 3 s the loss is told; the device is tried again with back-off; the prompt is said again."""
    rig = make()
    rig.player.say(PROMPT)
    rig.wait_for(Started, "p")
    rig.device.plugged = False
    lost_ms = rig.clock.now_ms()
    if how == "frozen":
        rig.device.opened[0].freeze()
    else:
        rig.device.opened[0].alive = False
    assert rig.wait_for(DeviceLost).at_ms - lost_ms < 3000
    cut = rig.wait_for(CutOff, "p")
    assert CutOff(PROMPT, cut.at_ms, "device lost", again=True) == cut
    assert Started(PROMPT, cut.at_ms, audible=False) == rig.wait_for(Started, "p")
    assert "not heard" == getattr(rig.wait_for(CutOff, "p"), "reason", "")
    rig.clock.wait_ms(500)
    tries = rig.device.tries
    assert 2 <= tries <= 4
    rig.device.plugged = True
    rig.wait_for(DeviceBack)
    assert getattr(rig.wait_for(Started, "p"), "audible", False)
    assert getattr(rig.wait_for(Finished, "p"), "audible", False)


def test_only_what_still_holds_is_said_on_return(make: Callable[..., Rig]) -> None:
    """Of all that was only text meanwhile, alarms and the last prompt are said; answers and cancelled kinds are not."""
    rig = make()
    rig.device.plugged = False
    rig.device.opened[0].alive = False
    rig.wait_for(DeviceLost)
    for utterance in (
        Utterance("answer", "t", Priority.ANSWER),
        Utterance("old", "o", Priority.PROMPT),
        Utterance("new", "n", Priority.PROMPT),
        Utterance("first", ALARM.text, Priority.ALARM),
        ALARM,
        Utterance("gone", "g", Priority.ALARM, kind="gas"),
    ):
        rig.player.say(utterance)
        rig.wait_for(Finished if utterance.priority is Priority.ANSWER else CutOff, utterance.id)
    rig.player.cancel("gas")
    for name in ("old", "first", "gone"):
        rig.wait_for(Dropped, name)
    rig.device.plugged = True
    rig.wait_for(DeviceBack)
    assert getattr(rig.wait_for(Finished, "a"), "audible", False)
    assert getattr(rig.wait_for(Finished, "new"), "audible", False)
    assert rig.player.speaking is None
    assert not any(isinstance(event, Finished | Dropped) for event in rig.events)


class JumpyClock(SystemClock):
    """A clock that can lose a minute at once, as a suspended program's does."""

    lost_ms = 0

    def now_ms(self) -> int:
        """Real time and what was slept through."""
        return super().now_ms() + self.lost_ms


def test_a_suspended_program_does_not_blame_the_device(make: Callable[..., Rig]) -> None:
    """After a minute of sleep the loudspeaker counts as there as soon as it asks again."""
    rig = make(None, None, JumpyClock())
    rig.player.say(PROMPT)
    rig.wait_for(Started, "p")
    rig.clock.lost_ms = 60_000
    rig.wait_for(Finished, "p")
    rig.clock.wait_ms(600)
    rig.events += rig.player.poll(rig.clock.now_ms())
    assert [] == [event for event in rig.events if isinstance(event, DeviceLost)]


def test_saved_audio_holds_what_the_device_was_given(make: Callable[..., Rig], tmp_path: Path) -> None:
    """The file has as many sounding samples as the loudspeaker got, at the time it got them."""
    with Mixdown(tmp_path / "m.wav", ["inside"]) as mix:
        rig = make(None, mix.add)
        rig.player.say(PROMPT)
        started = rig.wait_for(Started, "p")
        rig.wait_for(Finished, "p")
        rig.player.close()
    saved = np.fromfile(tmp_path / "m.wav", "<i2")[22:]
    heard = np.concatenate(rig.device.opened[0].heard)
    assert np.count_nonzero(heard) == np.count_nonzero(saved)
    assert abs(int(np.flatnonzero(saved)[0]) / 16 - started.at_ms) <= 40


def test_a_full_disk_silences_nothing(make: Callable[..., Rig]) -> None:
    """When saving fails it is told once and speech goes on."""

    def full(station: str, at_sample: int, samples: Samples) -> None:
        raise AudioError(f"no room for {samples.size} samples of {station} at {at_sample}")

    rig = make(None, full)
    rig.player.say(PROMPT)
    assert "no room" in getattr(rig.wait_for(SavingFailed), "reason", "")
    rig.wait_for(Finished, "p")
    assert not any(isinstance(event, SavingFailed) for event in rig.events)


def test_closing_tells_what_was_cut(make: Callable[..., Rig]) -> None:
    """After `close` the last poll tells all ends."""
    rig = make()
    rig.player.say(PROMPT, ALARM)
    rig.player.close()
    kinds = [type(event) for event in rig.player.poll(rig.clock.now_ms())]
    assert {Started: 1, CutOff: 1, Dropped: 1} == {kind: kinds.count(kind) for kind in kinds}


def test_without_a_loudspeaker_there_is_text_and_a_reason() -> None:
    """A device that is not there gives a silent player and one sentence."""
    player, why = open_player("inside", SystemClock(), FakeClips(), "no such loudspeaker")
    silent: Player = player
    assert isinstance(silent, NullPlayer)
    assert "'no such loudspeaker' cannot be used" in why
    assert "text" in why


def test_a_patient_player_looks_for_its_loudspeaker() -> None:
    """It begins as text, says why, lets everything end, and is heard once there is a loudspeaker."""
    device, clock = FakeDevice(), SystemClock()
    device.plugged = False
    player = DevicePlayer("inside", clock, FakeClips(), device, patient=True)
    assert "There is no loudspeaker." == player.missing
    player.say(ALARM)
    found: list[SpeechEvent] = []
    while not any(isinstance(event, DeviceBack) for event in found) and clock.now_ms() < 9_000:
        found += player.poll(clock.now_ms())
        device.plugged = device.plugged or any(isinstance(event, Finished) for event in found)
        clock.wait_ms(5)
    assert [Started(ALARM, found[0].at_ms, audible=False), Finished(ALARM, found[1].at_ms, audible=False)] == found[:2]
    assert isinstance(found[2], DeviceBack)
    player.say(ALARM)
    while not device.opened[0].heard or not np.any(device.opened[0].heard[-1]):
        clock.wait_ms(5)
    player.close()
