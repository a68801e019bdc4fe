"""A sound that goes on and on behind everything else: the noise of a drill."""

from assistant.speaking.levels import Samples
from assistant.speaking.sound_output import Device, Opener, speaker


class Background:
    """Plays samples over and over on a stream of its own, until it is closed.

    Raises:
        AudioError: if the loudspeaker cannot be opened.
    """

    def __init__(self, samples: Samples, device: Device = None, opener: Opener | None = None) -> None:
        self._samples = samples
        self._place = 0
        self._output = (opener or speaker(device))(self._fill)

    def close(self) -> None:
        """Fall silent."""
        self._output.close()

    def _fill(self, out: Samples) -> None:
        """Write the next block; runs in the sound library's thread."""
        done = 0
        while done < out.size:
            piece = self._samples[self._place : self._place + out.size - done]
            out[done : done + piece.size] = piece
            done += piece.size
            self._place = (self._place + piece.size) % self._samples.size
