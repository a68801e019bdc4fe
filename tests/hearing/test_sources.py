"""A microphone that is there and will not start."""

import pytest
import sounddevice

from assistant.errors import AudioError
from assistant.hearing.sources import _start


class DeadStream:
    """A stream whose device is gone by the time it is started."""

    closed = False

    def start(self) -> None:
        """As PortAudio tells it."""
        raise sounddevice.PortAudioError("Error starting stream", -9999)

    def close(self) -> None:
        """Note it."""
        self.closed = True


def test_a_microphone_that_does_not_start_is_told_and_closed() -> None:
    """The error says what to do, and the device is let go for the next try."""
    stream = DeadStream()
    with pytest.raises(AudioError, match="does not start"):
        _start(stream)
    assert stream.closed
