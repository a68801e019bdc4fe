"""The loop of a live incident: one queue, one consumer, stations that hear and speak, clocks that run out."""

import queue
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Protocol

from assistant.errors import JournalError
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
RETRY_MS = 1_000
"""A record that cannot be written is tried again so often."""
REMIND_MS = 20_000
SLOW_DISK_MS = 1_000
RECORD = "record"
LISTENING = "listening"
STOOD_STILL_MS = 5_000
"""A round of the loop that took so long: the computer slept, and nobody was heard meanwhile."""
UNWRITTEN = "The record cannot be written. Nothing is taken, no clock is called. Use paper until it works again."
"""Said without being on record: the one sentence that cannot be."""


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
    """Runs one incident until it is closed or told to stop.

    While the record cannot be written nothing is applied or spoken but `UNWRITTEN`; it is tried again every second.
    """

    def __init__(
        self,
        incident: Incident,
        posts: Sequence[Post],
        show: Callable[[str], None],
        warn: Callable[[str], None] = lambda _: None,
        stood_still_ms: int = STOOD_STILL_MS,
    ) -> None:
        self._incident = incident
        self._stood_still_ms = stood_still_ms
        self._posts: list[Post] = []
        self._show = show
        self._warn = warn
        self._inputs: queue.Queue[Input] = queue.Queue(maxsize=1000)
        self._unwritten_since_ms: int | None = None
        self._retry_at_ms = 0
        self._remind_at_ms = 0
        self.put = self._inputs.put
        for post in posts:
            self.add(post)

    def add(self, post: Post) -> None:
        """Take in a station, a board or whatever else hears of records and is polled."""
        self._posts.append(post)
        self._incident.session.react_with(post.react)

    def run(self) -> str:
        """Work until the incident is closed or somebody stops the program; gives the reason."""
        session = self._incident.session
        round_ms = self._incident.clock.now_ms()
        while not session.state.closed:
            before_ms, round_ms = round_ms, self._incident.clock.now_ms()
            if round_ms - before_ms >= self._stood_still_ms:
                self._try(partial(self._stood_still, round_ms, (round_ms - before_ms) // 1000))
            item = self._next()
            if isinstance(item, Stop):
                return item.why
            if item is not None:
                self._try(partial(self._take, item))
            self._let_time_pass()
            self._poll()
        self._finish_speaking()
        return "closed"

    def _poll(self) -> None:
        now_ms = self._incident.clock.now_ms()
        for post in self._posts:
            for found in post.poll(now_ms):
                self._try(partial(self._take, found))

    def _let_time_pass(self) -> None:
        now_ms = self._incident.clock.now_ms()
        if self._unwritten_since_ms is None:
            self._try(lambda: self._incident.session.tick(now_ms))
        elif now_ms >= self._retry_at_ms:
            self._retry_at_ms = now_ms + RETRY_MS
            self._try(lambda: self._record_again(now_ms))

    def _try(self, work: Callable[[], object]) -> None:
        """Do what writes a record; a disk that does not take it, or takes long, is told to the crew."""
        began_ms = self._incident.clock.now_ms()
        try:
            work()
        except JournalError as error:
            self._unwritten(str(error))
        took_ms = self._incident.clock.now_ms() - began_ms
        if took_ms > SLOW_DISK_MS:
            self._show(f"** The disk took {took_ms / 1000:.1f} s to keep a record: answers and clocks are late.")

    def _unwritten(self, reason: str) -> None:
        now_ms = self._incident.clock.now_ms()
        if self._unwritten_since_ms is None:
            self._unwritten_since_ms = now_ms
            self._retry_at_ms = now_ms + RETRY_MS
        elif now_ms < self._remind_at_ms:
            return
        self._remind_at_ms = now_ms + REMIND_MS
        self._show(f"!! {UNWRITTEN} {reason}")
        self._warn(UNWRITTEN)

    def _record_again(self, now_ms: int) -> None:
        """Put on record that nothing could be recorded for a while; the crew is told to say it again."""
        since_ms = self._unwritten_since_ms
        assert since_ms is not None
        session = self._incident.session
        detail = f"Nothing was recorded for {max(1, (now_ms - since_ms) // 1000)} seconds. Say again what was said."
        session.submit(cmd.ReportPart(now_ms, cmd.PROGRAM, RECORD, works=False, detail=detail))
        session.submit(cmd.ReportPart(now_ms, cmd.PROGRAM, RECORD, works=True, detail="The record is written again."))
        self._unwritten_since_ms = None

    def _stood_still(self, now_ms: int, seconds: int) -> None:
        """Tell the crew that nobody was heard for a while; the clocks went on."""
        session = self._incident.session
        detail = f"The computer stood still for {seconds} seconds. Say again what was said."
        session.submit(cmd.ReportPart(now_ms, cmd.PROGRAM, LISTENING, works=False, detail=detail))
        session.submit(cmd.ReportPart(now_ms, cmd.PROGRAM, LISTENING, works=True, detail="The clocks went on."))

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


