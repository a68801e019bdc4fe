"""A road between a station and the broker: TCP that can be cut, slowed and held up, for machines without `tc netem`."""

import random
import socket
import threading
from types import TracebackType
from typing import Self

from assistant.clock import SystemClock

CHUNK = 4_096


class Road:
    """Passes bytes both ways; what it does to them can be changed at any moment."""

    def __init__(self, host: str, port: int, *, delay_ms: int = 0, jitter_ms: int = 0, hold_ms: int = 0, seed: int = 0) -> None:
        """Lay a road.

        Args:
            host: of the broker.
            port: of the broker.
            delay_ms: each piece waits so long,
            jitter_ms: and up to so much longer.
            hold_ms: one piece in twenty waits so much more, as a lost packet that is sent again does.
            seed: of chance.
        """
        self._far = (host, port)
        self.delay_ms, self.jitter_ms, self.hold_ms = delay_ms, jitter_ms, hold_ms
        self._chance = random.Random(seed)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self._open = threading.Event()
        self._open.set()
        self._ends: list[socket.socket] = []
        self._closed = False
        self._clock = SystemClock()

    def __enter__(self) -> Self:
        """Open it."""
        threading.Thread(target=self._accept, daemon=True).start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Take it up."""
        self._closed = True
        self._listener.close()
        self._open.set()
        self.hang_up()

    def block(self) -> None:
        """A partition: nothing passes, no connection ends."""
        self._open.clear()

    def clear(self) -> None:
        """Let everything pass again, what waited first."""
        self._open.set()

    def hang_up(self) -> None:
        """End every connection."""
        ends, self._ends = self._ends, []
        for end in ends:
            try:
                end.shutdown(socket.SHUT_RDWR)
            except OSError:  # it had ended already
                continue

    def _accept(self) -> None:
        while not self._closed:
            try:
                near, _peer = self._listener.accept()
            except OSError:  # taken up
                return
            threading.Thread(target=self._join, args=(near,), daemon=True).start()

    def _join(self, near: socket.socket) -> None:
        self._open.wait()
        try:
            far = socket.create_connection(self._far, timeout=5)
        except OSError:  # the broker is dead
            near.close()
            return
        far.settimeout(None)
        self._ends += [near, far]
        for source, sink in ((near, far), (far, near)):
            threading.Thread(target=self._pass, args=(source, sink), daemon=True).start()

    def _pass(self, source: socket.socket, sink: socket.socket) -> None:
        try:
            while data := source.recv(CHUNK):
                wait_ms = self.delay_ms + self._chance.randint(0, self.jitter_ms)
                if self.hold_ms and self._chance.random() < 0.05:
                    wait_ms += self.hold_ms
                self._clock.wait_ms(wait_ms)
                self._open.wait()
                sink.sendall(data)
        except OSError:  # one side has ended
            pass
        for end in (source, sink):
            end.close()
