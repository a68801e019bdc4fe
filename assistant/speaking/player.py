"""Players: one per station. They ask the arbiter who speaks, give the clips a time, and report what was said when.

`TimelinePlayer` has no device: each clip takes its own duration on whatever clock it is given, so a rehearsal can run
faster than real time. `NullPlayer` has no clips either: text only, with estimated durations. The one with a
loudspeaker is in `device_player`.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Final, Protocol

import numpy as np

from assistant.clock import Clock
from assistant.speaking import levels, wording
from assistant.speaking.arbiter import Arbiter, CutOff, Finished, SpeechEvent, Started, Utterance
from assistant.speaking.clips import Clip
from assistant.speaking.levels import RATE_HZ, Samples
from assistant.speaking.tones import with_tone

Sink = Callable[[str, int, Samples], None]
"Takes what a station heard: station, position in samples at 16 kHz since the clock's zero, samples."

SAMPLES_PER_MS: Final = RATE_HZ // 1000
CLIP_WAIT_MS: Final = 5_000


class ClipSource(Protocol):
    """Where clips come from."""

    def clip(self, text: str, wait_ms: int = ...) -> Clip | None:
        """The spoken text, or None when it can only be shown."""
        ...


class Player(Protocol):
    """The voice of one station, as the session sees it. Nothing here blocks."""

    station: str

    @property
    def speaking(self) -> Utterance | None:
        """What is being said."""
        ...

    @property
    def speaking_until_ms(self) -> int:
        """When what is being said will have been said; a moment in the past while the station is silent."""
        ...

    def say(self, *utterances: Utterance) -> None:
        """Hand over what is to be said; one call is one arrival and keeps its order."""
        ...

    def cancel(self, kind: str) -> None:
        """Drop what waits of this kind, and stop it if it is being said and may be interrupted."""
        ...

    def poll(self, now_ms: int) -> list[SpeechEvent]:
        """What happened since the last call, oldest first."""
        ...

    def close(self) -> None:
        """Fall silent for good; a last `poll` tells what was cut off."""
        ...


class TimelinePlayer:
    """Says everything on the clock it is given, without a device. Not for several threads."""

    def __init__(self, station: str, clock: Clock, clips: ClipSource | None = None, sink: Sink | None = None) -> None:
        self.station = station
        self._clock = clock
        self._clips = clips
        self._sink = sink
        self._arbiter = Arbiter()
        self._events: list[SpeechEvent] = []
        self._sound: Samples | None = None
        self._started_ms = 0
        self._until_ms = 0

    @property
    def speaking(self) -> Utterance | None:
        """What is being said."""
        return self._arbiter.speaking

    @property
    def speaking_until_ms(self) -> int:
        """When what is being said will have been said; a moment in the past while the station is silent."""
        return self._until_ms

    @property
    def next_change_ms(self) -> int | None:
        """When `poll` will next have something new by time alone; None when nothing is under way."""
        waiting = self._arbiter.next_change_ms()
        moments = [moment for moment in (waiting, self._until_ms if self.speaking else None) if moment is not None]
        return min(moments, default=None)

    def say(self, *utterances: Utterance) -> None:
        """Hand over what is to be said; one call is one arrival and keeps its order."""
        now_ms = self._clock.now_ms()
        self._advance(now_ms)
        self._take(self._arbiter.say(*utterances, at_ms=now_ms))
        self._settle(now_ms)

    def cancel(self, kind: str) -> None:
        """Drop what waits of this kind, and stop it if it is being said and may be interrupted."""
        now_ms = self._clock.now_ms()
        self._advance(now_ms)
        self._take(self._arbiter.cancel(kind, now_ms))
        self._settle(now_ms)

    def poll(self, now_ms: int) -> list[SpeechEvent]:
        """What happened up to `now_ms` since the last call, each at its exact time."""
        self._advance(now_ms)
        events, self._events = self._events, []
        return events

    def close(self) -> None:
        """Fall silent for good; a last `poll` tells what was cut off."""
        now_ms = self._clock.now_ms()
        self._advance(now_ms)
        self._take(self._arbiter.clear(now_ms))

    def _advance(self, to_ms: int) -> None:
        """Let everything that ends by `to_ms` end, and what follows it begin, each at its own moment."""
        while (moment := self.next_change_ms) is not None and moment <= to_ms:
            if self.speaking and self._until_ms <= moment:
                self._take(self._arbiter.finished(self._until_ms))
            self._settle(moment)

    def _settle(self, at_ms: int) -> None:
        _, events = self._arbiter.next(at_ms)
        self._take(events)

    def _take(self, events: tuple[SpeechEvent, ...]) -> None:
        for event in events:
            if isinstance(event, Started):
                self._events.append(self._begin(event))
            elif isinstance(event, Finished | CutOff):
                self._events.append(self._end(event))
            else:
                self._events.append(event)

    def _begin(self, event: Started) -> Started:
        utterance = event.utterance
        clip = self._clips.clip(utterance.text, CLIP_WAIT_MS) if self._clips and utterance.text else None
        self._sound = sound_of(utterance, clip) if self._clips else None
        audible = self._sound is not None
        lasts_ms = wording.estimate_ms(utterance.text) if self._sound is None else levels.duration_ms(self._sound)
        self._started_ms = event.at_ms
        self._until_ms = event.at_ms + lasts_ms
        return replace(event, audible=audible)

    def _end(self, event: Finished | CutOff) -> Finished | CutOff:
        sound = self._sound
        self._until_ms = min(self._until_ms, event.at_ms)
        if sound is not None and self._sink is not None:
            heard = sound[: (event.at_ms - self._started_ms) * SAMPLES_PER_MS]
            whole = heard.size == sound.size
            self._sink(self.station, self._started_ms * SAMPLES_PER_MS, heard if whole else levels.faded_out(heard))
        return replace(event, audible=sound is not None) if isinstance(event, Finished) else event


class NullPlayer(TimelinePlayer):
    """No loudspeaker and no clips: the text is shown, and the timeline is kept with estimated durations."""

    def __init__(self, station: str, clock: Clock) -> None:
        super().__init__(station, clock)


def sound_of(utterance: Utterance, clip: Clip | None) -> Samples | None:
    """What is played for an utterance; without a clip its tone alone; None when there is nothing to hear."""
    speech = clip.samples if clip is not None else np.zeros(0, np.int16)
    sound = with_tone(speech, utterance.tone)
    return sound if sound.size else None
