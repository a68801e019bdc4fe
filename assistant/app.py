"""Builds the parts of a run from its options: the one place that names concrete devices, models and voices."""

import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

from assistant.clock import Clock, wall_time
from assistant.devices import Devices
from assistant.errors import ModelError
from assistant.hearing.listener import Listener
from assistant.hearing.recogniser import SpeechModel
from assistant.hearing.sources import MicrophoneSource
from assistant.inputs import Part
from assistant.live import UNWRITTEN
from assistant.microphone import LiveMicrophone
from assistant.sound_server import StreamWatch, watch_streams
from assistant.speaking.clips import ClipCache
from assistant.speaking.device_player import DevicePlayer
from assistant.speaking.mixdown import Mixdown
from assistant.speaking.player import NullPlayer, Player, TimelinePlayer
from assistant.speaking.sound_output import speaker
from assistant.speaking.voice_settings import VoiceSettings
from assistant.station import Place, Station
from protocol.commands import Role
from protocol.person_lines import every_line
from protocol.phrases import every_phrase
from protocol.scene import Book, Scene
from protocol.spoken_texts import alarm_texts, fixed_texts
from protocol.state import State

FOLDER = Path("incidents")
VOICE = VoiceSettings(spanish=every_line("es"))
THREADS_TURN_S = 0.001
"""How long one thread may hold up the one that feeds the loudspeaker."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the person at the command line asked for."""

    role: Role = Role.BOTH
    keyboard: bool = False
    mute: bool = False
    input: str | None = None
    output: str | None = None
    model: Path | None = None
    save_audio: Path | None = None
    name: str = "crew"
    """What the station is called."""


@dataclass(frozen=True, slots=True)
class Built:
    """A station, and what could not be had."""

    station: Station
    troubles: list[Part]
    clips: ClipCache | None
    mixdown: Mixdown | None
    watch: StreamWatch | None = None
    model: SpeechModel | None = None
    devices: Devices | None = None

    def close(self) -> None:
        """Let go of everything."""
        if self.watch is not None:
            self.watch.close()
        self.station.close()
        if self.clips is not None:
            self.clips.close()
        if self.mixdown is not None:
            self.mixdown.close()


def default_journal() -> Path:
    """A new name in the incidents folder, from the wall clock."""
    stamp = wall_time().replace(":", "").replace("+0000", "Z")
    return FOLDER / f"{stamp}.jsonl"


def load_model(path: Path | None, book: Book) -> SpeechModel:
    """The speech model, with every word of the procedure checked against it.

    Raises:
        ModelError: if it is missing, broken or lacks a word.
    """
    model = SpeechModel(path)
    model.require(every_phrase(book))
    return model


def prepare_clips(book: Book, show: Callable[[str], None], reports: SimpleQueue[Part] | None = None) -> ClipCache:
    """The spoken prompts; those that are fixed are rendered now, with progress.

    Args:
        book: what may be said.
        show: tells a person what has no sound.
        reports: is told when the speech engine fails or comes back.
    """

    def report(works: bool, why: str) -> None:
        if reports is not None:
            reports.put(Part("speech engine", works, why))

    clips = ClipCache(settings=VOICE, report=report, note=show)

    def progress(done: int, total: int) -> None:
        if done < total and sys.stderr.isatty():
            sys.stderr.write(f"\rPreparing prompts {done}/{total} ")

    prepared = clips.prepare((UNWRITTEN, *fixed_texts(book)), progress)
    if prepared.failed:
        show(f"{len(prepared.failed)} prompts have no sound: {prepared.reason}")
    for text in (UNWRITTEN, *alarm_texts(book)):
        clips.request(text)
    return clips


def live_station(
    book: Book, wishes: Wishes, clock: Clock, show: Callable[[str], None], beside: Built | None = None
) -> Built:
    """The station of a live run. What cannot be had becomes a trouble, never a stop.

    Args:
        book: what may be said.
        wishes: what the person asked for.
        clock: the incident's.
        show: tells a person.
        beside: a station of the same machine, whose model, clips and list of devices serve this one too.

    Raises:
        ModelError: if a model was asked for by name and cannot be used.
        AudioError: if a microphone or a speaker was asked for by name and cannot be used.
    """
    sys.setswitchinterval(THREADS_TURN_S)
    troubles: list[Part] = []
    mixdown = Mixdown(wishes.save_audio, (wishes.name,)) if wishes.save_audio else None
    reports: SimpleQueue[Part] = SimpleQueue()
    kept = beside.clips if beside else None
    clips = None if wishes.mute else kept or prepare_clips(book, show, reports)
    player: Player = NullPlayer(wishes.name, clock)
    devices = beside.devices if beside and beside.devices else Devices()
    if clips is not None:
        opener, keep = devices.speaker(speaker(wishes.output)), mixdown.add if mixdown else None
        player = DevicePlayer(wishes.name, clock, clips, opener, keep, patient=wishes.output is None)
        if player.missing:
            troubles.append(Part("speaker", works=False, detail=player.missing))
    model = beside.model if beside else None
    listener, microphone, model = _ears(book, wishes, clock, troubles, devices, model)
    place = Place(wishes.name, wishes.role)
    station = Station(place, player, listener, _scene_of(book), microphone, reports)
    silent = clips is None and microphone is None
    watch = None if silent or beside else watch_streams(os.getpid(), reports.put)
    return Built(station, troubles, None if kept else clips, mixdown, watch, model, devices)


def recorded_station(book: Book, wishes: Wishes, clock: Clock) -> Built:
    """The station of a rehearsal: it hears what it is fed, and speaks on the recording's own time.

    Raises:
        ModelError: if the model cannot be used: without one there is no rehearsal.
    """
    listener = Listener(load_model(wishes.model, book), known=every_phrase(book))
    mixdown = Mixdown(wishes.save_audio, ("crew",)) if wishes.save_audio else None
    clips = ClipCache(settings=VOICE)
    player = TimelinePlayer("crew", clock, clips, mixdown.add if mixdown else None)
    place = Place("crew", wishes.role)
    return Built(Station(place, player, listener, _scene_of(book)), [], clips, mixdown)


def _ears(
    book: Book, wishes: Wishes, clock: Clock, troubles: list[Part], devices: Devices, model: SpeechModel | None
) -> tuple[Listener | None, LiveMicrophone | None, SpeechModel | None]:
    if wishes.keyboard:
        return None, None, None
    try:
        model = model or load_model(wishes.model, book)
    except ModelError as error:
        if wishes.model:
            raise
        troubles.append(Part("speech model", works=False, detail=str(error)))
        return None, None, None
    microphone = LiveMicrophone(
        lambda: devices.microphone(lambda: MicrophoneSource(wishes.input)), clock.now_ms(), patient=wishes.input is None
    )
    if microphone.missing:
        troubles.append(Part("microphone", works=False, detail=microphone.missing))
    return Listener(model, known=every_phrase(book)), microphone, model


def _scene_of(book: Book) -> Callable[[State, int], Scene]:
    return lambda state, at_ms: Scene(book, state, at_ms)
