"""A microphone that may go away and come back: noticed within three seconds, said aloud, tried again with back-off.

Opening and closing happen in threads of their own, because a sound server that hangs must not hold up the clocks.
Blocks are dated by the incident's clock, whatever the sound card's own clock does or how much sound was lost.
"""

import threading
from collections.abc import Callable
from dataclasses import replace
from queue import Empty, SimpleQueue

from assistant.errors import AudioError
from assistant.hearing.blocks import BLOCK_S, AudioSource, Block
from assistant.inputs import Part

SILENT_MS = 2_500
"""No block for so long: the device is gone."""
FIRST_RETRY_MS = 1_000
LONGEST_RETRY_MS = 15_000
MOST_BLOCKS = 16
"""At most a second waits to be decoded; what is older is dropped, counted and told."""
MOST_AT_ONCE = 4
"""Handed over at a time, so that a slow decoder does not hold up clocks and alarms."""
MOST_READ = 200
OWN_PAUSE_MS = 1_000
"""Not polled for so long, the program itself stood still, and the silence is not the microphone's."""
CAUGHT_UP_MS = 5_000
LARGEST_LAG_S = 0.5
HEARING = "hearing"

Background = Callable[[Callable[[], None]], object]


def in_background(work: Callable[[], None]) -> None:
    """Run `work` in a thread that nobody waits for."""
    threading.Thread(target=work, name="microphone", daemon=True).start()


class LiveMicrophone:
    """Keeps a source open; never raises once it has been opened.

    With `patient` it also starts without a microphone and goes on looking for one.

    Raises:
        AudioError: if there is no microphone at the start, and it is not patient.
    """

    def __init__(
        self,
        open_source: Callable[[], AudioSource],
        now_ms: int,
        background: Background = in_background,
        *,
        patient: bool = False,
    ) -> None:
        self._open = open_source
        self._background = background
        self._source: AudioSource | None = None
        self.missing = ""
        """Why there was no microphone at the start; empty when there was one."""
        try:
            self._source = open_source()
        except AudioError as error:
            if not patient:
                raise
            self.missing = str(error)
        self._opened: SimpleQueue[AudioSource | None] | None = None
        self._zero_s = now_ms / 1000
        self._last_ms = self._polled_ms = now_ms
        self._retry_ms = FIRST_RETRY_MS
        self._next_try_ms = now_ms + FIRST_RETRY_MS
        self._lost_at_ms: int | None = None
        self._held: list[Block] = []
        self.dropped_s = 0.0
        """Seconds of sound that were never decoded because the program fell behind."""

    def poll(self, now_ms: int) -> tuple[list[Block], list[Part]]:
        """Blocks that wait, dated by the incident's clock in seconds, and what happened to the device."""
        if now_ms - self._polled_ms >= OWN_PAUSE_MS:
            self._last_ms = now_ms
        self._polled_ms = now_ms
        if self._source is None:
            return [], self._try_again(now_ms)
        blocks = _waiting(self._source)
        if blocks:
            self._last_ms = now_ms
            self._retry_ms = FIRST_RETRY_MS
        elif now_ms - self._last_ms >= SILENT_MS:
            return [], [self._lost(now_ms)]
        return self._newest(blocks, now_ms)

    def close(self) -> None:
        """Let go of the device."""
        source, self._source = self._source, None
        if source is not None:
            self._background(source.close)

    def _newest(self, blocks: list[Block], now_ms: int) -> tuple[list[Block], list[Part]]:
        late_s = self._date(blocks, now_ms)
        held = [*self._held, *(replace(block, start_s=block.start_s + self._zero_s) for block in blocks)]
        old, kept = held[:-MOST_BLOCKS], held[-MOST_BLOCKS:]
        if old:
            kept[0] = replace(kept[0], overflow=True)
        lost_s = sum(block.duration_s for block in old)
        lost_s += late_s if any(block.overflow for block in blocks) else 0.0
        self._held = kept[MOST_AT_ONCE:]
        return kept[:MOST_AT_ONCE], self._backlog(lost_s, now_ms)

    def _date(self, blocks: list[Block], now_ms: int) -> float:
        """Move the zero when the newest block is not of about now; gives the seconds by which it lagged."""
        if not blocks:
            return 0.0
        lag_s = now_ms / 1000 - self._zero_s - blocks[-1].end_s
        if -BLOCK_S <= lag_s <= LARGEST_LAG_S:
            return 0.0
        self._zero_s += lag_s
        return max(0.0, lag_s)

    def _backlog(self, lost_s: float, now_ms: int) -> list[Part]:
        if lost_s > 0.0:
            self.dropped_s += lost_s
            first, self._lost_at_ms = self._lost_at_ms is None, now_ms
            detail = f"The computer fell behind and {lost_s:.1f} seconds were not heard. Say it again."
            return [Part(HEARING, works=False, detail=detail)] if first else []
        if self._lost_at_ms is None or now_ms - self._lost_at_ms < CAUGHT_UP_MS:
            return []
        self._lost_at_ms = None
        return [Part(HEARING, works=True, detail=f"Not heard since the start: {self.dropped_s:.1f} seconds.")]

    def _lost(self, now_ms: int) -> Part:
        self.close()
        self._held = []
        self._next_try_ms = now_ms + self._retry_ms
        return Part("microphone", works=False, detail="Use the board or the keyboard.")

    def _try_again(self, now_ms: int) -> list[Part]:
        if self._opened is not None:
            return self._look(self._opened, now_ms)
        if now_ms >= self._next_try_ms:
            opened: SimpleQueue[AudioSource | None] = SimpleQueue()
            self._opened = opened
            self._background(lambda: _open_into(self._open, opened))
            return self._look(opened, now_ms)
        return []

    def _look(self, opened: "SimpleQueue[AudioSource | None]", now_ms: int) -> list[Part]:
        try:
            self._source = opened.get_nowait()
        except Empty:
            return []
        self._opened = None
        if self._source is None:
            self._retry_ms = min(self._retry_ms * 2, LONGEST_RETRY_MS)
            self._next_try_ms = now_ms + self._retry_ms
            return []
        self._zero_s, self._last_ms = now_ms / 1000, now_ms
        return [Part("microphone", works=True, detail="The microphone is back.")]


def _waiting(source: AudioSource) -> list[Block]:
    blocks: list[Block] = []
    while len(blocks) < MOST_READ and (block := source.read(0.0)) is not None:
        blocks.append(block)
    return blocks


def _open_into(open_source: Callable[[], AudioSource], opened: "SimpleQueue[AudioSource | None]") -> None:
    source: AudioSource | None = None
    try:
        source = open_source()
    except AudioError:
        return  # announced when it went; tried again
    finally:
        opened.put(source)
