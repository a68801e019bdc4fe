"""Debian's own broker on a free port, which a test may kill and start again."""

import shutil
import signal
import socket
import subprocess
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from assistant.clock import SystemClock

PROGRAM = shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/sbin:/usr/local/sbin")
ANSWERS_S = 5.0


def free_port(host: str = "127.0.0.1") -> int:
    """A port that nobody uses."""
    with socket.create_server((host, 0)) as server:
        return int(server.getsockname()[1])


class RealBroker:
    """One mosquitto process."""

    def __init__(self, folder: Path, port: int = 0, settings: Sequence[str] | None = None, host: str = "127.0.0.1") -> None:
        self.host, self.port = host, port or free_port(host)
        self._file = folder / "mosquitto.conf"
        plain = (f"listener {self.port} {host}", "allow_anonymous true", "persistence false")
        self._file.write_text("\n".join((*(settings or plain), "user root", "log_type error", "")))
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        """Start."""
        self.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Stop."""
        self.kill()

    @property
    def url(self) -> str:
        """Where it is."""
        return f"mqtt://{self.host}:{self.port}"

    def start(self) -> None:
        """Start and wait until it answers."""
        assert PROGRAM, "Debian's mosquitto is not installed."
        self._process = subprocess.Popen([PROGRAM, "-c", str(self._file)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        clock = SystemClock()
        while clock.now_ms() < ANSWERS_S * 1000:
            try:
                socket.create_connection((self.host, self.port), timeout=1).close()
            except OSError:
                clock.wait_ms(20)
            else:
                return
        raise AssertionError(f"mosquitto does not answer at {self.host}:{self.port}")

    def kill(self) -> None:
        """As if its machine lost power: no goodbye, no memory."""
        if self._process is not None:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait()
            self._process = None

    def pause(self) -> None:
        """It hangs: connections stay, nothing moves."""
        if self._process is not None:
            self._process.send_signal(signal.SIGSTOP)

    def go_on(self) -> None:
        """It moves again."""
        if self._process is not None:
            self._process.send_signal(signal.SIGCONT)
