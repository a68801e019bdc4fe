"""The speech engine's own process: asks for text come in on stdin, WAV bytes go out on stdout.

A message is a four-byte big-endian length and that many bytes of JSON; after an answer with `"bytes": n` come n bytes
of sound. The parent kills this process when it is slow, so nothing here needs a time limit.

Measured with pyttsx3 2.99 on espeak-ng: settings go to the library's own thread, and `runAndWait` first cancels
whatever that thread still has to do. So a rate set just before is sometimes lost (up to four clips in ten at the
wrong speed), a clip is sometimes empty, and a `runAndWait` without text never returns. The way round it: one engine,
one clip thrown away so that settings are taken at once, and a wait until the library is idle before each step.
"""

import contextlib
import importlib.metadata
import json
import os
import queue
import shutil
import struct
import sys
import threading
from pathlib import Path
from typing import IO, Any

SETTLE_S = 0.01
LONGEST_IDLE_WAITS = 500
LONGEST_MESSAGE = 65_536


def send(stream: IO[bytes], message: dict[str, Any], sound: bytes = b"") -> None:
    """Write one message and the sound that belongs to it."""
    body = json.dumps(message).encode()
    stream.write(struct.pack(">I", len(body)) + body + sound)
    stream.flush()


def receive(stream: IO[bytes]) -> dict[str, Any] | None:
    """Read one message; None at the end of the stream or when it cannot be a message."""
    head = stream.read(4)
    if len(head) < 4:
        return None
    (length,) = struct.unpack(">I", head)
    if length > LONGEST_MESSAGE:
        return None
    message = json.loads(stream.read(length))
    return message if isinstance(message, dict) else None


class Engine:
    """One pyttsx3 engine, kept for the life of the process."""

    def __init__(self, folder: Path) -> None:
        import pyttsx3  # noqa: PLC0415  a missing engine library makes this import fail, and that is reported

        self._path = folder / "clip.wav"
        self._finished = threading.Event()
        self._trouble: list[str] = []
        self._engine = pyttsx3.init()
        self._engine.connect("finished-utterance", self._on_finished)
        self._engine.connect("error", self._on_error)
        _wait_until_idle()
        self._speak("ready")

    def _on_finished(self, name: str, completed: bool) -> None:  # noqa: ARG002  the names are pyttsx3's
        if not completed:
            self._trouble.append("the clip was cut short")
        self._finished.set()

    def _on_error(self, name: str, exception: Exception) -> None:  # noqa: ARG002  the names are pyttsx3's
        self._trouble.append(str(exception))

    def describe(self) -> dict[str, Any]:
        """What renders here: part of every clip's key, so that a new engine makes new clips."""
        voices = [str(voice.id) for voice in self._engine.getProperty("voices")]
        version = f"pyttsx3 {importlib.metadata.version('pyttsx3')} {self._engine} {_espeak_version()}"
        return {"engine": version.strip(), "voices": voices, "voice": str(self._engine.getProperty("voice"))}

    def render(self, text: str, voice: str, rate_wpm: int, volume: float) -> bytes:
        """The spoken text as the bytes of a sound file.

        Raises:
            RuntimeError: the engine refused, for example a voice that it does not have.
        """
        self._trouble.clear()
        if voice:
            self._engine.setProperty("voice", voice)
        self._engine.setProperty("rate", rate_wpm)
        self._engine.setProperty("volume", volume)
        if self._trouble:
            raise RuntimeError("; ".join(self._trouble))
        _wait_until_idle()
        return self._speak(text)

    def _speak(self, text: str) -> bytes:
        self._path.unlink(missing_ok=True)
        self._finished.clear()
        self._engine.save_to_file(text, str(self._path))
        self._engine.runAndWait()
        self._finished.wait()
        _wait_until_idle()
        if self._trouble:
            raise RuntimeError("; ".join(self._trouble))
        return self._path.read_bytes()


def _wait_until_idle() -> None:
    pause = threading.Event()
    pause.wait(SETTLE_S)
    espeak = sys.modules.get("pyttsx3.drivers._espeak")
    for _ in range(LONGEST_IDLE_WAITS):
        if espeak is None or not espeak.IsPlaying():
            return
        pause.wait(SETTLE_S)


def _espeak_version() -> str:
    with contextlib.suppress(ImportError, AttributeError, RuntimeError, OSError):
        from pyttsx3.drivers import _espeak  # noqa: PLC0415  only there where espeak is

        return str(_espeak.Info(None).decode())
    return ""


def _read_asks(stream: IO[bytes], asks: "queue.Queue[dict[str, Any]]", folder: Path) -> None:
    """Hand over each ask; when the parent is gone, end at once, even in the middle of a hung render."""
    while (ask := receive(stream)) is not None:
        asks.put(ask)
    shutil.rmtree(folder, ignore_errors=True)
    os._exit(0)


def _answer(engine: Engine, ask: dict[str, Any], stream: IO[bytes]) -> None:
    try:
        sound = engine.render(str(ask["text"]), str(ask["voice"]), int(ask["rate_wpm"]), float(ask["volume"]))
    except (RuntimeError, OSError, ValueError, KeyError) as error:
        send(stream, {"id": ask.get("id"), "error": str(error) or type(error).__name__})
    else:
        send(stream, {"id": ask["id"], "bytes": len(sound)}, sound)


def main(folder: Path) -> int:
    """Serve until the parent closes the pipe; `folder` is the parent's, for this process alone."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    asks: queue.Queue[dict[str, Any]] = queue.Queue()
    threading.Thread(target=_read_asks, args=(sys.stdin.buffer, asks, folder), daemon=True).start()
    try:
        engine = Engine(folder)
        hello = engine.describe()
    except (ImportError, RuntimeError, OSError, KeyError, AttributeError) as error:
        send(answers, {"error": str(error) or type(error).__name__})
        return 3
    send(answers, {"hello": hello})
    while True:
        _answer(engine, asks.get(), answers)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
