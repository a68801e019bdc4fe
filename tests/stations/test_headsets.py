"""Several headsets of one machine: each hears its own, speaks its own, and a phrase that two heard counts once."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.cli import parser
from assistant.clock import ManualClock
from assistant.commands.linking import wishes_of
from assistant.errors import LinkError, UsageError
from assistant.hearing.blocks import RATE, Samples
from assistant.hearing.listener import Listener
from assistant.hearing.recogniser import SpeechModel
from assistant.incident import begin, open_incident
from assistant.inputs import Stop
from assistant.journal import read
from assistant.library import source_for
from assistant.live import Loop
from assistant.replay import verify
from assistant.station import Place, Station
from assistant.stations.numbered import Numbered
from protocol.commands import Origin, Role
from protocol.events import DeliveryRefused, DeliveryTaken, StationChanged
from protocol.scene import Scene
from protocol.state import State
from tests.drills import VISIBLE
from tests.stations.crew_voices import Ear
from tests.stations.site import HeardPlayer

CLIPS = Path(__file__).parents[2] / "audio_fixtures" / "phrases"
ROLES = {"one": Role.INSIDE, "two": Role.INSIDE, "officer": Role.OUTSIDE}


def clip(words: str) -> Samples:
    """A phrase as recorded."""
    sound, rate = soundfile.read(CLIPS / f"{words.replace(' ', '_')}.flac", dtype="int16")
    assert rate == RATE
    found: Samples = sound
    return found


class Crew:
    """Three headsets on one machine, on a virtual clock, each with a microphone of its own."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "incident.jsonl"
        self.clock = ManualClock()
        self.incident = open_incident(source_for(), self.path, "drill", self.clock)
        session, model = self.incident.session, SpeechModel()
        silence = np.random.default_rng(1).integers(-20, 20, 5 * RATE).astype(np.int16)
        self.ears = {name: Ear(silence) for name in ROLES}
        self.players = {name: HeardPlayer(name, self.clock) for name in ROLES}

        def scene(state: State, at_ms: int) -> Scene:
            return Scene(session.book, state, at_ms)

        stations = [
            Station(Place(name, role), self.players[name], Listener(model), scene, self.ears[name]) for name, role in ROLES.items()
        ]
        self.loop = Loop(self.incident, [Numbered(one, session, lambda: 70) for one in stations], lambda _text: None)
        begin(self.incident, "drill")

    def type_until(self, step: str) -> None:
        """Somebody types the drill up to a step."""
        for words in VISIBLE:
            if self.incident.session.state.step == step:
                return
            self.pass_time(0.3)
            self.incident.session.say(words, self.clock.now_ms(), Origin("crew", Role.BOTH, "keyboard", words))

    def pass_time(self, seconds: float) -> None:
        """Let it run."""
        for _ in range(round(seconds / 0.06)):
            self.clock.wait_ms(60)
            assert not isinstance(self.loop, Stop)
            self.loop._let_time_pass()
            self.loop._poll()

    def hear(self, words: str, *names: str) -> None:
        """Somebody speaks in front of some microphones."""
        for name in names:
            self.ears[name].hear(clip(words))
        self.pass_time(len(clip(words)) / RATE + 2.0)

    def decided(self) -> list[tuple[str, str, bool]]:
        """Station, words, whether taken."""
        return [
            (event.station, event.heard, isinstance(event, DeliveryTaken))
            for event in read(self.path).events
            if isinstance(event, DeliveryTaken | DeliveryRefused)
        ]


@pytest.fixture
def crew(tmp_path: Path) -> Crew:
    """Three headsets."""
    made = Crew(tmp_path)
    made.pass_time(1)
    return made


def test_each_headset_hears_its_own_and_knows_its_own_phrases(crew: Crew) -> None:
    """The officer's words at the officer's headset confirm; the same words at a rescuer's mean nothing there."""
    crew.hear("one person trapped", "one")
    assert [] == crew.decided()
    crew.hear("one person trapped", "officer")
    assert [("officer", "one person trapped", True)] == crew.decided()
    assert "visible" == crew.incident.session.state.step
    assert [("one", 70), ("two", 70), ("officer", 70)] == [
        (event.station, event.battery) for event in read(crew.path).events if isinstance(event, StationChanged)
    ]


def test_each_headset_speaks_only_what_is_addressed_to_it(crew: Crew) -> None:
    """A prompt for outside is silent inside, and an answer sounds only where it was asked."""
    assert any("How many people" in text for text in crew.players["officer"].said)
    assert not any("How many people" in text for text in crew.players["one"].said)
    before = {name: len(player.said) for name, player in crew.players.items()}
    crew.hear("say again", "one")
    after = {name: len(player.said) for name, player in crew.players.items()}
    assert ("one", "say again", True) in crew.decided()
    assert before["two"] == after["two"]
    assert before["officer"] < after["officer"]


def test_a_phrase_that_two_microphones_heard_counts_once(crew: Crew) -> None:
    """A panel told by one rescuer beside another: one confirmation, the second refused in silence, on record."""
    crew.type_until("chest_clear")
    count = len(crew.incident.session.state.canisters_ms)
    crew.hear("canister is full", "one", "two")
    assert count + 1 == len(crew.incident.session.state.canisters_ms)
    assert [("canister is full", True), ("canister is full", False)] == [row[1:] for row in crew.decided()]
    crew.hear("canister is full", "two")
    assert count + 2 == len(crew.incident.session.state.canisters_ms)
    assert verify(read(crew.path)) is None


def test_headsets_are_named_on_the_command_line() -> None:
    """Name, role, and devices if they are not the default ones."""
    options = parser().parse_args(
        ["run", "--headset", "one:inside:USB Headset, usb:0|Ear", "--headset", "officer:outside", "--save-audio", "a.wav"]
    )
    first, second = wishes_of(options)
    assert ("one", Role.INSIDE, "USB Headset, usb:0", "Ear") == (first.name, first.role, first.input, first.output)
    assert ("officer", Role.OUTSIDE, None, None) == (second.name, second.role, second.input, second.output)
    assert ["a-one.wav", "a-officer.wav"] == [str(one.save_audio) for one in (first, second)]
    assert ["crew"] == [one.name for one in wishes_of(parser().parse_args(["run"]))]


@pytest.mark.parametrize(
    ("texts", "error"),
    [(["one"], UsageError), (["one:chief"], UsageError), (["One:inside"], LinkError), (["a:inside", "a:outside"], UsageError)],
)
def test_a_headset_that_is_named_wrongly_is_refused(texts: list[str], error: type[Exception]) -> None:
    """With what to write."""
    words = [word for text in texts for word in ("--headset", text)]
    with pytest.raises(error):
        wishes_of(parser().parse_args(["run", *words]))
