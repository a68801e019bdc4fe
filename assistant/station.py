"""A station: a role, something to hear with, something to speak with.

Everything happens when it is polled: waiting sound is decoded, spoken sentences are noted so that the program's own
voice is not taken for somebody's, and what was understood goes back to the one queue.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from queue import SimpleQueue
from typing import Protocol

from assistant.hearing.blocks import Block
from assistant.hearing.level import FLOOR_S, LevelMeter
from assistant.hearing.listener import Heard, Listener, ListenPhrase
from assistant.hearing.own_voice import OwnVoice
from assistant.inputs import Input, Order, Part, Words
from assistant.journal import Record
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
from assistant.speaking.player import Player
from assistant.speaking.tones import Tone
from protocol.commands import BeginHearing, Origin, Role
from protocol.events import Said, Urgency
from protocol.phrases import RADIO_CHECK_PHRASE, Strictness, meanings
from protocol.scene import Scene
from protocol.state import State

PRIORITIES = {
    Urgency.ALARM: Priority.ALARM,
    Urgency.PROMPT: Priority.PROMPT,
    Urgency.ANSWER: Priority.ANSWER,
    Urgency.INFO: Priority.INFO,
}
STEP_PROMPT = "step"
"""Kind of a step's prompt: a newer one takes its place."""


class Microphone(Protocol):
    """Where a live station's sound comes from."""

    def poll(self, now_ms: int) -> tuple[Sequence[Block], Sequence[Part]]:
        """Blocks that wait, and what happened to the device."""
        ...

    def close(self) -> None:
        """Let go of the device."""
        ...


@dataclass(frozen=True, slots=True)
class Place:
    """Who is at a station and what it is called in the record."""

    name: str
    role: Role
    how: str = "voice"


