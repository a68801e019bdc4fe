"""A headset as its microphone heard it: how loud the voice, how loud the noise, and a plain verdict."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import log10
from types import MappingProxyType

SILENCE_DBFS = -120.0
CLIPPED_SHARE = 0.001
QUIET_DBFS = -45.0
ENOUGH_DB = 10.0
LITTLE_DB = 3.0
"""The README's table says how many phrases must be said again at each signal to noise; common practice, no source."""
_FAINTEST = 0.01
"""A voice with less than a hundredth of the noise's power cannot be told from it: -20 dB is the lowest estimate."""


class Verdict(StrEnum):
    """What to do with a headset where it is worn."""

    GOOD = "good"
    LOUD = "loud"
    QUIET = "quiet"
    RAISE = "raise"
    NOISY = "noisy"
    UNMEASURED = "unmeasured"


WRITTEN: Mapping[Verdict, str] = MappingProxyType({
    Verdict.GOOD: "good",
    Verdict.LOUD: "too loud: move the microphone away from the mouth or turn it down",
    Verdict.QUIET: "too quiet: is this the right microphone? Raise the boom to the mouth",
    Verdict.RAISE: "raise the boom to the corner of the mouth and speak up",
    Verdict.NOISY: "too noisy for voice: use the board or the keyboard",
    Verdict.UNMEASURED: "the noise was not measured: keep still for five seconds, then say, radio check",
})
SPOKEN: Mapping[Verdict, str] = MappingProxyType({
    Verdict.GOOD: "Loud and clear.",
    Verdict.LOUD: "Too loud. Move the microphone away from the mouth.",
    Verdict.QUIET: "Too quiet. Raise the boom to the mouth.",
    Verdict.RAISE: "Heard, with much noise. Raise the boom to the mouth and speak up.",
    Verdict.NOISY: "Too noisy for voice. Use the board.",
    Verdict.UNMEASURED: "Heard, but the noise was not measured. Wait five seconds, then say, radio check.",
})


@dataclass(frozen=True, slots=True)
class Sound:
    """What was measured at a microphone while a phrase was said, and in the quiet before it.

    Raises:
        ValueError: if a level is none, so that nothing else is taken from a record or a network.
    """

    speech_dbfs: float
    """Level of what was said, the noise in it too, in decibels of full scale."""
    floor_dbfs: float | None
    """Level of the noise; None when too little was heard before."""
    peak_dbfs: float
    clipped_share: float
    """Of the samples, 0 to 1."""

    def __post_init__(self) -> None:
        levels = (self.speech_dbfs, self.peak_dbfs, SILENCE_DBFS if self.floor_dbfs is None else self.floor_dbfs)
        if not all(SILENCE_DBFS <= level <= 0.0 for level in levels) or not 0.0 <= self.clipped_share <= 1.0:
            raise ValueError("A level lies between -120 and 0 dBFS, a share between 0 and 1.")

    @property
    def snr_db(self) -> float | None:
        """The voice alone over the noise, in decibels (estimated: powers subtracted); None without a noise floor."""
        if self.floor_dbfs is None:
            return None
        over = 10 ** ((self.speech_dbfs - self.floor_dbfs) / 10)
        return 10 * log10(max(over - 1, _FAINTEST))


@dataclass(frozen=True, slots=True)
class Headset:
    """A station with a microphone, as the record knows it."""

    name: str
    role: str
    since_ms: int
    """When it was first heard, or last checked."""
    sound: Sound | None = None
    """Of the last radio check; None: not done yet."""


def verdict_of(sound: Sound) -> Verdict:
    """Good, or what is wrong first: a voice that clips or is faint is so whatever the noise."""
    if sound.clipped_share > CLIPPED_SHARE:
        return Verdict.LOUD
    if sound.speech_dbfs < QUIET_DBFS:
        return Verdict.QUIET
    snr_db = sound.snr_db
    if snr_db is None:
        return Verdict.UNMEASURED
    if snr_db >= ENOUGH_DB:
        return Verdict.GOOD
    return Verdict.RAISE if snr_db >= LITTLE_DB else Verdict.NOISY


def figures(sound: Sound) -> str:
    """What was measured, for eyes."""
    said = f"Speech {sound.speech_dbfs:.0f} dBFS, peak {sound.peak_dbfs:.0f} dBFS"
    if sound.floor_dbfs is None:
        return f"{said}, noise floor not measured"
    return f"{said}, noise floor {sound.floor_dbfs:.0f} dBFS, signal to noise {sound.snr_db:.0f} dB"
