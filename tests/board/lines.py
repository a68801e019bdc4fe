"""A viewer without a browser: server-sent events over a plain socket."""

import http.client
import json
from types import TracebackType
from typing import Any, Self
from urllib.parse import urlsplit


class UpdateLine:
    """One open stream of updates."""

    def __init__(self, address: str, after: int, patience_s: float = 10.0) -> None:
        parts = urlsplit(address)
        self._line = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=patience_s)
        self._after = after

    def __enter__(self) -> Self:
        """Ask for updates."""
        self._line.request("GET", f"/updates?after={self._after}")
        self._answer = self._line.getresponse()
        assert 200 == self._answer.status
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Leave."""
        self._line.close()

    def next(self) -> tuple[str, dict[str, Any]]:
        """The next event: kind and data."""
        kind, data = "", ""
        while raw := self._answer.readline().decode():
            line = raw.rstrip("\n")
            if line.startswith("event: "):
                kind = line.removeprefix("event: ")
            elif line.startswith("data: "):
                data = line.removeprefix("data: ")
            elif not line and data:
                return kind, json.loads(data)
        raise ConnectionError("The stream ended.")

    def until_n(self, n: int) -> dict[str, Any]:
        """The first picture that holds record `n`."""
        while True:
            kind, data = self.next()
            if kind == "board" and data["n"] >= n:
                return data
