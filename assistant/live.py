"""The loop of a live incident: one queue, one consumer, stations that hear and speak, clocks that run out."""

import queue
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol

from assistant.incident import Incident
from assistant.inputs import Input, Order, Part, Stop, Words
from assistant.journal import Record
from protocol import commands as cmd
from protocol.phrases import meanings
from protocol.state import State
from protocol.timers import next_deadline_ms

LONGEST_WAIT_MS = 25
"""Sound waits no longer than this before it is decoded."""
LAST_WORDS_MS = 15_000
"""The last sentences may take so long after the incident is closed."""


class Post(Protocol):
    """A station, or the board, as the loop sees it."""

    def react(self, record: Record, state: State) -> None:
        """Speak what the record says, and listen for what now means something."""
        ...

    def poll(self, now_ms: int) -> Sequence[Input]:
        """What happened at the station since the last call."""
        ...

    @property
    def silent(self) -> bool:
        """Whether nothing is being said or waits to be said."""
        ...

    def close(self) -> None:
        """Let go of devices."""
        ...


class Loop:
    """Runs one incident until it is closed or told to stop."""

    def __init__(self, incident: Incident, posts: Sequence[Post], show: Callable[[str], None]) -> None:
        self._incident = incident
        self._posts: list[Post] = []
        self._show = show
        self._inputs: queue.Queue[Input] = queue.Queue(maxsize=1000)
        self.put = self._inputs.put
        for post in posts:
            self.add(post)

    def add(self, post: Post) -> None:
        """Take in a station, a board or whatever else hears of records and is polled."""
        self._posts.append(post)
        self._incident.session.react_with(post.react)

    def run(self) -> str:
        """Work until the incident is closed or somebody stops the program; gives the reason.

        Raises:
            JournalError: if a record cannot be written.
        """
        session = self._incident.session
        while not session.state.closed:
            item = self._next()
            if isinstance(item, Stop):
                return item.why
            if item is not None:
                self._take(item)
            now_ms = self._incident.clock.now_ms()
            session.tick(now_ms)
            for post in self._posts:
                for found in post.poll(now_ms):
                    self._take(found)
        self._finish_speaking()
        return "closed"

    def _finish_speaking(self) -> None:
        clock = self._incident.clock
        until_ms = clock.now_ms() + LAST_WORDS_MS
        while clock.now_ms() < until_ms and not all(post.silent for post in self._posts):
            clock.wait_ms(50)
            for post in self._posts:
                post.poll(clock.now_ms())

    def _next(self) -> Input | None:
        deadline = next_deadline_ms(self._incident.session.state)
        wait_ms = LONGEST_WAIT_MS
        if deadline is not None:
            wait_ms = max(0, min(wait_ms, deadline - self._incident.clock.now_ms()))
        try:
            return self._inputs.get(timeout=wait_ms / 1000) if wait_ms else self._inputs.get_nowait()
        except queue.Empty:
            return None

    def _take(self, item: Input) -> None:
        now_ms = self._incident.clock.now_ms()
        session = self._incident.session
        if isinstance(item, Order):
            session.submit(replace(item.command, at_ms=now_ms))
        elif isinstance(item, Part):
            session.submit(cmd.ReportPart(now_ms, cmd.PROGRAM, item.part, item.works, item.detail))
        elif isinstance(item, Words):
            self._words(item, now_ms)

    def _words(self, item: Words, now_ms: int) -> None:
        session = self._incident.session
        if item.text == "/words":
            self._show("; ".join(sorted(meanings(session.scene(now_ms), item.origin.role))))
        elif session.say(item.text, now_ms, item.origin) is None:
            self._show(f"Not a phrase in force now: {item.text}. Type /words to see them.")


