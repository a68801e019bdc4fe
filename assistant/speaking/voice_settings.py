"""How the program sounds."""

from dataclasses import dataclass
from typing import Final

from assistant.errors import SpeechError, UsageError
from assistant.speaking import wording
from assistant.speaking.voice_process import EngineFacts

SLOWEST_WPM: Final = 120
FASTEST_WPM: Final = 180
SLOWEST_NUMBERS_WPM: Final = 120
FASTEST_NUMBERS_WPM: Final = 140
PREFERRED_VOICES: Final = ("gmw/en-us", "en-us", "gmw/en", "en")
SPANISH_VOICES: Final = ("roa/es-419", "es-419", "roa/es", "es")
"Latin American first."


@dataclass(frozen=True, slots=True)
class VoiceSettings:
    """Voice, rate and volume.

    Rates are in words a minute and bounded: 120 to 180, and 120 to 140 for texts that carry numbers (cockpit voice
    practice: 150 to 180, slowed to 120 to 140 for numbers and in noise; from memory).
    """

    voice: str = ""
    "Engine's voice id; empty takes the first preferred English voice, else the engine's own."
    rate_wpm: int = 170
    number_rate_wpm: int = 140
    volume: float = 1.0
    spanish: frozenset[str] = frozenset()
    "Texts that are Spanish, and are spoken with a Spanish voice if the engine has one."

    def __post_init__(self) -> None:
        if not SLOWEST_WPM <= self.rate_wpm <= FASTEST_WPM:
            raise UsageError(f"The speaking rate must be {SLOWEST_WPM} to {FASTEST_WPM} words a minute.")
        if not SLOWEST_NUMBERS_WPM <= self.number_rate_wpm <= FASTEST_NUMBERS_WPM:
            bounds = f"{SLOWEST_NUMBERS_WPM} to {FASTEST_NUMBERS_WPM}"
            raise UsageError(f"The speaking rate for numbers must be {bounds} words a minute.")
        if not 0.0 < self.volume <= 1.0:
            raise UsageError("The voice volume must be above 0 and at most 1.")

    def rate_for(self, text: str) -> int:
        """Words a minute for this text."""
        return min(self.rate_wpm, self.number_rate_wpm) if wording.carries_numbers(text) else self.rate_wpm


def spanish_voice(facts: EngineFacts) -> str:
    """The voice id for Spanish texts; empty when the engine has none."""
    return next((name for name in SPANISH_VOICES if name in facts.voices), "")


def chosen_voice(asked: str, facts: EngineFacts) -> str:
    """The voice id to use; empty means whatever the engine uses by itself.

    Raises:
        SpeechError: a voice was asked for by name that the engine does not have.
    """
    if not asked:
        return next((name for name in PREFERRED_VOICES if name in facts.voices), "")
    if asked not in facts.voices:
        english = ", ".join(name for name in facts.voices if "en" in name.lower())[:300]
        raise SpeechError(f"The voice {asked!r} is not on this machine. English voices here: {english or 'none'}.")
    return asked
