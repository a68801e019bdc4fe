"""The loudspeaker through PortAudio. Only this file of the speaking path knows the library."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, Protocol

import numpy as np
import sounddevice
import soxr

from assistant.errors import AudioError
from assistant.speaking.levels import RATE_HZ, Samples

BLOCK: Final = 320
"Samples at 16 kHz: 20 ms, the longest time until a new sound can begin in the stream."
LATENCY_S: Final = 0.04
Fill = Callable[[Samples], None]
Device = int | str | None


class Output(Protocol):
    """An open loudspeaker."""

    @property
    def latency_ms(self) -> int:
        """From handing over a sample to hearing it, as far as the device says."""
        ...

    @property
    def alive(self) -> bool:
        """False once the device has ended the stream by itself."""
        ...

    def close(self) -> None:
        """Give it back; may take long when the device is gone."""
        ...


Opener = Callable[[Fill], Output]
"Opens a loudspeaker that asks for blocks; raises AudioError."


@dataclass(frozen=True, slots=True)
class _Shape:
    rate_hz: int
    channels: int


class SpeakerStream:
    """A PortAudio output stream: 16 kHz mono if the device takes it, else its own rate and two channels.

    Raises:
        AudioError: the device is missing or refuses every shape.
    """

    def __init__(self, device: Device, fill: Fill) -> None:
        shape = _accepted_shape(device)
        self._fill = fill
        self._adapter = None if shape.rate_hz == RATE_HZ else _RateAdapter(fill, shape.rate_hz)
        try:
            self._stream = sounddevice.OutputStream(
                samplerate=shape.rate_hz,
                blocksize=BLOCK * shape.rate_hz // RATE_HZ,
                device=device,
                channels=shape.channels,
                dtype="int16",
                latency=LATENCY_S,
                callback=self._callback,
            )
            self._stream.start()
        except (sounddevice.PortAudioError, ValueError, OSError) as error:
            raise AudioError(_complaint(device, error)) from error

    @property
    def latency_ms(self) -> int:
        """From handing over a sample to hearing it, as PortAudio states it."""
        return round(float(self._stream.latency) * 1000)

    @property
    def alive(self) -> bool:
        """False once PortAudio has ended the stream."""
        return bool(self._stream.active)

    def close(self) -> None:
        """Give the device back."""
        try:
            self._stream.abort(ignore_errors=True)
            self._stream.close(ignore_errors=True)
        except sounddevice.PortAudioError:
            return  # it is gone already, which is what was wanted

    def _callback(self, out: Any, frames: int, time_info: object, status: object) -> None:  # noqa: ARG002
        block = np.empty(frames, np.int16)
        (self._adapter.fill if self._adapter else self._fill)(block)
        out[:] = block[:, np.newaxis]


class _RateAdapter:
    """Asks for blocks at 16 kHz and gives them at the device's rate."""

    def __init__(self, fill: Fill, to_hz: int) -> None:
        self._fill = fill
        self._stream = soxr.ResampleStream(RATE_HZ, to_hz, 1, dtype="int16", quality="MQ")
        self._ready: deque[Samples] = deque()
        self._count = 0

    def fill(self, out: Samples) -> None:
        """Write the next block at the device's rate."""
        block = np.empty(BLOCK, np.int16)
        while self._count < out.size:
            self._fill(block)
            piece: Samples = self._stream.resample_chunk(block)
            self._ready.append(piece)
            self._count += piece.size
        joined = np.concatenate(self._ready)
        out[:] = joined[: out.size]
        self._ready = deque([joined[out.size :]])
        self._count -= out.size


def speaker(device: Device) -> Opener:
    """Opens the named, numbered or default loudspeaker whenever it is called."""
    return lambda fill: SpeakerStream(device, fill)


def list_anew() -> None:
    """Look again at what devices there are. Every open stream of this program is closed by it."""
    sounddevice._terminate()  # noqa: SLF001  the library has no public name for it
    sounddevice._initialize()  # noqa: SLF001


def _accepted_shape(device: Device) -> _Shape:
    try:
        own_hz = int(sounddevice.query_devices(device, "output")["default_samplerate"])
    except (sounddevice.PortAudioError, ValueError) as error:
        raise AudioError(_complaint(device, error)) from error
    trouble: Exception | None = None
    for shape in (_Shape(RATE_HZ, 1), _Shape(RATE_HZ, 2), _Shape(own_hz, 1), _Shape(own_hz, 2)):
        try:
            sounddevice.check_output_settings(device, shape.channels, "int16", samplerate=shape.rate_hz)
        except (sounddevice.PortAudioError, ValueError) as error:
            trouble = error
        else:
            return shape
    raise AudioError(_complaint(device, trouble))


def _complaint(device: Device, error: Exception | None) -> str:
    name = "The default loudspeaker" if device is None else f"The loudspeaker {device!r}"
    return f"{name} cannot be used ({error}); `bin-rescue devices` lists what there is. Prompts are shown as text."
