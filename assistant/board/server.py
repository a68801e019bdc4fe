"""uvicorn in a thread of its own, with bounded connections."""

import asyncio
import contextlib
import socket
import threading
from collections import Counter
from collections.abc import Callable
from typing import Any

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from assistant.board.settings import Settings
from assistant.errors import BoardError

READY_S = 10.0
CLOSE_S = 3.0
LOST_MS = 20_000
"""Sent bytes that nobody acknowledges for so long end a connection: a tablet that went out of range."""


class BoundedProtocol(H11Protocol):
    """HTTP that closes connections over the bounds, and those that never ask for anything."""

    bounds: Settings
    by_address: Counter[str]

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Count a connection, or close it at once."""
        super().connection_made(transport)
        peer = transport.get_extra_info("peername")
        self._peer = str(peer[0]) if peer else ""
        self.by_address[self._peer] += 1
        sock = transport.get_extra_info("socket")
        if sock is not None and hasattr(socket, "TCP_USER_TIMEOUT"):
            with contextlib.suppress(OSError):
                sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, LOST_MS)
        here = self._peer in {"127.0.0.1", "::1"}
        over = sum(self.by_address.values()) > self.bounds.most_connections
        if over or (not here and self.by_address[self._peer] > self.bounds.most_per_address):
            transport.abort()
            return
        self._asked = self.loop.call_later(self.bounds.first_byte_s, self._give_up)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget a connection."""
        if hasattr(self, "_asked"):
            self._asked.cancel()
        self.by_address[self._peer] -= 1
        if self.by_address[self._peer] <= 0:
            del self.by_address[self._peer]
        super().connection_lost(exc)

    def _give_up(self) -> None:
        if self.cycle is None and not self.transport.is_closing():
            self.transport.abort()


class Server:
    """One listening socket and the thread that answers on it."""

    def __init__(self, make_app: Callable[[Callable[[], None]], Any], settings: Settings) -> None:
        self._make_app = make_app
        self._settings = settings
        self._socket: socket.socket | None = None
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self.port = settings.port

    def start(self) -> None:
        """Listen and answer.

        Raises:
            BoardError: if the port cannot be had or the server does not come up.
        """
        self._socket = self._listen()
        self.port = self._socket.getsockname()[1]
        ready = threading.Event()
        protocol = type("Bounded", (BoundedProtocol,), {"bounds": self._settings, "by_address": Counter()})
        config = uvicorn.Config(
            self._make_app(ready.set),
            http=protocol,
            ws="none",
            lifespan="on",
            log_config=None,
            log_level="error",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            timeout_keep_alive=15,
            timeout_graceful_shutdown=1,
            h11_max_incomplete_event_size=16_384,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, args=([self._socket],), name="board", daemon=True
        )
        self._thread.start()
        if not ready.wait(READY_S):
            self.close()
            raise BoardError("The board did not come up. The incident goes on without it.")

    @property
    def alive(self) -> bool:
        """Whether the thread still answers."""
        return self._thread is not None and self._thread.is_alive()

    def close(self) -> None:
        """Stop listening and let every viewer go."""
        if self._server is not None:
            self._server.should_exit = True
        if self._thread is not None:
            self._thread.join(CLOSE_S)
        if self._socket is not None:
            self._socket.close()
        self._socket = self._server = self._thread = None

    def _listen(self) -> socket.socket:
        host = "0.0.0.0" if self._settings.lan else "127.0.0.1"  # noqa: S104  asked for by --lan
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, self.port))
            listener.listen(256)  # from here on a viewer waits its turn instead of being turned away
        except OSError as error:
            listener.close()
            raise BoardError(
                f"The board cannot use port {self.port} ({error.strerror}). Give another with --port."
            ) from error
        return listener
