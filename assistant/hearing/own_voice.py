"""The program's own voice: what it says is not taken for something that somebody said."""

from dataclasses import dataclass

TAIL_S = 0.6
"""How long the room may still ring after the program has stopped."""


@dataclass(frozen=True, slots=True)
class _Speech:
    text: str
    start_s: float
    until_s: float


class OwnVoice:
    """What was spoken at one station, and when."""

    def __init__(self, tail_s: float = TAIL_S) -> None:
        self._tail_s = tail_s
        self._spoken: tuple[_Speech, ...] = ()

    def speaking(self, text: str, start_s: float, until_s: float) -> None:
        """The program speaks these words from one moment to another."""
        recent = tuple(speech for speech in self._spoken if speech.until_s > start_s - 30)
        self._spoken = (*recent, _Speech(_plain(text), start_s, until_s + self._tail_s))

    def stopped(self, at_s: float) -> None:
        """It was cut off."""
        self._spoken = tuple(
            _Speech(speech.text, speech.start_s, min(speech.until_s, at_s + self._tail_s)) for speech in self._spoken
        )

    def may_be_echo(self, phrase: str, start_s: float) -> bool:
        """Whether a phrase that began at `start_s` may be the program's own words."""
        wanted = f" {phrase} "
        return any(
            speech.start_s <= start_s < speech.until_s and wanted in f" {speech.text} " for speech in self._spoken
        )


def _plain(text: str) -> str:
    return " ".join("".join(c if c.isalnum() else " " for c in text.lower()).split())
