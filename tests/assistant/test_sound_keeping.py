"""`--keep-audio` from the option to the debrief: told, on record, and played where it was said."""

import base64
import json
import re
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.cli import main, parser
from assistant.clock import ManualClock
from assistant.commands.sound_keeping import NO_MICROPHONE, keep_sound
from assistant.debrief import clips as clips_module
from assistant.debrief.clips import BEFORE_MS, clips
from assistant.debrief.telling import tell
from assistant.hearing.blocks import RATE, Block
from assistant.incident import Incident, begin, open_incident
from assistant.inputs import Part
from assistant.keeping import RESERVE_BYTES, FlacFile
from assistant.library import source_for
from assistant.live import Loop
from assistant.speaking.player import NullPlayer
from assistant.station import Place, Station
from protocol.commands import Origin, Role
from protocol.events import AudioKept, Said
from protocol.scene import Scene

SAID = ("one person trapped", "person in plain sight", "affirmative")
BLOCK = RATE // 10


class Ear:
    """A microphone that hears one block for each tenth of a second of the clock, its level the tenth's number."""

    def __init__(self) -> None:
        self.tenths = 0

    def poll(self, now_ms: int) -> tuple[Sequence[Block], Sequence[Part]]:
        """The blocks up to now."""
        blocks = []
        while (self.tenths + 1) * 100 <= now_ms:
            blocks.append(Block(np.full(BLOCK, self.tenths, np.int16), self.tenths / 10))
            self.tenths += 1
        return blocks, []

    def close(self) -> None:
        """Nothing to let go of."""


class Run:
    """An incident with one headset, its loop turned by hand."""

    def __init__(self, path: Path, ear: Ear | None) -> None:
        self.clock = ManualClock()
        self.incident: Incident = open_incident(source_for(), path, "drill", self.clock)
        book = self.incident.session.book
        player = NullPlayer("crew", self.clock)
        place = Place("crew", Role.BOTH)
        self.station = Station(place, player, None, lambda state, at_ms: Scene(book, state, at_ms), ear)
        self.shown: list[str] = []
        self.loop = Loop(self.incident, [self.station], self.shown.append)
        begin(self.incident, "drill")
        self.troubles = keep_sound(self.incident, path, [self.station], self.shown.append)

    def say(self, words: str) -> None:
        """Ten seconds of sound, then the words."""
        self.clock.wait_ms(10_000)
        self.loop._poll()
        self.incident.session.say(words, self.clock.now_ms(), Origin("crew", Role.BOTH, "voice", words, 0.9))

    def close(self) -> None:
        """As the program does at its end."""
        self.station.close()
        self.incident.journal.close()


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """The record of a run whose sound was kept."""
    path = tmp_path / "run.jsonl"
    run = Run(path, Ear())
    for words in SAID:
        run.say(words)
    run.close()
    return path


def test_it_is_off_unless_asked_for() -> None:
    """No command keeps sound by itself."""
    for words in (["run"], ["resume", "x.jsonl"], ["drill", "waist_deep"]):
        assert parser().parse_args(words).keep_audio is False
        assert parser().parse_args([*words, "--keep-audio"]).keep_audio is True


def test_keeping_is_said_shown_and_on_record(tmp_path: Path) -> None:
    """The headset is told in a sentence, the terminal shows the file, the record names it and its first moment."""
    run = Run(tmp_path / "run.jsonl", Ear())
    run.close()
    history_events = [event for record in _records(tmp_path / "run.jsonl") for event in record["events"]]
    (event,) = [event for event in history_events if event["is"] == AudioKept.__name__]
    assert ("crew", "run.crew-1.flac", 0) == (event["station"], event["file"], event["at_ms"])
    said = [event["text"] for event in history_events if event["is"] == Said.__name__ and event["station"] == "crew"]
    assert ["What this headset hears is kept from now on."] == said
    assert any("run.crew-1.flac" in line for line in run.shown)
    assert [] == run.troubles


def test_the_file_holds_all_that_was_heard(kept: Path) -> None:
    """Thirty seconds, each tenth where it was heard."""
    sound, rate = soundfile.read(kept.with_name("run.crew-1.flac"), dtype="int16")
    assert RATE == rate
    assert [number for number in range(300) for _ in range(BLOCK)] == list(sound)


def test_the_debrief_plays_what_was_said(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each phrase has a player with the seconds before it was taken, inside the page; without --audio there is none."""
    assert 0 == main(["report", str(kept), "--audio"])
    assert "3 sounds are inside the page." in capsys.readouterr().out
    page = kept.with_name("run.report.html").read_text()
    addresses = re.findall(r"src='data:audio/flac;base64,([^']+)'", page)
    assert 3 == len(set(addresses))
    sound, _rate = soundfile.read(BytesIO(base64.b64decode(addresses[0])), dtype="int16")
    assert (10_000 - BEFORE_MS) // 100 == sound[0]
    assert 104 == sound[-1]
    assert 0 == main(["report", str(kept)])
    assert "<audio" not in kept.with_name("run.report.html").read_text()


def test_many_sounds_lie_beside_the_page(kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A page does not swallow megabytes: the sounds go into a folder beside it, and it says so."""
    monkeypatch.setattr(clips_module, "INSIDE_BYTES", 100)
    found = clips(tell(kept), kept.parent, tmp_path / "out", "run.report")
    assert {"run.report.sounds/10000.flac", "run.report.sounds/20000.flac", "run.report.sounds/30000.flac"} == set(
        found.addresses.values()
    )
    assert all((tmp_path / "out" / address).is_file() for address in found.addresses.values())
    assert "keep that folder beside the page" in found.sentences[-1]


def test_missing_sound_is_told(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The report is made all the same."""
    kept.with_name("run.crew-1.flac").unlink()
    assert 0 == main(["report", str(kept), "--audio"])
    assert "run.crew-1.flac is not beside the record" in capsys.readouterr().out


def test_a_record_never_names_a_file_elsewhere(kept: Path) -> None:
    """A record from somebody else cannot make the report read another folder's sound."""
    from dataclasses import replace  # noqa: PLC0415

    tale = tell(kept)
    outside = kept.parent / "other"
    outside.mkdir()
    kept.with_name("run.crew-1.flac").rename(outside / "s.flac")
    sound = replace(tale.sounds[0], file="other/s.flac")
    assert {} == clips(replace(tale, sounds=(sound,)), kept.parent, kept.parent, "r").addresses


def test_without_a_microphone_nothing_is_kept_and_that_is_shown(tmp_path: Path) -> None:
    """No empty file, no event: only the sentence."""
    run = Run(tmp_path / "run.jsonl", None)
    run.close()
    assert NO_MICROPHONE in run.shown
    assert [] == list(tmp_path.glob("*.flac"))


def test_too_little_room_is_a_trouble_and_the_incident_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the start already: the run begins, and says that no sound is kept and why."""
    from assistant.commands import sound_keeping  # noqa: PLC0415

    monkeypatch.setattr(
        sound_keeping, "FlacFile", lambda path, at_ms: FlacFile(path, at_ms, lambda _folder: RESERVE_BYTES - 1)
    )
    run = Run(tmp_path / "run.jsonl", Ear())
    (trouble,) = run.troubles
    assert ("audio keeping", False) == (trouble.part, trouble.works)
    assert trouble.detail.endswith("Everything else goes on.")
    run.say(SAID[0])
    assert 1 == run.incident.session.state.steps_confirmed
    run.close()


def _records(path: Path) -> list[dict[str, list[dict[str, object]]]]:
    return [json.loads(line) for line in path.read_bytes().splitlines()[1:]]

