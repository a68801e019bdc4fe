"""Around every request: who it is addressed to, where it comes from, how long it may be, and what the answer forbids.

The board speaks plain HTTP on a network without names or certificates. What can be held there is held: no other site
can read or act through a viewer's browser, and nothing that a person wrote can run as a script.
"""

import json
from collections.abc import Mapping
from types import MappingProxyType

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SECURITY_HEADERS: Mapping[str, str] = MappingProxyType({
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        "manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
        "require-trusted-types-for 'script'; trusted-types 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "Cache-Control": "no-store",
})
READING = frozenset({"GET", "HEAD"})


class Fences:
    """ASGI middleware; each refusal is JSON with a sentence."""

    def __init__(self, app: ASGIApp, most_body_bytes: int, names: frozenset[str] = frozenset()) -> None:
        self._app = app
        self._most = most_body_bytes
        self._names = names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check the request, then pass it on."""
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        guarded = _with_headers(send)
        refusal = self._refusal(scope)
        if refusal:
            await _refuse(guarded, *refusal)
            return
        await self._app(scope, receive, guarded)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if not self._is_mine(host, scope):
            return 421, "This board does not answer to that name. Use the address on the console."
        if scope["method"] in READING:
            return None
        if headers.get("origin") != f"http://{host}":
            return 403, "Only the board's own page may do that."
        if headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
            return 415, "The board takes JSON only."
        length = headers.get("content-length")
        if length is not None and (not length.isdigit() or int(length) > self._most):
            return 413, "That is longer than anything the board takes."
        return None

    def _is_mine(self, host: str, scope: Scope) -> bool:
        """A page on another site cannot reach the board by making its own name point here."""
        address, port = scope.get("server") or ("", None)
        name, _colon, given = host.rpartition(":") if host.rpartition(":")[2].isdigit() else (host, "", "")
        if (int(given) if given else 80) != port:
            return False
        mine = {str(address), "localhost", "127.0.0.1", "[::1]", f"[{address}]"} | self._names
        return name.lower() in mine


def _with_headers(send: Send) -> Send:
    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in SECURITY_HEADERS.items():
                headers[name] = value
        await send(message)

    return guarded


async def _refuse(send: Send, status: int, sentence: str) -> None:
    body = json.dumps({"error": sentence}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode()),
               (b"connection", b"close")]  # fmt: skip
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
