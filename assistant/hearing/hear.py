"""`hear`: will it understand me on this headset? Recordings through the listening path of a live station."""

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from assistant.clock import cpu_seconds
from assistant.errors import AssistantError, UsageError
from assistant.hearing.files import FileSource
from assistant.hearing.listener import Heard, Listener, ListenPhrase
from assistant.hearing.recogniser import SpeechModel
from protocol.phrases import Strictness

MOST_PHRASES = 2_000
MOST_LIST_BYTES = 200_000


@dataclass(frozen=True, slots=True)
class Hearing:
    """What was heard in one recording."""

    file: Path
    accepted: tuple[Heard, ...]
    audio_s: float
    cpu_s: float

    def as_json(self) -> str:
        """One line; the names are a contract."""
        accepted = [
            {"phrase": heard.text, "at_s": round(heard.accepted_at_s, 2), "confidence": round(heard.confidence, 3)}
            for heard in self.accepted
        ]
        return json.dumps({
            "file": str(self.file), "accepted": accepted, "audio_s": round(self.audio_s, 2),
            "cpu_s": round(self.cpu_s, 3),
        })  # fmt: skip

    def in_words(self) -> str:
        """For a person."""
        heard = "; ".join(f"{one.text} at {one.end_s:.1f} s ({one.confidence:.2f})" for one in self.accepted)
        return f"{self.file}: {heard or 'nothing understood'}"


def read_phrases(path: Path) -> list[ListenPhrase]:
    """A list of phrases, one a line; empty lines and lines that begin with # are passed over.

    Raises:
        UsageError: if it cannot be read, holds none or far too many.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MOST_LIST_BYTES + 1)
        if len(content) > MOST_LIST_BYTES:
            raise UsageError(f"{path}: too long; a station listens for a few hundred phrases, {MOST_PHRASES} at most.")
        text = content.decode("utf-8-sig")
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror}). Give a text file, one phrase a line.") from error
    except UnicodeDecodeError as error:
        raise UsageError(f"{path}: is not text. Give a text file, one phrase a line.") from error
    lines = [" ".join(line.lower().split()) for line in text.splitlines()]
    phrases = list(dict.fromkeys(line for line in lines if line and not line.startswith("#")))
    if not phrases:
        raise UsageError(f"{path}: holds no phrase. Write one a line.")
    if len(phrases) > MOST_PHRASES:
        raise UsageError(f"{path}: {len(phrases)} phrases; a station listens for {MOST_PHRASES} at most.")
    return [ListenPhrase(phrase, Strictness.STRICT) for phrase in phrases]


def hear_file(path: Path, model: SpeechModel, phrases: Sequence[ListenPhrase]) -> Hearing:
    """Run one recording through a fresh listener.

    Raises:
        AudioError: if the recording cannot be used.
    """
    source = FileSource(path)
    started = cpu_seconds()
    listener = Listener(model)
    listener.set_phrases(phrases)
    accepted: list[Heard] = []
    audio_s = 0.0
    try:
        for block in source.blocks():
            accepted.extend(listener.feed(block))
            audio_s = block.end_s
    finally:
        source.close()
    accepted.extend(listener.flush())
    return Hearing(path, tuple(accepted), audio_s, cpu_seconds() - started)


def hear(
    paths: Sequence[Path], phrases: Sequence[ListenPhrase], model: SpeechModel, *, as_json: bool, out: TextIO
) -> int:
    """Run every recording; one that cannot be used is named, and the next is tried.

    Returns:
        0, or the exit status of the last recording that could not be used.
    """
    model.require(phrase.text for phrase in phrases)
    status = 0
    for path in paths:
        try:
            found = hear_file(path, model, phrases)
        except AssistantError as error:
            status = error.exit_status
            print(f"bin-rescue: {error}", file=sys.stderr, flush=True)
            continue
        print(found.as_json() if as_json else found.in_words(), file=out, flush=True)
    return status
