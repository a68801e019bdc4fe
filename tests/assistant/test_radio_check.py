"""The radio check of a run: from the microphone's blocks over the record to the answer, and an old record after it."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from assistant.board.stations_card import stations_card
from assistant.clock import ManualClock
from assistant.hearing.blocks import RATE, Samples
from assistant.hearing.listener import Listener
from assistant.hearing.recogniser import SpeechModel
from assistant.incident import Incident, begin, open_incident, resume_incident
from assistant.journal import _link, read
from assistant.library import source_for
from assistant.live import Loop, Post
from assistant.replay import rebuild, verify
from assistant.station import Place, Station
from assistant.stations.numbered import Numbered
from assistant.story import lines_of
from protocol import commands as cmd
from protocol import events as ev
from protocol.headset import Verdict
from protocol.rules.headsets import ASK_FOR_CHECK
from protocol.scene import Scene
from protocol.state import State
from tests.stations.crew_voices import Ear
from tests.stations.site import HeardPlayer

FIXTURES = Path(__file__).parents[2] / "audio_fixtures"
QUIET, DIN = 10, 3_000


class Headset:
    """One headset of a live incident on a virtual clock, with so much noise at its microphone."""

    def __init__(self, folder: Path, noise: int, wrap: Callable[[Station, Incident], Post] | None = None) -> None:
        self.path = folder / "incident.jsonl"
        self.clock = ManualClock()
        self.incident = open_incident(source_for(), self.path, "live", self.clock)
        self.wear(noise, wrap)
        begin(self.incident, "live")

    def wear(self, noise: int, wrap: Callable[[Station, Incident], Post] | None = None) -> None:
        """Put it on."""
        session = self.incident.session

        def scene(state: State, at_ms: int) -> Scene:
            return Scene(session.book, state, at_ms)

        hiss = np.random.default_rng(1).standard_normal(20 * RATE) * noise
        self.ear = Ear(hiss.astype(np.int16))
        self.player = HeardPlayer("crew", self.clock)
        station = Station(Place("crew", cmd.Role.BOTH), self.player, Listener(SpeechModel()), scene, self.ear)
        self.loop = Loop(self.incident, [wrap(station, self.incident) if wrap else station], lambda _text: None)
        station.listen_for(session.scene(self.clock.now_ms()))

    def pass_time(self, seconds: float) -> None:
        """Let it run."""
        for _ in range(round(seconds / 0.06)):
            self.clock.wait_ms(60)
            while not self.loop._inputs.empty():
                self.loop._take(self.loop._inputs.get_nowait())  # type: ignore[arg-type]
            self.loop._let_time_pass()
            self.loop._poll()

    def say(self, words: Samples) -> None:
        """Into the noise at its microphone."""
        behind = np.resize(self.ear.fan, len(words)).astype(np.int32)
        self.ear.hear(np.clip(words + behind, -32768, 32767).astype(np.int16))
        self.pass_time(len(words) / RATE + 2.0)

    def of(self, kind: type[Any]) -> list[Any]:
        """Events of a kind on record."""
        return [event for event in read(self.path).events if isinstance(event, kind)]


@pytest.fixture(scope="module")
def words() -> Samples:
    """A radio check without noise."""
    found: Samples = soundfile.read(FIXTURES / "radio_check.flac", dtype="int16")[0]
    return found


def asked(headset: Headset) -> int:
    """How often the wearer was asked."""
    return headset.player.said.count(ASK_FOR_CHECK)


def test_a_headset_is_asked_once_and_answered_by_what_it_hears(tmp_path: Path, words: Samples) -> None:
    """Asked when the opening is said and five seconds were heard; measured, on record, spoken, on the board."""
    headset = Headset(tmp_path, QUIET)
    headset.pass_time(4)
    assert 0 == asked(headset)
    headset.pass_time(40)
    assert 1 == asked(headset)
    headset.say(words)
    (checked,) = headset.of(ev.RadioChecked)
    assert Verdict.GOOD is checked.verdict
    assert "Loud and clear." == headset.player.said[-1]
    assert checked.sound.speech_dbfs == pytest.approx(20 * np.log10(0.1), abs=2)
    assert checked.sound.floor_dbfs == pytest.approx(20 * np.log10(QUIET / 32768), abs=1)
    (row,) = stations_card(headset.incident.session.scene(headset.clock.now_ms())).rows
    assert ("crew", False) == (row.name, row.radio_bad)
    assert row.radio.startswith("Radio check: good. Speech -2")
    headset.pass_time(30)
    assert 1 == asked(headset)
    assert verify(read(headset.path)) is None
    told = [line for record in read(headset.path).records for line in lines_of(record, headset.incident.session.book)]
    assert any("** headset crew: Speech -2" in line and line.endswith("Verdict: good.") for line in told)


def test_in_a_din_the_wearer_is_sent_to_the_board(tmp_path: Path, words: Samples) -> None:
    """The phrase is understood, and the verdict is that this will not last; the board shows which headset is bad."""
    headset = Headset(tmp_path, DIN)
    headset.pass_time(40)
    headset.say(words)
    (checked,) = headset.of(ev.RadioChecked)
    assert Verdict.NOISY is checked.verdict
    assert "Too noisy for voice. Use the board." == headset.player.said[-1]
    (row,) = stations_card(headset.incident.session.scene(headset.clock.now_ms())).rows
    assert row.radio_bad


def test_a_headset_that_nobody_checked_stands_on_the_board(tmp_path: Path) -> None:
    """From the moment when its microphone is heard."""
    headset = Headset(tmp_path, QUIET)
    assert () == stations_card(headset.incident.session.scene(headset.clock.now_ms())).rows
    headset.pass_time(40)
    (row,) = stations_card(headset.incident.session.scene(headset.clock.now_ms())).rows
    assert ("crew", "heard", "Radio check not done", True) == (row.name, row.words, row.radio, row.radio_bad)


def test_among_several_headsets_no_number_is_left_out(tmp_path: Path, words: Samples) -> None:
    """The notice that it is heard has no number, so that the words after it have the next one."""

    def numbered(station: Station, incident: Incident) -> Post:
        return Numbered(station, incident.session)

    headset = Headset(tmp_path, QUIET, numbered)
    headset.pass_time(40)
    headset.say(words)
    assert [1] == [event.seq for event in headset.of(ev.DeliveryTaken)]
    assert [1, 1] == [len(headset.of(kind)) for kind in (ev.HearingBegun, ev.RadioChecked)]
    (row,) = stations_card(headset.incident.session.scene(headset.clock.now_ms())).rows
    assert ("crew", "linked", False) == (row.name, row.words, row.radio_bad)
    assert row.radio


def test_after_a_stop_a_checked_headset_is_not_asked_again(tmp_path: Path, words: Samples) -> None:
    """The check stands on the record."""
    headset = Headset(tmp_path, QUIET)
    headset.pass_time(40)
    headset.say(words)
    headset.incident.journal.close()
    resumed = resume_incident(headset.path)
    headset.incident = replace(resumed, clock=headset.clock)
    headset.wear(QUIET)
    headset.pass_time(20)
    assert 0 == asked(headset)
    assert 1 == len(headset.of(ev.HearingBegun))


def test_a_record_from_before_is_read_checked_and_gone_on_with(tmp_path: Path) -> None:
    """No origin in it has a measurement, and a radio check that was heard had one sentence for everybody."""
    incident = open_incident(source_for(), tmp_path / "new.jsonl", "live", ManualClock())
    begin(incident, "live")
    heard = cmd.Origin("crew", cmd.Role.BOTH, "voice", "radio check", 0.97)
    incident.session.submit(cmd.Ask(3_000, heard, cmd.Query.RADIO_CHECK))
    incident.journal.close()
    old, chain = tmp_path / "old.jsonl", ""
    with old.open("w") as file:
        for line in (tmp_path / "new.jsonl").read_text().splitlines():
            plain = json.loads(line)
            del plain["chain"]
            plain.get("command", {}).get("origin", {}).pop("sound", None)
            chain = _link(chain, plain)
            file.write(json.dumps({**plain, "chain": chain}) + "\n")
    assert '"sound"' not in old.read_text()
    history = read(old)
    assert verify(history) is None
    assert "Loud and clear." == dict(rebuild(history).last_said)["inside"]
    assert () == rebuild(history).headsets
    resumed = resume_incident(old)
    resumed.session.submit(cmd.BeginHearing(10_000, cmd.Origin("crew")))
    resumed.journal.close()
    assert verify(read(old)) is None
