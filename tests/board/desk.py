"""A board without a network: requests in process, commands decided at once, records kept in a list."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from itertools import count
from typing import Any

from httpx2 import Response
from starlette.testclient import TestClient

from assistant.board import Board, Settings
from assistant.clock import ManualClock
from assistant.inputs import Input, Order
from assistant.journal import Record
from assistant.session import Session
from protocol import commands as cmd
from protocol.commands import Command, Origin, Role
from protocol.events import Event
from protocol.state import State
from tests.books import shipped_book

PIN = "246810"
HOST = "http://127.0.0.1:8470"


class ListRecorder:
    """Keeps records in memory, numbered from one."""

    def __init__(self) -> None:
        self.records: list[Record] = []

    def append(self, command: Command, events: Sequence[Event]) -> Record:
        """Keep one more."""
        record = Record(len(self.records) + 1, command.at_ms, command, tuple(events))
        self.records.append(record)
        return record


class Desk:
    """One incident, its board and a browser without a screen."""

    def __init__(self, settings: Settings | None = None, *, deaf: bool = False) -> None:
        self.clock = ManualClock()
        self.recorder = ListRecorder()
        self.session = Session(shipped_book(), self.recorder)
        self.put: list[Input] = []
        self.notices: list[str] = []
        self._deaf = deaf
        self._ids = count()
        self.board = Board(
            shipped_book(), self._take, self.clock, settings or Settings(pin=PIN, answer_s=0.2),
            notice=self.notices.append,
        )  # fmt: skip
        self.session.react_with(self.board.react)
        self.session.submit(cmd.OpenIncident(0, cmd.PROGRAM, "drill", "tests"))

    @property
    def state(self) -> State:
        """The incident."""
        return self.session.state

    @contextmanager
    def browser(self, *, signed_in: bool = False) -> Iterator[TestClient]:
        """A client on this board."""
        with TestClient(self.board.pages.app(), base_url=HOST, client=("127.0.0.1", 50000)) as client:
            client.headers["Origin"] = HOST
            if signed_in:
                assert 200 == client.post("/session", json={"pin": PIN}).status_code
            yield client

    def say(self, *lines: str) -> None:
        """The crew says these words, four seconds apart."""
        for words in lines:
            self.clock.wait_ms(4_000)
            origin = Origin("crew", Role.BOTH, "keyboard", words)
            assert self.session.say(words, self.clock.now_ms(), origin) is not None, words

    def say_until(self, lines: Iterable[str], step: str) -> None:
        """The crew says these words until a step stands."""
        left = iter(lines)
        while self.state.step != step:
            self.say(next(left))

    def act(self, client: TestClient, name: str, **fields: Any) -> Response:
        """Send an action with an id of its own."""
        return client.post(f"/actions/{name}", json={"id": f"test-{next(self._ids):06d}", **fields})

    def _take(self, item: Input) -> None:
        self.put.append(item)
        if isinstance(item, Order) and not self._deaf:
            self.clock.wait_ms(1_000)
            self.session.submit(replace(item.command, at_ms=self.clock.now_ms()))
