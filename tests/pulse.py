"""A private sound server for tests: loudspeakers and microphones made of null sinks, no hardware, safe as root.

    with private_pulse(speakers=("headset",), microphones=("boom",)) as pulse:
        recording = pulse.record("headset")            # what a listener would hear
        pulse.play("boom", Path("drill.wav")).wait()   # what the microphone picks up
        heard = recording.stop()                       # int16 samples at 16 kHz

While the block runs, `sounddevice` in this process and in every child that inherits `os.environ` sees devices named
after each speaker and microphone, and "default" is the first speaker and the first microphone. Needs the Debian
packages pulseaudio, pulseaudio-utils, libasound2-plugins and libportaudio2.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from assistant.clock import SystemClock

RATE_HZ = 16_000
START_LIMIT_MS = 5_000
PROGRAMS = ("pulseaudio", "pactl", "paplay", "parec")


def missing_programs() -> list[str]:
    """Programs that a private sound server needs and that this machine lacks."""
    return [name for name in PROGRAMS if shutil.which(name) is None]


class Recording:
    """What one loudspeaker plays, kept from the moment this was made until `stop`."""

    def __init__(self, command: Sequence[str], path: Path) -> None:
        self._path = path
        self._stream = path.open("wb")
        self._process = subprocess.Popen(command, stdout=self._stream)

    def seconds(self) -> float:
        """Length so far."""
        return self._path.stat().st_size / 2 / RATE_HZ

    def wait_for(self, seconds: float, limit_ms: int = START_LIMIT_MS) -> None:
        """Return once the recording is at least `seconds` long.

        Raises:
            TimeoutError: after `limit_ms`.
        """
        _wait_until(lambda: self.seconds() >= seconds, limit_ms, "the recording did not grow")

    def stop(self) -> NDArray[np.int16]:
        """End it and return the int16 mono samples at 16 kHz."""
        self._process.terminate()
        self._process.wait()
        self._stream.close()
        raw = self._path.read_bytes()
        return np.frombuffer(raw[: len(raw) // 2 * 2], dtype="<i2").copy()


class PulseServer:
    """One running sound server in a folder of its own."""

    def __init__(self, folder: Path, speakers: Sequence[str], microphones: Sequence[str]) -> None:
        self.folder = folder
        self.speakers = tuple(speakers)
        self.microphones = tuple(microphones)
        self.socket = folder / "native"
        self._process: subprocess.Popen[bytes] | None = None
        self._modules: dict[str, str] = {}
        self._recordings = 0
        (folder / "alsa.conf").write_text(_alsa_config(self.speakers, self.microphones))

    @property
    def environment(self) -> Mapping[str, str]:
        """What a program must have in its environment to use this server and no other."""
        return {
            "PULSE_SERVER": f"unix:{self.socket}",
            "PULSE_COOKIE": str(self.folder / "cookie"),
            "PULSE_RUNTIME_PATH": str(self.folder),
            "ALSA_CONFIG_PATH": str(self.folder / "alsa.conf"),
        }

    def start(self) -> None:
        """Start the server and plug everything in.

        Raises:
            TimeoutError: if the server does not answer within 5 s.
        """
        self.socket.unlink(missing_ok=True)
        with (self.folder / "pulseaudio.log").open("ab") as log:
            self._process = subprocess.Popen(_server_command(self.socket), env=self._server_env(), stderr=log)
        _wait_until(self._answers, START_LIMIT_MS, "pulseaudio did not start")
        for name in (*self.speakers, *self.microphones):
            self.plug_in(name)

    def stop(self) -> None:
        """Kill the server at once, as a crash would; nothing happens if it is not running."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
        self._process = None
        self._modules.clear()

    def plug_in(self, name: str) -> None:
        """Make a speaker or microphone appear."""
        self._modules[name] = self._pactl(
            "load-module", "module-null-sink", f"sink_name={name}", "rate=48000", "channels=2", "norewinds=1"
        ).strip()

    def pull_out(self, name: str) -> None:
        """Make a speaker or microphone disappear."""
        self._pactl("unload-module", self._modules.pop(name))

    def play(self, microphone: str, recording: Path) -> subprocess.Popen[bytes]:
        """Start playing a sound file into a microphone; the caller waits for the process."""
        return subprocess.Popen(["paplay", f"--device={microphone}", str(recording)], env=self._client_env())

    def record(self, speaker: str, limit_ms: int = START_LIMIT_MS) -> Recording:
        """Start recording what a speaker (or a microphone) carries; returns once samples arrive.

        Raises:
            TimeoutError: if none arrive within `limit_ms`.
        """
        self._recordings += 1
        path = self.folder / f"recording{self._recordings}.raw"
        command = ["parec", f"--device={speaker}.monitor", "--format=s16le", "--channels=1", f"--rate={RATE_HZ}"]
        recording = Recording([*command, "--latency-msec=20", f"--server=unix:{self.socket}"], path)
        try:
            recording.wait_for(0.02, limit_ms)
        except TimeoutError:
            recording.stop()
            raise
        return recording

    def _pactl(self, *arguments: str) -> str:
        done = subprocess.run(["pactl", *arguments], env=self._client_env(), check=True, capture_output=True, text=True)
        return done.stdout

    def _answers(self) -> bool:
        return self.socket.exists() and not subprocess.call(
            ["pactl", "info"], env=self._client_env(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )

    def _client_env(self) -> dict[str, str]:
        return {**os.environ, **self.environment}

    def _server_env(self) -> dict[str, str]:
        private = {"HOME": str(self.folder), "XDG_RUNTIME_DIR": str(self.folder), "XDG_CONFIG_HOME": str(self.folder)}
        kept = {name: text for name, text in self._client_env().items() if name != "PULSE_SERVER"}
        return {**kept, **private, "DBUS_SESSION_BUS_ADDRESS": "unix:path=/nonexistent"}


def _server_command(socket: Path) -> list[str]:
    options = ["-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disable-shm=yes"]
    quiet = ["--log-target=stderr", "--log-level=warn", "--high-priority=no", "--realtime=no"]
    return ["pulseaudio", *options, *quiet, "-L", f"module-native-protocol-unix socket={socket} auth-anonymous=1"]


def _alsa_config(speakers: Sequence[str], microphones: Sequence[str]) -> str:
    outputs = [f"pcm.{name} {{ type pulse device {name} }}" for name in speakers]
    inputs = [f"pcm.{name} {{ type pulse device {name}.monitor }}" for name in microphones]
    default = "pcm.!default { type asym"
    default += f' playback.pcm "{speakers[0]}"' if speakers else ""
    default += f' capture.pcm "{microphones[0]}"' if microphones else ""
    return "\n".join(["</usr/share/alsa/alsa.conf>", *outputs, *inputs, default + " }", ""])


def _wait_until(ready: Callable[[], bool], limit_ms: int, complaint: str) -> None:
    clock = SystemClock()
    while not ready():
        if clock.now_ms() > limit_ms:
            raise TimeoutError(f"{complaint} within {limit_ms} ms")
        clock.wait_ms(10)


def refresh_portaudio() -> None:
    """Make `sounddevice` in this process look at the devices again, if it has been imported at all."""
    sounddevice = sys.modules.get("sounddevice")
    if sounddevice is not None:
        sounddevice._terminate()
        sounddevice._initialize()


@contextmanager
def _changed_environment(changes: Mapping[str, str]) -> Iterator[None]:
    before = {name: os.environ.get(name) for name in changes}
    os.environ.update(changes)
    try:
        yield
    finally:
        for name, text in before.items():
            if text is None:
                del os.environ[name]
            else:
                os.environ[name] = text


@contextmanager
def private_pulse(speakers: Sequence[str] = ("speaker",), microphones: Sequence[str] = ()) -> Iterator[PulseServer]:
    """A running private sound server; the environment is put back and the server is gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="pulse") as folder:
        server = PulseServer(Path(folder), speakers, microphones)
        with _changed_environment(server.environment):
            try:
                server.start()
                refresh_portaudio()
                yield server
            finally:
                server.stop()
        refresh_portaudio()
