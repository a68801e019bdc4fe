"""The microphone as a source of blocks; its callback only copies."""

import queue
from typing import Any, Self

import numpy as np
import soxr

from assistant.errors import AudioError
from assistant.hearing.blocks import BLOCK_S, RATE, AudioSource, Block
from assistant.hearing.files import FileSource

__all__ = ["RATE", "AudioSource", "Block", "FileSource", "MicrophoneSource"]

_NO_PORTAUDIO = "The PortAudio library is missing. Install it: apt-get install libportaudio2."
QUEUE_BLOCKS = 50
"""Three seconds may wait; then the oldest is dropped and the next block says so."""


class MicrophoneSource:
    """A sound device, opened at 16 kHz or at its own rate and resampled.

    Raises:
        AudioError: if there is no such microphone or it cannot be opened.
    """

    def __init__(self, device: str | int | None = None) -> None:
        self._queue: queue.Queue[tuple[bytes, bool]] = queue.Queue(maxsize=QUEUE_BLOCKS)
        self._lost = False
        self._position = 0
        self.overflows = 0
        self.ended = False
        self._stream, self._rate = _open(device, self._take)
        self._resampler = None
        if self._rate != RATE:
            self._resampler = soxr.ResampleStream(self._rate, RATE, 1, dtype="int16")
        _start(self._stream)

    def read(self, timeout_s: float) -> Block | None:
        """The next block, or None when none came in time."""
        try:
            data, lost = self._queue.get(timeout=timeout_s)
        except queue.Empty:
            return None
        samples = np.frombuffer(data, np.int16)
        if self._resampler is not None:
            samples = self._resampler.resample_chunk(samples)
        block = Block(samples, self._position / RATE, lost)
        self._position += len(samples)
        return block

    @property
    def waiting(self) -> int:
        """Blocks not read yet."""
        return self._queue.qsize()

    def close(self) -> None:
        """Let go of the device."""
        self.ended = True
        self._stream.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _take(self, data: Any, _frames: int, _time: Any, status: Any) -> None:
        lost = self._lost or bool(status.input_overflow)
        self._lost = False
        try:
            self._queue.put_nowait((bytes(data), lost))
        except queue.Full:
            self.overflows += 1
            try:
                self._queue.get_nowait()
                self._queue.put_nowait((bytes(data), True))
            except (queue.Empty, queue.Full):
                self._lost = True


def _open(device: str | int | None, take: Any) -> tuple[Any, int]:
    try:
        import sounddevice  # noqa: PLC0415  loading PortAudio takes time and may fail
    except OSError as error:
        raise AudioError(_NO_PORTAUDIO) from error
    try:
        info = sounddevice.query_devices(device, "input")
    except (ValueError, sounddevice.PortAudioError) as error:
        named = f"called '{device}'" if device is not None else "at all"
        raise AudioError(
            f"There is no microphone {named}. See: bin-rescue devices; or type instead: --keyboard."
        ) from error
    for rate in dict.fromkeys((RATE, int(info["default_samplerate"]))):
        try:
            shape = {"samplerate": rate, "blocksize": round(BLOCK_S * rate), "channels": 1, "dtype": "int16"}
            stream = sounddevice.RawInputStream(device=device, callback=take, **shape)
        except sounddevice.PortAudioError:
            continue
        return stream, rate
    raise AudioError(f"The microphone '{info['name']}' cannot be opened. Is another program using it?")


def _start(stream: Any) -> None:
    import sounddevice  # noqa: PLC0415  as in _open

    try:
        stream.start()
    except sounddevice.PortAudioError as error:
        stream.close()
        raise AudioError(f"The microphone does not start ({error}). Plug it in again, or type: --keyboard.") from error


def device_lines() -> list[str]:
    """One line for each sound device, with what it can do.

    Raises:
        AudioError: if PortAudio is missing.
    """
    try:
        import sounddevice  # noqa: PLC0415  loading PortAudio takes time and may fail
    except OSError as error:
        raise AudioError(_NO_PORTAUDIO) from error
    return [
        f"{info['index']:3d}  {info['name']}  in {info['max_input_channels']}, out {info['max_output_channels']}, "
        f"{info['default_samplerate']:.0f} Hz"
        for info in sounddevice.query_devices()
    ]