class Station:
    """One headset."""

    def __init__(
        self,
        place: Place,
        player: Player,
        listener: Listener | None,
        scene: Callable[[State, int], Scene],
        microphone: Microphone | None = None,
        reports: SimpleQueue[Part] | None = None,
    ) -> None:
        self.place = place
        self._player = player
        self._listener = listener
        self._microphone = microphone
        self._reports = reports
        self._own_voice = OwnVoice()
        self.levels = LevelMeter()
        """Of what its microphone heard lately."""
        self._told_hearing = False
        self._scene = scene
        self._waiting = 0
        self._warnings = 0

    def react(self, record: Record, state: State) -> None:
        """Say what is addressed to this station, then listen for what now means something."""
        mine = [event for event in record.events if isinstance(event, Said) and self._is_mine(event)]
        if any(event.about == state.step and event.urgency is Urgency.PROMPT for event in mine):
            self._player.cancel(STEP_PROMPT)
        if mine:
            self._waiting += len(mine)
            self._player.say(*(utterance(event, f"{record.n}.{place}", state) for place, event in enumerate(mine)))
        self.listen_for(self._scene(state, record.at_ms))

    def listen_through(self, wrap: Callable[[Microphone], Microphone]) -> bool:
        """Put something between the microphone and the station; false where there is no microphone."""
        if self._microphone is None:
            return False
        self._microphone = wrap(self._microphone)
        return True

    def listen_for(self, scene: Scene) -> None:
        """Put the phrases in force into the listener."""
        if self._listener is not None:
            rows = meanings(scene, self.place.role).values()
            self._listener.set_phrases([ListenPhrase(row.text, row.strictness) for row in rows])

    def hear(self, block: Block) -> list[Input]:
        """What a block of sound said, if it said anything."""
        if self._listener is None:
            return []
        self.levels.feed(block)
        return [self._words(heard) for heard in self._listener.feed(block) if self._allows(heard)]

    def finish(self) -> list[Input]:
        """What was still being said when the sound ended."""
        if self._listener is None:
            return []
        return [self._words(heard) for heard in self._listener.flush() if self._allows(heard)]

    def poll(self, now_ms: int) -> list[Input]:
        """Note what was spoken, decode what waits, and report devices that fail or come back."""
        found: list[Input] = []
        while self._reports is not None and not self._reports.empty():
            found.append(self._reports.get_nowait())
        for event in self._player.poll(now_ms):
            found.extend(self._note(event))
        if self._microphone is not None:
            blocks, parts = self._microphone.poll(now_ms)
            found.extend(parts)
            for block in blocks:
                found.extend(self.hear(block))
            found.extend(self._begins_to_hear())
        return found

    def warn(self, text: str) -> None:
        """Say at once, as an alarm, what cannot be on record."""
        name = self._unrecorded()
        self._player.say(Utterance(name, text, Priority.ALARM, interruptible=False, kind="warning", tone=Tone.ALARM))

    def tell(self, said: Said, state: State) -> None:
        """Say what is not on record, or was on record before, if it is addressed to this station."""
        if self._is_mine(said):
            self._player.say(utterance(said, self._unrecorded(), state))

    def _unrecorded(self) -> str:
        self._waiting += 1
        self._warnings += 1
        return f"warning.{self._warnings}"

    @property
    def silent(self) -> bool:
        """Whether nothing is being said or waits to be said."""
        return self._waiting == 0

    def close(self) -> None:
        """Let go of devices."""
        if self._microphone is not None:
            self._microphone.close()
        self._player.close()

    def _is_mine(self, event: Said) -> bool:
        if event.station not in {"", self.place.name}:
            return False
        return self.place.role.covers("either" if event.to == Role.BOTH.value else event.to)

    def _allows(self, heard: Heard) -> bool:
        if heard.phrase.strictness is Strictness.LOOSE:
            return True
        return not self._own_voice.may_be_echo(heard.text, heard.start_s)

    def _begins_to_hear(self) -> list[Input]:
        """Once, when enough was heard to measure the noise and nothing is being said: the microphone is heard."""
        if self._told_hearing or not self.silent or self.levels.heard_s < FLOOR_S:
            return []
        self._told_hearing = True
        return [Order(BeginHearing(0, Origin(self.place.name, self.place.role)))]

    def _note(self, event: SpeechEvent) -> list[Input]:
        if isinstance(event, Finished | Dropped) or (isinstance(event, CutOff) and not event.again):
            self._waiting -= 1
        if isinstance(event, Started) and event.audible:
            until_s = self._player.speaking_until_ms / 1000
            self._own_voice.speaking(event.utterance.text, event.at_ms / 1000, max(until_s, event.at_ms / 1000))
        elif isinstance(event, Finished | CutOff):
            self._own_voice.stopped(event.at_ms / 1000)
        elif isinstance(event, DeviceLost):
            return [Part("speaker", works=False, detail=event.reason)]
        elif isinstance(event, SavingFailed):
            return [Part("saved audio", works=False, detail=event.reason)]
        elif isinstance(event, DeviceBack):
            return [Part("speaker", works=True, detail="The speaker is back.")]
        return []

    def _words(self, heard: Heard) -> Input:
        measured = heard.text == RADIO_CHECK_PHRASE
        origin = Origin(
            self.place.name, self.place.role, self.place.how, heard.text, round(heard.confidence, 3),
            sound=self.levels.phrase(heard.start_s, heard.end_s) if measured else None,
        )  # fmt: skip
        return Words(heard.text, origin, round(heard.accepted_at_s * 1000))


def utterance(event: Said, name: str, state: State) -> Utterance:
    """A sentence of the record as something to play."""
    alarm = event.urgency is Urgency.ALARM
    kind = f"{event.about}:{event.text}" if alarm else event.about
    if event.urgency is Urgency.PROMPT and event.about == state.step:
        kind = STEP_PROMPT
    return Utterance(
        id=name,
        text=event.text,
        priority=PRIORITIES[event.urgency],
        interruptible=not alarm,
        kind=kind,
        tone=Tone.ALARM if alarm else None,
    )
