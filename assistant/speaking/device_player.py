"""The player with a loudspeaker. A thread of its own watches clips, ends and the device; calls only take a lock.

Without its device it goes on as text at the estimated pace; when the device is back, what was being said, unheard
alarms and the newest unheard prompt are said again.
"""

import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from typing import Final, Protocol

from assistant.clock import Clock
from assistant.errors import AudioError, SpeechError
from assistant.speaking import wording
from assistant.speaking.arbiter import (
    Arbiter,
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
    same_alarm,
)
from assistant.speaking.clips import Clip
from assistant.speaking.deck import Deck, Tap, Track
from assistant.speaking.player import SAMPLES_PER_MS, NullPlayer, Player, Sink, sound_of
from assistant.speaking.sound_output import Device, Opener, Output, speaker
from assistant.speaking.tones import Tone, joined

SILENT_DEVICE_MS: Final = 1_000
"A device that asks for no block for this long is taken for lost."
SECOND_LOOK_MS: Final = 300
WATCH_MS: Final = 100
CLIP_WAIT_MS: Final = 400
ALARM_CLIP_WAIT_MS: Final = 60
FIRST_REOPEN_MS: Final = 500
LONGEST_REOPEN_MS: Final = 2_000
LONGEST_LOOK_MS: Final = 15_000
"For a loudspeaker that was never there."
MOST_UNHEARD: Final = 4
"Alarms, and the newest prompt, kept to be said again when the loudspeaker is back."
MOST_TAPS: Final = 3_000
"Blocks kept for saving while the disk is slow: a minute."


class ClipRequests(Protocol):
    """Where clips come from, without waiting."""

    def request(self, text: str) -> "Future[Clip]":
        """The clip as soon as it is there."""
        ...


