"""Numbered updates: what the last record left, made once and handed to every viewer, who asks by number.

The loop's thread hands records in (`take`); everything else runs in the board's own thread. A viewer that is slow or
was away gets the newest picture and the lines of the records that it missed, never a queue of old ones.
"""

import asyncio
import json
from collections import deque
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from assistant.board.drawing import BinShape
from assistant.board.past import Line, Past, lines_of
from assistant.board.view import plain, view
from assistant.clock import Clock
from assistant.journal import Record
from protocol.commands import Command
from protocol.history import fold
from protocol.scene import Book, Scene
from protocol.state import State

BEAT_S = 1.0
"""Every viewer hears something so often; silence means that the connection is lost."""
REFRESH_BEATS = 10
"""The picture is made anew so often even without a record: a predicted finish moves with the clock."""
KEPT_LINES = 2000
"""Lines kept for viewers who were away."""
MISSED_LINES = 100
"""Most lines sent to one who was away."""


@dataclass(frozen=True, slots=True)
class Now:
    """The incident as last recorded."""

    state: State
    past: Past


class Hub:
    """The picture of one incident and those who wait for it."""

    def __init__(
        self, book: Book, clock: Clock, history: Sequence[Record] = (), bin_shape: BinShape | None = None
    ) -> None:
        self._book = book
        self._clock = clock
        self._bin_shape = bin_shape
        self._lines: deque[Line] = deque(maxlen=KEPT_LINES)
        self._now = Now(State(), Past())
        self._version = 0
        self._made = -1
        self._picture = b"{}"
        self._picture_n = 0
        self._frames: dict[int, bytes] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._changed = asyncio.Event()
        self._waiting: list[tuple[Command, asyncio.Future[Record]]] = []
        self._polled = True
        self._quiet_beats = 0
        self.closing = False
        for record in history:
            self._keep(record, fold(record.events, self._now.state))

    @property
    def n(self) -> int:
        """Number of the last record."""
        return self._now.past.n

    def scene(self) -> Scene:
        """The incident as last recorded, at this moment."""
        return Scene(self._book, self._now.state, max(self._clock.now_ms(), self._now.state.at_ms))

    def take(self, record: Record, state: State) -> None:
        """A record that is on disk, from the loop's thread."""
        self._keep(record, state)
        if self._loop is not None:
            with suppress(RuntimeError):  # the board's thread has ended; poll reports it
                self._loop.call_soon_threadsafe(self._arrived, record)

    def polled(self) -> None:
        """The incident's loop looked in: the program is alive, not only its board."""
        self._polled = True

    async def run(self) -> None:
        """Beat until closed; belongs to the board's thread."""
        self._loop = asyncio.get_running_loop()
        self.closing = False
        beats = 0
        while not self.closing:
            await asyncio.sleep(BEAT_S)
            beats += 1
            self._quiet_beats = 0 if self._polled else self._quiet_beats + 1
            self._polled = False
            if beats % REFRESH_BEATS == 0 and self._now.state.opened and not self._now.state.closed:
                self._version += 1
            self._wake()

    def close(self) -> None:
        """Let every viewer go."""
        self.closing = True
        if self._loop is not None:
            with suppress(RuntimeError):
                self._loop.call_soon_threadsafe(self._wake)

    def picture(self) -> bytes:
        """The newest view as JSON."""
        if self._made != self._version:
            self._made = self._version
            self._frames.clear()
            now = self._now
            scene = Scene(self._book, now.state, max(self._clock.now_ms(), now.state.at_ms))
            seen = view(scene, now.past, self._bin_shape)
            self._picture_n = seen.n
            self._picture = json.dumps(plain(seen), ensure_ascii=False, separators=(",", ":")).encode()
        return self._picture

    async def updates(self, after: int) -> AsyncIterator[bytes]:
        """Server-sent events for one viewer: the picture when it changes, a beat otherwise.

        Args:
            after: number of the last record that the viewer has.
        """
        sent, version = after, -1
        while not self.closing:
            changed = self._changed
            if version != self._version:
                version = self._version
                yield self._frame(sent)
                sent = self._picture_n
            else:
                yield self._beat()
            await changed.wait()
        if version != self._version:
            yield self._frame(sent)

    async def put(self, command: Command, put: Callable[[Command], None], wait_s: float) -> Record | None:
        """Put a command into the queue and wait for its record; None when none came in time.

        Raises:
            OverflowError: if too many are waiting already.
        """
        if len(self._waiting) >= 20:
            raise OverflowError
        waiting = (command, asyncio.get_running_loop().create_future())
        self._waiting.append(waiting)
        try:
            await asyncio.to_thread(put, command)
            return await asyncio.wait_for(waiting[1], wait_s)
        except TimeoutError:
            return None
        finally:
            if waiting in self._waiting:
                self._waiting.remove(waiting)

    def _keep(self, record: Record, state: State) -> None:
        self._now = Now(state, self._now.past.after(record, self._book))
        self._lines.extend(lines_of(record, self._book))
        self._version += 1

    def _arrived(self, record: Record) -> None:
        same = replace(record.command, at_ms=0)
        for waiting in self._waiting:
            if waiting[0] == same and not waiting[1].done():
                waiting[1].set_result(record)
                self._waiting.remove(waiting)
                break
        self._wake()

    def _wake(self) -> None:
        changed, self._changed = self._changed, asyncio.Event()
        changed.set()

    def _frame(self, after: int) -> bytes:
        picture = self.picture()
        number = self._picture_n
        key = after if 0 < after < number - 1 else number
        if key not in self._frames:
            missed = [line for line in tuple(self._lines) if line.n > key]
            head = {"n": number, "after": after, "missed": [plain(line) for line in missed[-MISSED_LINES:]],
                    "missed_more": max(0, len(missed) - MISSED_LINES)}  # fmt: skip
            body = json.dumps(head, ensure_ascii=False, separators=(",", ":")).encode()
            self._frames[key] = b'id: %d\nevent: board\ndata: %b,"view":%b}\n\n' % (number, body[:-1], picture)
        return self._frames[key]

    def _beat(self) -> bytes:
        beat = {"n": self.n, "now": self._clock.now_ms(), "quiet_s": round(self._quiet_beats * BEAT_S)}
        return b"event: beat\ndata: %b\n\n" % json.dumps(beat, separators=(",", ":")).encode()

