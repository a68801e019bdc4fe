"""Who speaks next at one station. Time is handed in; nothing here sounds, waits or reads a clock.

The most urgent speaks first, then the newest. Only an alarm cuts into what is being said, and it does so at once; a
prompt that was cut off is said again afterwards if it still holds, anything less is dropped. Utterances handed over
in one call are one arrival and keep their order, so that an acknowledgement stays in front of the next prompt.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Final

from assistant.speaking.tones import Tone

QUEUE_LIMIT: Final = 32
PAUSE_MS: Final = 250
"Silence between two utterances, so that the second does not push out the first; an alarm does not wait for it."
STALE_AFTER_MS: Final = {0: 15_000, 1: 8_000}
"How long information (0) and answers (1) are worth saying unless the utterance says otherwise."


class Priority(IntEnum):
    """How urgent an utterance is."""

    INFO = 0
    ANSWER = 1
    PROMPT = 2
    ALARM = 3


@dataclass(frozen=True, slots=True)
class Utterance:
    """Something to say at one station."""

    id: str
    "Unique within a run; events carry the whole utterance."
    text: str
    priority: Priority
    station: str = "inside"
    interruptible: bool = True
    "Whether `cancel` may stop it once it is being said; an alarm cuts into everything less urgent whatever this says."
    expires_at_ms: int | None = None
    "Not begun after this moment; None takes the priority's default: alarms and prompts hold until cancelled."
    kind: str = ""
    "What `cancel` names, for example 'step'. Alarms of one kind are the same alarm."
    tone: Tone | None = None
    "Played with the text: short ticks before it, the alarm tone after it."


@dataclass(frozen=True, slots=True)
class Started:
    """An utterance began."""

    utterance: Utterance
    at_ms: int
    audible: bool = True
    "False when there is only text to show: no clip or no loudspeaker."


@dataclass(frozen=True, slots=True)
class Finished:
    """An utterance was said to its end."""

    utterance: Utterance
    at_ms: int
    audible: bool = True


@dataclass(frozen=True, slots=True)
class CutOff:
    """An utterance was stopped before its end."""

    utterance: Utterance
    at_ms: int
    reason: str
    "'alarm', 'cancelled', 'device lost', 'device back', 'not heard' (said as text only, kept) or 'closed'."
    again: bool = False
    "Whether it waits to be said again; it ends with a later Finished, CutOff or Dropped, as every utterance does."


@dataclass(frozen=True, slots=True)
class Dropped:
    """An utterance was never begun, or not begun again after a cut."""

    utterance: Utterance
    at_ms: int
    reason: str
    "'stale', 'cancelled', 'crowded out', 'same alarm' or 'closed'."


@dataclass(frozen=True, slots=True)
class DeviceLost:
    """The loudspeaker is gone; until it is back everything is text only."""

    station: str
    at_ms: int
    reason: str


@dataclass(frozen=True, slots=True)
class DeviceBack:
    """The loudspeaker works again."""

    station: str
    at_ms: int


@dataclass(frozen=True, slots=True)
class SavingFailed:
    """What is heard can no longer be saved to a file; speech goes on."""

    station: str
    at_ms: int
    reason: str


SpeechEvent = Started | Finished | CutOff | Dropped | DeviceLost | DeviceBack | SavingFailed


@dataclass(frozen=True, slots=True)
class _Waiting:
    utterance: Utterance
    arrival: int
    place: int
    expires_at_ms: int | None

    @property
    def rank(self) -> tuple[int, int, int]:
        """Highest first: urgency, then the newest arrival, then the order within one arrival."""
        return (int(self.utterance.priority), self.arrival, -self.place)


class Arbiter:
    """The queue of one station and what is being said there."""

    def __init__(self, limit: int = QUEUE_LIMIT, pause_ms: int = PAUSE_MS) -> None:
        self._limit = limit
        self._pause_ms = pause_ms
        self._quiet_until_ms = 0
        self._queue: list[_Waiting] = []
        self._now: _Waiting | None = None
        self._arrivals = 0

    @property
    def speaking(self) -> Utterance | None:
        """What is being said."""
        return self._now.utterance if self._now else None

    @property
    def waiting(self) -> tuple[Utterance, ...]:
        """What waits, first to be said first."""
        return tuple(item.utterance for item in sorted(self._queue, key=lambda item: item.rank, reverse=True))

    def say(self, *utterances: Utterance, at_ms: int) -> tuple[SpeechEvent, ...]:
        """Take utterances as one arrival; says what was dropped because of them."""
        self._arrivals += 1
        events: list[SpeechEvent] = []
        for place, utterance in enumerate(utterances):
            if self._stretched(utterance, at_ms):
                events.append(Dropped(utterance, at_ms, "same alarm"))
            else:
                self._queue.append(_Waiting(utterance, self._arrivals, place, _expiry(utterance, at_ms)))
        while len(self._queue) > self._limit:
            least = min(self._queue, key=lambda item: item.rank)
            self._queue.remove(least)
            events.append(Dropped(least.utterance, at_ms, "crowded out"))
        return tuple(events)

    def next(
        self, at_ms: int, ready: Callable[[Utterance], bool] = lambda _: True
    ) -> tuple[Utterance | None, tuple[SpeechEvent, ...]]:
        """What is to be heard from `at_ms` on, and what changed: call after `say`, `cancel` and `finished`.

        While the first in line is not `ready` nobody overtakes it, and it cuts nothing off.
        """
        events = list(self._drop_stale(at_ms))
        first = max(self._queue, key=lambda item: item.rank, default=None)
        if first is None or not ready(first.utterance):
            return self.speaking, tuple(events)
        if self._now is not None and _cuts(first.utterance, self._now.utterance):
            events.append(self._cut("alarm", at_ms))
        if self._now is None and (at_ms >= self._quiet_until_ms or first.utterance.priority is Priority.ALARM):
            self._queue.remove(first)
            self._now = first
            events.append(Started(first.utterance, at_ms))
        return self.speaking, tuple(events)

    def finished(self, at_ms: int) -> tuple[SpeechEvent, ...]:
        """What was being said has come to its end."""
        if self._now is None:
            return ()
        utterance = self._now.utterance
        self._now = None
        self._quiet_until_ms = at_ms + self._pause_ms
        return (Finished(utterance, at_ms),)

    def cancel(self, kind: str, at_ms: int) -> tuple[SpeechEvent, ...]:
        """Drop all waiting utterances of a kind and stop the one being said if it may be interrupted."""
        gone = [item for item in self._queue if item.utterance.kind == kind]
        self._queue = [item for item in self._queue if item.utterance.kind != kind]
        events: list[SpeechEvent] = [Dropped(item.utterance, at_ms, "cancelled") for item in gone]
        speaking = self.speaking
        if speaking is not None and speaking.kind == kind and speaking.interruptible:
            self._now = None
            events.insert(0, CutOff(speaking, at_ms, "cancelled"))
        return tuple(events)

    def interrupt(self, reason: str, at_ms: int) -> tuple[SpeechEvent, ...]:
        """Stop what is being said because it cannot be heard; alarms and prompts wait to be said again."""
        return () if self._now is None else (self._cut(reason, at_ms),)

    def clear(self, at_ms: int) -> tuple[SpeechEvent, ...]:
        """Stop and drop everything, at the end of a run."""
        events: list[SpeechEvent] = [Dropped(utterance, at_ms, "closed") for utterance in self.waiting]
        if self._now is not None:
            events.insert(0, CutOff(self._now.utterance, at_ms, "closed"))
        self._now = None
        self._queue = []
        return tuple(events)

    def next_change_ms(self) -> int | None:
        """When something changes by time alone: the pause ends or a waiting utterance goes stale."""
        moments = [item.expires_at_ms for item in self._queue if item.expires_at_ms is not None]
        if self._queue and self._now is None:
            moments.append(self._quiet_until_ms)
        return min(moments, default=None)

    def _cut(self, reason: str, at_ms: int) -> CutOff:
        assert self._now is not None
        cut = self._now
        self._now = None
        again = cut.utterance.priority >= Priority.PROMPT and not _stale(cut, at_ms)
        if again:
            self._queue.append(cut)
        return CutOff(cut.utterance, at_ms, reason, again=again)

    def _drop_stale(self, at_ms: int) -> tuple[SpeechEvent, ...]:
        gone = [item for item in self._queue if _stale(item, at_ms)]
        self._queue = [item for item in self._queue if not _stale(item, at_ms)]
        return tuple(Dropped(item.utterance, at_ms, "stale") for item in gone)

    def _stretched(self, utterance: Utterance, at_ms: int) -> bool:
        """Whether this alarm is already being said or waiting; then that one holds for as long as the new one would."""
        if utterance.priority is not Priority.ALARM or not utterance.kind:
            return False
        until_ms = _expiry(utterance, at_ms)
        for index, item in enumerate(self._queue):
            if same_alarm(item.utterance, utterance):
                self._queue[index] = replace(item, expires_at_ms=until_ms)
                return True
        if self._now is not None and same_alarm(self._now.utterance, utterance):
            self._now = replace(self._now, expires_at_ms=until_ms)
            return True
        return False


def _cuts(new: Utterance, old: Utterance) -> bool:
    return new.priority is Priority.ALARM and old.priority is not Priority.ALARM


def same_alarm(one: Utterance, other: Utterance) -> bool:
    """Whether both are alarms of one kind with one text."""
    return one.priority is Priority.ALARM and one.kind == other.kind and one.text == other.text


def _expiry(utterance: Utterance, at_ms: int) -> int | None:
    if utterance.expires_at_ms is not None:
        return utterance.expires_at_ms
    lasts_ms = STALE_AFTER_MS.get(int(utterance.priority))
    return None if lasts_ms is None else at_ms + lasts_ms


def _stale(item: _Waiting, at_ms: int) -> bool:
    return item.expires_at_ms is not None and at_ms >= item.expires_at_ms
