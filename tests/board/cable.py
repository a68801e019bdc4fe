"""A network cable between a tablet and the board: it can be pulled (nothing passes) or cut (connections end)."""

import socket
import threading
from types import TracebackType
from typing import Self
from urllib.parse import urlsplit

CHUNK = 65_536
NEAR = "127.0.0.2"
"""Another address of loopback: the cable has the board's own port there, so that names still fit."""


class Cable:
    """Passes bytes both ways between the board and its own address."""

    def __init__(self, address: str) -> None:
        parts = urlsplit(address)
        self._far = (parts.hostname or "", parts.port or 80)
        self._listener = socket.create_server((NEAR, self._far[1]))
        self.address = f"http://{NEAR}:{self._far[1]}/"
        self._passing = threading.Event()
        self._passing.set()
        self._answering = threading.Event()
        self._answering.set()
        self._closed = False
        self._ends: list[socket.socket] = []

    def __enter__(self) -> Self:
        """Plug it in."""
        threading.Thread(target=self._accept, daemon=True).start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Take it away."""
        self._closed = True
        self._listener.close()
        self.cut()
        self._passing.set()

    def pull(self) -> None:
        """Let nothing pass; both sides hear only silence."""
        self._passing.clear()

    def silence(self) -> None:
        """Let what the tablet sends pass, but no answer."""
        self._answering.clear()

    def speak(self) -> None:
        """Let answers pass again."""
        self._answering.set()

    def cut(self) -> None:
        """End every connection, and let nothing pass."""
        self._passing.clear()
        for end in self._ends:
            try:
                end.shutdown(socket.SHUT_RDWR)
            except OSError:  # it had ended already
                continue
        self._ends.clear()
        self._answering.set()

    def plug(self) -> None:
        """Let bytes pass again."""
        self._passing.set()

    def _accept(self) -> None:
        while not self._closed:
            try:
                near, _peer = self._listener.accept()
            except OSError:  # taken away
                return
            threading.Thread(target=self._join, args=(near,), daemon=True).start()

    def _join(self, near: socket.socket) -> None:
        self._passing.wait()
        far = socket.create_connection(self._far)
        self._ends += [near, far]
        for source, sink, free in ((near, far, self._passing), (far, near, self._answering)):
            threading.Thread(target=self._pass, args=(source, sink, free), daemon=True).start()

    def _pass(self, source: socket.socket, sink: socket.socket, free: threading.Event) -> None:
        try:
            while data := source.recv(CHUNK):
                free.wait()
                self._passing.wait()
                sink.sendall(data)
        except OSError:  # one side has ended
            pass
        for end in (source, sink):
            end.close()
