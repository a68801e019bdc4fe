"""A microphone that may go away and come back: noticed within three seconds, said aloud, tried again with back-off."""

from collections.abc import Callable
from dataclasses import replace

from assistant.errors import AudioError
from assistant.hearing.blocks import AudioSource, Block
from assistant.inputs import Part

SILENT_MS = 2_500
"""No block for so long: the device is gone."""
FIRST_RETRY_MS = 1_000
LONGEST_RETRY_MS = 15_000
MOST_BLOCKS = 16
"""At most a second is decoded at a time, so that clocks and alarms are not held up."""


class LiveMicrophone:
    """Keeps a source open; never raises once it has been opened."""

    def __init__(self, open_source: Callable[[], AudioSource], now_ms: int) -> None:
        self._open = open_source
        self._source: AudioSource | None = open_source()
        self._zero_ms = now_ms
        self._last_ms = now_ms
        self._retry_ms = FIRST_RETRY_MS
        self._next_try_ms = now_ms

    def poll(self, now_ms: int) -> tuple[list[Block], list[Part]]:
        """Blocks that wait, dated by the incident's clock in seconds, and what happened to the device."""
        if self._source is None:
            return [], self._try_again(now_ms)
        blocks = self._waiting(self._source)
        if blocks:
            self._last_ms = now_ms
            self._retry_ms = FIRST_RETRY_MS
        elif now_ms - self._last_ms >= SILENT_MS:
            return [], [self._lost(now_ms)]
        return blocks, []

    def close(self) -> None:
        """Let go of the device."""
        if self._source is not None:
            self._source.close()
            self._source = None

    def _waiting(self, source: AudioSource) -> list[Block]:
        blocks: list[Block] = []
        while len(blocks) < MOST_BLOCKS and (block := source.read(0.0)) is not None:
            blocks.append(replace(block, start_s=block.start_s + self._zero_ms / 1000))
        return blocks

    def _lost(self, now_ms: int) -> Part:
        self.close()
        self._next_try_ms = now_ms + self._retry_ms
        return Part("microphone", works=False, detail="Use the board or the keyboard.")

    def _try_again(self, now_ms: int) -> list[Part]:
        if now_ms < self._next_try_ms:
            return []
        try:
            self._source = self._open()
        except AudioError:
            self._retry_ms = min(self._retry_ms * 2, LONGEST_RETRY_MS)
            self._next_try_ms = now_ms + self._retry_ms
            return []
        self._zero_ms = self._last_ms = now_ms
        return [Part("microphone", works=True, detail="The microphone is back.")]
