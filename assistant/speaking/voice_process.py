"""The speech engine kept at arm's length: a child process that is watched, killed when slow, and started again.

Nothing here runs on the main path: `render` blocks, for at most the time limit, and belongs on a worker thread.
"""

import queue
import struct
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from assistant.clock import Clock, SystemClock
from assistant.errors import SpeechError
from assistant.speaking import voice_child

START_LIMIT_MS = 5_000
RENDER_LIMIT_MS = 2_500
"""A sentence takes 30 to 100 ms; a hung engine is to be told within three seconds."""
FIRST_BACK_OFF_MS = 500
LONGEST_BACK_OFF_MS = 30_000
LONGEST_TEXT = 2_000
LARGEST_SOUND = 64 * 1024 * 1024
TEXT_ONLY = "Prompts are shown as text and the run goes on."


@dataclass(frozen=True, slots=True)
class EngineFacts:
    """What the engine said about itself when it started."""

    engine: str
    "Library, driver and version."
    voices: tuple[str, ...]
    "Voice ids it can use."
    voice: str
    "The voice it uses when none is asked for."


@dataclass(frozen=True, slots=True)
class _Message:
    body: dict[str, Any]
    sound: bytes


def child_command() -> tuple[str, ...]:
    """How the child is started; run by path so that it imports nothing of this program."""
    return (sys.executable, "-P", str(Path(voice_child.__file__)))


