"""Opens microphones and loudspeakers, and looks anew at what the machine has when something was missing.

PortAudio lists the devices once. The list is made again only while nothing is open, because making it closes every
stream; what a sound server offers under one name is found without that.
"""

import threading
from collections.abc import Callable
from typing import TypeVar

from assistant.errors import AudioError
from assistant.hearing.blocks import AudioSource, Block
from assistant.speaking.sound_output import Opener, Output, list_anew

T = TypeVar("T")


class Devices:
    """Counts what is open. Several threads may use it: one at a time opens."""

    def __init__(self, list_again: Callable[[], None] = list_anew) -> None:
        self._list_again = list_again
        self._lock = threading.Lock()
        self._open = 0
        self._missed = False

    def microphone(self, opening: Callable[[], AudioSource]) -> AudioSource:
        """An open microphone.

        Raises:
            AudioError: if there is none now.
        """
        return _Source(self._opened(opening), self._closed)

    def speaker(self, opener: Opener) -> Opener:
        """The same opener of a loudspeaker, counted."""
        return lambda fill: _Output(self._opened(lambda: opener(fill)), self._closed)

    def _opened(self, opening: Callable[[], T]) -> T:
        with self._lock:
            if self._missed and not self._open:
                self._list_again()
            try:
                found = opening()
            except AudioError:
                self._missed = True
                raise
            self._missed = False
            self._open += 1
            return found

    def _closed(self) -> None:
        with self._lock:
            self._open -= 1


class _Source:
    """A microphone that says when it is closed."""

    def __init__(self, source: AudioSource, closed: Callable[[], None]) -> None:
        self._source = source
        self._closed = closed

    def read(self, timeout_s: float) -> Block | None:
        return self._source.read(timeout_s)

    @property
    def ended(self) -> bool:
        return self._source.ended

    def close(self) -> None:
        self._source.close()
        self._closed()


class _Output:
    """A loudspeaker that says when it is closed."""

    def __init__(self, output: Output, closed: Callable[[], None]) -> None:
        self._output = output
        self._closed = closed

    @property
    def latency_ms(self) -> int:
        return self._output.latency_ms

    @property
    def alive(self) -> bool:
        return self._output.alive

    def close(self) -> None:
        self._output.close()
        self._closed()
