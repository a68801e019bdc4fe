"""The four sounds that are not speech.

MIL-STD-1472E, as summarised in public copies: signals between 500 and 3,000 Hz, not more than four to be told apart
by ear alone, the first half second distinct, at least half a second long. Only the alarm is a warning signal in that
sense; the others are ticks that come with a text. A tone in front of a spoken warning made people respond later
(Simpson and Williams 1980, Human Factors 22(3), doi 10.1177/001872088002200306), so the alarm tone follows its text.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from assistant.speaking.levels import RATE_HZ, Samples, normalised, to_int16

LOWEST_HZ: Final = 500
HIGHEST_HZ: Final = 3_000
ALARM_AT_LEAST_MS: Final = 500
TICK_AT_MOST_MS: Final = 150
RISE_MS: Final = 8
GAP_MS: Final = 40
TONE_RMS_DBFS: Final = -20.0


class Tone(StrEnum):
    """Which sound."""

    ALARM = "alarm"
    ATTENTION = "attention"
    ACCEPTED = "accepted"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Note:
    """A glide from one frequency to another; a pause when both are 0."""

    from_hz: float
    to_hz: float
    lasts_ms: int


NOTES: Final[dict[Tone, tuple[Note, ...]]] = {
    Tone.ALARM: (Note(900, 1500, 160), Note(1500, 900, 160)) * 2,
    Tone.ATTENTION: (Note(1050, 1050, 120),),
    Tone.ACCEPTED: (Note(1000, 1000, 45), Note(1500, 1500, 60)),
    Tone.REFUSED: (Note(620, 620, 60), Note(0, 0, 25), Note(620, 620, 60)),
}


def tone(which: Tone) -> Samples:
    """The sound as int16 mono at 16 kHz, as loud as speech."""
    joined = np.concatenate([_note(note) for note in NOTES[which]])
    return normalised(to_int16(0.5 * joined), TONE_RMS_DBFS)


def with_tone(speech: Samples, which: Tone | None) -> Samples:
    """What is played for an utterance: ticks come before the speech, the alarm tone after it."""
    if which is None:
        return speech
    if speech.size == 0:
        return tone(which)
    return joined(speech, tone(which)) if which is Tone.ALARM else joined(tone(which), speech)


def joined(first: Samples, second: Samples) -> Samples:
    """One sound after the other with 40 ms between them."""
    return np.concatenate([first, np.zeros(RATE_HZ * GAP_MS // 1000, np.int16), second])


def _note(note: Note) -> NDArray[np.float64]:
    count = RATE_HZ * note.lasts_ms // 1000
    if note.from_hz == 0:
        return np.zeros(count)
    hertz = np.linspace(note.from_hz, note.to_hz, count)
    wave = np.sin(2 * np.pi * np.cumsum(hertz) / RATE_HZ)
    rise = RATE_HZ * RISE_MS // 1000
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(rise) / rise)
    shape = np.ones(count)
    shape[:rise] = ramp
    shape[count - rise :] = ramp[::-1]
    return np.asarray(wave * shape)
