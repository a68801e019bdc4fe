"""The routes: pages and updates for everybody, sign-in and actions for an officer. Nothing changes by GET."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from importlib.resources import files
from types import MappingProxyType
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, StringConstraints, ValidationError
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from assistant.board.action import Action
from assistant.board.action_table import ACTIONS, BadActionError, read_action
from assistant.board.doors import Doors, Officer, Shut
from assistant.board.fences import Fences
from assistant.board.hub import Hub
from assistant.board.settings import Settings
from assistant.clock import Clock
from assistant.journal import Record
from protocol import events as ev
from protocol.commands import Command, Origin

COOKIE = "bin_rescue_board"
BODY_S = 5.0
"""A body that takes longer to arrive is given up."""
KEPT_ANSWERS = 100
"""Answers kept for each officer, by action id."""
TYPES: Mapping[str, str] = MappingProxyType({
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
})
MANIFEST: Mapping[str, Any] = MappingProxyType({
    "name": "Bin rescue: officer's board",
    "short_name": "Rescue board",
    "start_url": "/",
    "display": "standalone",
    "background_color": "#0d0f0c",
    "theme_color": "#0d0f0c",
    "icons": [{"src": "/page/icon.svg", "sizes": "any", "type": "image/svg+xml"}],
})


class Pin(BaseModel):
    """A sign-in."""

    model_config = ConfigDict(extra="forbid")

    pin: Annotated[str, StringConstraints(pattern=r"^[0-9]{4,12}$")]


class Pages:
    """Handlers of one board."""

    def __init__(
        self, hub: Hub, doors: Doors, clock: Clock, put: Callable[[Command], None], settings: Settings
    ) -> None:
        self._hub = hub
        self._doors = doors
        self._clock = clock
        self._put = put
        self._settings = settings
        self._files = _page_files()

    def app(self, ready: Callable[[], None] = lambda: None) -> Fences:
        """The ASGI application.

        Args:
            ready: called in the server's thread once it can answer.
        """

        @asynccontextmanager
        async def lifespan(_app: Starlette) -> AsyncIterator[None]:
            beating = asyncio.create_task(self._hub.run())
            ready()
            yield
            self._hub.close()
            beating.cancel()

        routes = [
            Route("/", self._index),
            Route("/post", self._post_page),
            Route("/page/{name}", self._page),
            Route("/manifest.webmanifest", self._manifest),
            Route("/state", self._state),
            Route("/updates", self._updates),
            Route("/session", self._who, methods=["GET"]),
            Route("/session", self._enter, methods=["POST"]),
            Route("/session/end", self._leave, methods=["POST"]),
            Route("/actions/{name}", self._act, methods=["POST"]),
        ]
        inner = Starlette(routes=routes, lifespan=lifespan, exception_handlers={HTTPException: _refused})
        return Fences(inner, self._settings.most_body_bytes, self._settings.names)

    async def _index(self, _request: Request) -> Response:
        return self._file("index.html")

    async def _post_page(self, _request: Request) -> Response:
        return self._file("post.html")

    async def _page(self, request: Request) -> Response:
        return self._file(request.path_params["name"])

    async def _manifest(self, _request: Request) -> Response:
        return Response(json.dumps(dict(MANIFEST)), media_type="application/manifest+json")

    async def _state(self, _request: Request) -> Response:
        return Response(self._hub.picture(), media_type="application/json")

    async def _updates(self, request: Request) -> Response:
        after = request.query_params.get("after", "0")
        if not (after.isascii() and after.isdigit() and len(after) <= 9):
            raise HTTPException(400, "The number after which to catch up is a whole number.")
        return StreamingResponse(self._hub.updates(int(after)), media_type="text/event-stream")

    async def _who(self, request: Request) -> Response:
        officer = self._officer(request)
        return JSONResponse({"officer": officer is not None, "station": officer.station if officer else ""})

    async def _enter(self, request: Request) -> Response:
        try:
            pin = Pin.model_validate_json(await self._body(request)).pin
        except ValidationError:
            raise HTTPException(422, "A PIN has digits only.") from None
        address = request.client.host if request.client else ""
        token = self._doors.enter(pin, address, self._clock.now_ms())
        if isinstance(token, Shut):
            wait_s = -(-token.wait_ms // 1000)
            headers = {"Retry-After": str(wait_s)} if wait_s else None
            return JSONResponse({"error": token.why, "wait_s": wait_s}, 429 if wait_s else 403, headers)
        officer = self._doors.officer(token, self._clock.now_ms())
        answer = JSONResponse({"officer": True, "station": officer.station if officer else ""})
        age_s = round(self._settings.officer_hours * 3600)
        answer.set_cookie(COOKIE, token, max_age=age_s, path="/", httponly=True, samesite="strict")
        return answer

    async def _leave(self, request: Request) -> Response:
        self._doors.leave(request.cookies.get(COOKIE))
        answer = JSONResponse({"officer": False, "station": ""})
        answer.delete_cookie(COOKIE, path="/", httponly=True, samesite="strict")
        return answer

    async def _act(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in ACTIONS:
            raise HTTPException(404, "There is no such action.")
        officer = self._officer(request)
        if officer is None:
            raise HTTPException(401, "Enter the PIN first.")
        try:
            action = read_action(name, await self._body(request))
        except BadActionError as error:
            raise HTTPException(422, str(error)) from None
        if action.id not in officer.seen:
            officer.seen[action.id] = asyncio.ensure_future(self._perform(action, officer))
            for old in list(officer.seen)[:-KEPT_ANSWERS]:
                del officer.seen[old]
        status, content = await asyncio.shield(officer.seen[action.id])
        return JSONResponse(content, status)

    async def _perform(self, action: Action, officer: Officer) -> tuple[int, dict[str, Any]]:
        scene = self._hub.scene()
        outdated = action.outdated(scene)
        if outdated:
            return 409, {"error": outdated}
        origin = Origin(officer.station, action.role(scene), "board", action.words(scene))
        try:
            record = await self._hub.put(action.command(origin), self._put, self._settings.answer_s)
        except OverflowError:
            return 429, {"error": "Too many actions wait already. Look at the board before you press again."}
        if record is None:
            return 504, {"error": "Nothing is on record. Look at the board before you press again."}
        return 200, answer_of(record)

    def _officer(self, request: Request) -> Officer | None:
        return self._doors.officer(request.cookies.get(COOKIE), self._clock.now_ms())

    async def _body(self, request: Request) -> bytes:
        try:
            async with asyncio.timeout(BODY_S):
                return await _read(request, self._settings.most_body_bytes)
        except TimeoutError:
            raise HTTPException(408, "That took too long to arrive.") from None

    def _file(self, name: str) -> Response:
        found = self._files.get(name)
        if found is None:
            raise HTTPException(404, "There is no such page.")
        return Response(found[1], media_type=found[0])


def answer_of(record: Record) -> dict[str, Any]:
    """What an action's record says, for the one who pressed."""
    refused = any(isinstance(event, ev.AdvanceRefused | ev.CommandRefused) for event in record.events)
    said = [event.text for event in record.events if isinstance(event, ev.Said)]
    reasons = [event.reason for event in record.events if isinstance(event, ev.CommandRefused)]
    return {"n": record.n, "refused": refused, "said": list(dict.fromkeys((*reasons, *said)))}


async def _read(request: Request, most: int) -> bytes:
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > most:
            raise HTTPException(413, "That is longer than anything the board takes.")
    return body


async def _refused(_request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    detail = error.detail if isinstance(error, HTTPException) else "The board failed."
    headers = error.headers if isinstance(error, HTTPException) else None
    return JSONResponse({"error": detail}, status, headers=dict(headers or {}))


def _page_files() -> dict[str, tuple[str, bytes]]:
    folder = files("assistant.board") / "page"
    found: dict[str, tuple[str, bytes]] = {}
    for entry in folder.iterdir():
        kind = TYPES.get(f".{entry.name.rpartition('.')[2]}")
        if kind:
            found[entry.name] = (kind, entry.read_bytes())
    return found