class DevicePlayer:
    """Plays what the arbiter chooses on one loudspeaker, and says when the loudspeaker goes and comes back.

    With `patient` it also starts without one and goes on looking for it.

    Raises:
        AudioError: the loudspeaker cannot be opened now, and it is not patient.
    """

    def __init__(
        self,
        station: str,
        clock: Clock,
        clips: ClipRequests,
        opener: Opener,
        sink: Sink | None = None,
        *,
        patient: bool = False,
    ) -> None:
        self.station = station
        self._clock = clock
        self._clips = clips
        self._opener = opener
        self._sink = sink
        self._arbiter = Arbiter()
        self._events: list[SpeechEvent] = []
        self._sounds: dict[str, tuple[Future[Clip], int]] = {}
        self._track: Track | None = None
        self._late_text = False
        self._unheard: list[Utterance] = []
        self._suspected_ms: int | None = None
        self._until_ms = 0
        self._closing = False
        self._wake = threading.Condition()
        self._taps: deque[Tap] = deque(maxlen=MOST_TAPS)
        self._deck = Deck(clock)
        self._output: Output | None = None
        self._ever_heard = False
        self.missing = ""
        "Why there was no loudspeaker at the start; empty when there was one."
        try:
            self._deck, self._output = self._opened()
        except AudioError as error:
            if not patient:
                raise
            self.missing = str(error)
        self._thread = threading.Thread(target=self._run, name=f"speaker {station}", daemon=True)
        self._thread.start()

    @property
    def speaking(self) -> Utterance | None:
        """What is being said."""
        return self._arbiter.speaking

    @property
    def speaking_until_ms(self) -> int:
        """When what is being said will have left the loudspeaker; a moment in the past while it is silent."""
        return self._until_ms

    def say(self, *utterances: Utterance) -> None:
        """Hand over what is to be said; one call is one arrival and keeps its order."""
        with self._wake:
            now_ms = self._clock.now_ms()
            for utterance in utterances:
                alarm = utterance.priority is Priority.ALARM
                deadline_ms = now_ms + (ALARM_CLIP_WAIT_MS if alarm else CLIP_WAIT_MS)
                self._sounds[utterance.text] = (self._requested(utterance.text), deadline_ms)
            self._take(self._arbiter.say(*utterances, at_ms=now_ms), now_ms)
            self._step(now_ms)
            self._wake.notify_all()

    def cancel(self, kind: str) -> None:
        """Drop what waits of this kind, and stop it if it is being said and may be interrupted."""
        with self._wake:
            now_ms = self._clock.now_ms()
            self._drop_unheard(lambda utterance: utterance.kind == kind, now_ms, "cancelled")
            self._take(self._arbiter.cancel(kind, now_ms), now_ms)
            self._step(now_ms)
            self._wake.notify_all()

    def poll(self, now_ms: int) -> list[SpeechEvent]:
        """What happened since the last call, oldest first; something later than `now_ms` waits for the next call."""
        with self._wake:
            told = [event for event in self._events if event.at_ms <= now_ms]
            self._events = [event for event in self._events if event.at_ms > now_ms]
            return told

    def close(self) -> None:
        """Fall silent and give the device back; a last `poll` tells what was cut off."""
        with self._wake:
            self._closing = True
            self._wake.notify_all()
        self._thread.join()
        output, self._output = self._output, None
        if output is not None:
            _closed_in_background(output).join(timeout=1)
        now_ms = self._clock.now_ms()
        self._drop_unheard(lambda _: True, now_ms, "closed")
        self._take(self._arbiter.clear(now_ms), now_ms)
        self._save_taps()

    def _run(self) -> None:
        back_off_ms = FIRST_REOPEN_MS
        reopen_at_ms = self._clock.now_ms() + back_off_ms
        while True:
            with self._wake:
                if self._closing:
                    return
                now_ms = self._clock.now_ms()
                had = self._output is not None
                self._step(now_ms)
                if had and self._output is None:
                    back_off_ms = FIRST_REOPEN_MS
                    reopen_at_ms = now_ms + back_off_ms
                self._wake.wait(self._wait_ms(now_ms) / 1000)
            self._save_taps()
            if self._output is None and not self._closing and self._clock.now_ms() >= reopen_at_ms:
                self._reopen()
                back_off_ms = min(LONGEST_REOPEN_MS if self._ever_heard else LONGEST_LOOK_MS, 2 * back_off_ms)
                reopen_at_ms = self._clock.now_ms() + back_off_ms

    def _wait_ms(self, now_ms: int) -> int:
        moments = [until for future, until in self._sounds.values() if not future.done() and until > now_ms]
        change_ms = self._arbiter.next_change_ms()
        moments += [] if change_ms is None else [change_ms]
        moments += [self._until_ms] if self.speaking else []
        return max(5, min([WATCH_MS, *(moment - now_ms for moment in moments)]))

    def _step(self, now_ms: int) -> None:
        """Bring the arbiter, the deck and the events up to date."""
        if self._is_lost(now_ms):
            self._lose(now_ms)
        self._add_late_text()
        if self.speaking and now_ms >= self._until_ms and (self._track is None or self._track.done.is_set()):
            self._take(self._arbiter.finished(now_ms), now_ms)
        _, events = self._arbiter.next(now_ms, lambda utterance: self._is_ready(utterance, now_ms))
        self._take(events, now_ms)
        if self._track is not None and not self._track.done.is_set():
            self._until_ms = self._ends_ms(now_ms, self._track)
        live = {utterance.text for utterance in (self.speaking, *self._arbiter.waiting) if utterance is not None}
        self._sounds = {text: sound for text, sound in self._sounds.items() if text in live}

    def _take(self, events: tuple[SpeechEvent, ...], now_ms: int) -> None:
        for event in events:
            if isinstance(event, Started):
                self._events.append(self._begin(event, now_ms))
            elif isinstance(event, Finished):
                self._finish(event)
                self._quiet(now_ms)
            else:
                self._events.append(event)
                if isinstance(event, CutOff):
                    self._quiet(now_ms)

    def _begin(self, event: Started, now_ms: int) -> Started:
        future, _ = self._sounds[event.utterance.text]
        clip = future.result() if future.done() and not future.exception() else None
        sound = sound_of(event.utterance, clip) if self._output is not None else None
        self._late_text = clip is None and sound is not None and event.utterance.tone is Tone.ALARM
        if sound is None:
            self._track = None
            self._until_ms = now_ms + wording.estimate_ms(event.utterance.text)
        else:
            self._track = Track(sound)
            self._until_ms = self._ends_ms(now_ms, self._track)
        self._deck.put(self._track)
        return replace(event, audible=sound is not None)

    def _quiet(self, now_ms: int) -> None:
        self._deck.put(None)
        self._track = None
        self._late_text = False
        self._until_ms = min(self._until_ms, now_ms)

    def _finish(self, event: Finished) -> None:
        """Report an end; without a loudspeaker alarms and the last prompt are kept, to be said once it is back."""
        utterance = event.utterance
        if self._output is not None or not self._ever_heard or utterance.priority < Priority.PROMPT:
            self._events.append(replace(event, audible=self._track is not None))
            return
        self._events.append(CutOff(utterance, event.at_ms, "not heard", again=True))
        if utterance.priority is Priority.PROMPT:
            self._drop_unheard(lambda kept: kept.priority is Priority.PROMPT, event.at_ms, "crowded out")
        else:
            self._drop_unheard(lambda kept: same_alarm(kept, utterance), event.at_ms, "same alarm")
        self._unheard.append(utterance)
        if len(self._unheard) > MOST_UNHEARD:
            oldest = self._unheard[0]
            self._drop_unheard(lambda kept: kept is oldest, event.at_ms, "crowded out")

    def _drop_unheard(self, which: Callable[[Utterance], bool], at_ms: int, reason: str) -> None:
        self._events.extend(Dropped(kept, at_ms, reason) for kept in self._unheard if which(kept))
        self._unheard = [kept for kept in self._unheard if not which(kept)]

    def _add_late_text(self) -> None:
        """An alarm whose clip was not ready began with its tone; its text follows as soon as it is there."""
        if not self._late_text or self._track is None or self.speaking is None:
            return
        future, _ = self._sounds[self.speaking.text]
        if future.done():
            self._late_text = False
            if not future.exception():
                self._lengthen(self._track, future.result())

    def _lengthen(self, track: Track, clip: Clip) -> None:
        whole = joined(track.samples, clip.samples)
        track.samples = whole
        if track.done.is_set():
            self._track = Track(whole, track.position)
            self._deck.put(self._track)

    def _is_ready(self, utterance: Utterance, now_ms: int) -> bool:
        future, deadline_ms = self._sounds[utterance.text]
        return future.done() or now_ms >= deadline_ms

    def _ends_ms(self, now_ms: int, track: Track) -> int:
        return now_ms + track.left // SAMPLES_PER_MS + self._deck.latency_ms

    def _requested(self, text: str) -> "Future[Clip]":
        future = self._clips.request(text) if text else _no_clip()
        future.add_done_callback(lambda _: self._nudge())
        return future

    def _nudge(self) -> None:
        with self._wake:
            self._wake.notify_all()

    def _opened(self) -> tuple[Deck, Output]:
        deck = Deck(self._clock, keep=None if self._sink is None else self._taps.append)
        output = self._opener(deck.fill)
        deck.latency_ms = output.latency_ms
        deck.filled_at_ms = self._clock.now_ms()
        self._ever_heard = True
        return deck, output

    def _reopen(self) -> None:
        """Try the device again; outside the lock, for opening can take long."""
        try:
            deck, output = self._opened()
        except AudioError:
            return  # it was announced when it went; the next try is already planned
        with self._wake:
            now_ms = self._clock.now_ms()
            self._deck, self._output = deck, output
            self._events.append(DeviceBack(self.station, now_ms))
            self._take(self._arbiter.interrupt("device back", now_ms), now_ms)
            unheard, self._unheard = self._unheard, []
        self.say(*unheard)

    def _is_lost(self, now_ms: int) -> bool:
        """Whether the stream ended, or asked for nothing for a second and still does not a moment later.

        The second look keeps a suspended or starved program from taking its own pause for the device's.
        """
        if self._output is None or not self._output.alive:
            return self._output is not None
        if now_ms - self._deck.filled_at_ms <= SILENT_DEVICE_MS:
            self._suspected_ms = None
        elif self._suspected_ms is None:
            self._suspected_ms = now_ms
        return self._suspected_ms is not None and now_ms - self._suspected_ms >= SECOND_LOOK_MS

    def _lose(self, now_ms: int) -> None:
        output, self._output = self._output, None
        self._suspected_ms = None
        if output is not None:
            _closed_in_background(output)
        reason = "The loudspeaker stopped taking sound; it is tried again. Prompts are shown as text."
        self._events.append(DeviceLost(self.station, now_ms, reason))
        self._take(self._arbiter.interrupt("device lost", now_ms), now_ms)

    def _save_taps(self) -> None:
        while self._taps and self._sink is not None:
            tap = self._taps.popleft()
            try:
                self._sink(self.station, tap.at_sample, tap.samples)
            except AudioError as error:
                self._sink = None
                self._events.append(SavingFailed(self.station, self._clock.now_ms(), str(error)))


def _closed_in_background(output: Output) -> threading.Thread:
    """Closing a device that is gone can hang, so nobody waits for it."""
    thread = threading.Thread(target=output.close, name="speaker closing", daemon=True)
    thread.start()
    return thread


def _no_clip() -> "Future[Clip]":
    future: Future[Clip] = Future()
    future.set_exception(SpeechError("There is no text to speak."))
    return future


def open_player(
    station: str, clock: Clock, clips: ClipRequests, device: Device = None, sink: Sink | None = None
) -> tuple[Player, str]:
    """The player for a station, and one sentence: empty when the loudspeaker works, else why there is only text."""
    try:
        return DevicePlayer(station, clock, clips, speaker(device), sink), ""
    except AudioError as error:
        return NullPlayer(station, clock), str(error)