class _Child:
    """One life of the child process. A thread reads it, so that waiting can have a limit on every system."""

    def __init__(self, command: Sequence[str]) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="bin-rescue-voice-", ignore_cleanup_errors=True)
        try:
            self._process = subprocess.Popen(
                [*command, self._folder.name],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        except OSError as error:
            self._folder.cleanup()
            raise SpeechError(f"The speech engine's process cannot be started: {error}. {TEXT_ONLY}") from error
        self._messages: queue.Queue[_Message | None] = queue.Queue()
        self._reader = threading.Thread(target=self._read, args=(self._process.stdout,), daemon=True)
        self._reader.start()

    def _read(self, stream: IO[bytes]) -> None:
        try:
            while (message := _read_message(stream)) is not None:
                self._messages.put(message)
        except (OSError, ValueError):
            pass  # the same as the end of the stream: `wait` reports a dead child
        finally:
            self._messages.put(None)

    def ask(self, message: dict[str, Any]) -> None:
        """Send one ask; a dead child shows in `wait`."""
        try:
            if self._process.stdin is not None:
                voice_child.send(self._process.stdin, message)
        except OSError:
            self._messages.put(None)

    def wait(self, limit_ms: int) -> _Message:
        """The next message.

        Raises:
            SpeechError: nothing came in time, or the child ended.
        """
        try:
            message = self._messages.get(timeout=limit_ms / 1000)
        except queue.Empty:
            raise SpeechError(
                f"The speech engine gave no answer within {limit_ms / 1000:g} s and was stopped."
            ) from None
        if message is None:
            raise SpeechError("The speech engine's process ended by itself; it will be started again.")
        return message

    def stop(self) -> None:
        """End the process; whoever waits for an answer is told at once."""
        self._process.kill()

    def kill(self) -> None:
        """End it for good and take its folder away."""
        self._process.kill()
        self._process.wait()
        self._reader.join()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                _close_quietly(stream)
        self._folder.cleanup()


def _close_quietly(stream: IO[bytes]) -> None:
    try:
        stream.close()
    except OSError:
        return  # a pipe whose other end is gone may complain on its last flush


def _read_message(stream: IO[bytes]) -> _Message | None:
    try:
        body = voice_child.receive(stream)
    except (ValueError, struct.error):
        return None
    if body is None:
        return None
    size = body.get("bytes", 0)
    if not isinstance(size, int) or not 0 <= size <= LARGEST_SOUND:
        return None
    sound = stream.read(size)
    return _Message(body, sound) if len(sound) == size else None


class VoiceProcess:
    """Text in, bytes of a sound file out. One caller at a time."""

    def __init__(
        self,
        command: Sequence[str] = (),
        clock: Clock | None = None,
        start_limit_ms: int = START_LIMIT_MS,
        render_limit_ms: int = RENDER_LIMIT_MS,
    ) -> None:
        self._command = tuple(command) or child_command()
        self._clock = clock or SystemClock()
        self._start_limit_ms = start_limit_ms
        self._render_limit_ms = render_limit_ms
        self._child: _Child | None = None
        self._facts: EngineFacts | None = None
        self._asked = 0
        self._failures_in_a_row = 0
        self._not_before_ms = 0
        self._lock = threading.Lock()

    def facts(self) -> EngineFacts:
        """Start the engine if it is not running, and say what it is.

        Raises:
            SpeechError: it cannot be started now.
        """
        with self._lock:
            return self._started()

    def is_available(self) -> tuple[bool, str]:
        """Whether the engine works on this machine, and one sentence that says so or why not."""
        try:
            facts = self.facts()
        except SpeechError as error:
            return False, str(error)
        return True, f"The speech engine works: {facts.engine}, voice {facts.voice}."

    def render(self, text: str, voice: str, rate_wpm: int, volume: float) -> bytes:
        """Speak `text` into the bytes of a sound file; blocks for at most the start limit and the render limit.

        Raises:
            SpeechError: the engine is missing, hung, died, refused the voice, or is waiting out its back-off.
        """
        with self._lock:
            self._started()
            return self._rendered(text[:LONGEST_TEXT], voice, rate_wpm, volume)

    def close(self) -> None:
        """End the child, also in the middle of a render; a later call starts a new one."""
        child = self._child
        if child is not None:
            child.stop()
        with self._lock:
            self._end()

    def _started(self) -> EngineFacts:
        if self._child is not None and self._facts is not None:
            return self._facts
        wait_ms = self._not_before_ms - self._clock.now_ms()
        if wait_ms > 0:
            raise SpeechError(f"The speech engine failed and is tried again in {wait_ms / 1000:.1f} s. {TEXT_ONLY}")
        try:
            self._child = _Child(self._command)
            self._facts = _facts_from(self._child.wait(self._start_limit_ms))
        except SpeechError:
            self._failed()
            raise
        return self._facts

    def _rendered(self, text: str, voice: str, rate_wpm: int, volume: float) -> bytes:
        assert self._child is not None
        self._asked += 1
        ask = {"id": self._asked, "text": text, "voice": voice, "rate_wpm": rate_wpm, "volume": volume}
        self._child.ask(ask)
        try:
            message = self._child.wait(self._render_limit_ms)
        except SpeechError:
            self._failed()
            raise
        if message.body.get("id") != self._asked:
            self._failed()
            raise SpeechError("The speech engine's process answered out of turn; it will be started again.")
        self._failures_in_a_row = 0
        if "error" in message.body:
            raise SpeechError(f"The speech engine refused the text: {message.body['error']}.")
        return message.sound

    def _failed(self) -> None:
        self._end()
        back_off_ms = min(LONGEST_BACK_OFF_MS, FIRST_BACK_OFF_MS << min(self._failures_in_a_row, 10))
        self._failures_in_a_row += 1
        self._not_before_ms = self._clock.now_ms() + back_off_ms

    def _end(self) -> None:
        if self._child is not None:
            self._child.kill()
        self._child = None
        self._facts = None


def _facts_from(message: _Message) -> EngineFacts:
    hello = message.body.get("hello")
    if not isinstance(hello, dict):
        reason = message.body.get("error", "it said nothing about itself")
        raise SpeechError(f"No speech engine: {reason} Install espeak-ng (Debian: apt install espeak-ng). {TEXT_ONLY}")
    voices = hello.get("voices", [])
    names = tuple(str(name) for name in voices) if isinstance(voices, list) else ()
    return EngineFacts(str(hello.get("engine", "")), names, str(hello.get("voice", "")))


def is_available(command: Sequence[str] = ()) -> tuple[bool, str]:
    """Try the engine once: whether it works, and one sentence to show."""
    voice = VoiceProcess(command)
    try:
        return voice.is_available()
    finally:
        voice.close()
