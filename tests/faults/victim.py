"""The program with faults built in: `python -m tests.faults.victim FAULT=NUMBER... run ...`.

- `dies-in=12 after=40` writes 40 bytes of the twelfth write to the record, then kills itself;
- `dies-before-sync=12` kills itself between the twelfth write and its fsync;
- `dies-after-sync=12` kills itself after the twelfth fsync, before anything is applied or shown;
- `slow-sync=2` lets every fsync take two seconds longer;
- `slow-ear=0.2` lets each of the first hundred blocks of sound take 0.2 s longer to decode;
- `busy-engine=1` lets the speech engine make one sentence after the other that nobody wants;
- `tell-backlog=10` says every ten seconds how much sound waited at most to be decoded (nothing is broken by it).
"""

import itertools
import os
import signal
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import CancelledError

from assistant.cli import main
from assistant.errors import SpeechError
from assistant.hearing.blocks import BLOCK_S, Block
from assistant.hearing.listener import Heard, Listener
from assistant.inputs import Part
from assistant.microphone import LiveMicrophone
from assistant.speaking.clips import ClipCache, Prepared, Progress

SLOW_BLOCKS = 100


def _die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def break_writing(faults: Mapping[str, float]) -> None:
    """Stand between the record and the disk."""
    write, sync = os.write, os.fsync
    writes, syncs = itertools.count(1), itertools.count(1)

    def broken_write(handle: int, data: bytes) -> int:
        if next(writes) == faults.get("dies-in"):
            write(handle, data[: int(faults.get("after", 0))])
            _die()
        return write(handle, data)

    def broken_sync(handle: int) -> None:
        number = next(syncs)
        if number == faults.get("dies-before-sync"):
            _die()
        time.sleep(faults.get("slow-sync", 0.0))  # noqa: TID251
        sync(handle)
        if number == faults.get("dies-after-sync"):
            _die()

    os.write, os.fsync = broken_write, broken_sync  # type: ignore[assignment]


def break_hearing(seconds: float) -> None:
    """A decoder that cannot keep up for a while."""
    feed = Listener.feed
    blocks = itertools.count()

    def slow_feed(self: Listener, block: Block) -> list[Heard]:
        number = next(blocks)
        if number < SLOW_BLOCKS:
            time.sleep(seconds)  # noqa: TID251
        elif number == SLOW_BLOCKS:
            print("the decoder keeps up again", flush=True)
        return feed(self, block)

    Listener.feed = slow_feed  # type: ignore[method-assign]


def tell_backlog(every_s: float) -> None:
    """Show the longest backlog of each stretch: blocks held by the microphone, and those that PortAudio has handed over."""
    poll = LiveMicrophone.poll
    most, next_s = 0, time.monotonic() + every_s

    def told_poll(self: LiveMicrophone, now_ms: int) -> tuple[list[Block], list[Part]]:
        nonlocal most, next_s
        most = max(most, len(self._held) + getattr(self._source, "waiting", 0))
        if time.monotonic() >= next_s:
            print(f"backlog {most * BLOCK_S:.2f} s", flush=True)
            most, next_s = 0, time.monotonic() + every_s
        return poll(self, now_ms)

    LiveMicrophone.poll = told_poll  # type: ignore[method-assign]


def keep_engine_busy() -> None:
    """From the moment when the fixed prompts are ready."""
    prepare = ClipCache.prepare

    def render_on(clips: ClipCache) -> None:
        for number in itertools.count():
            try:
                clips.request(f"Sentence number {number} keeps the engine busy for a while.", 1).result(timeout=10)
            except (SpeechError, TimeoutError, CancelledError):
                return

    def busy_prepare(self: ClipCache, texts: Sequence[str], progress: Progress | None = None) -> Prepared:
        prepared = prepare(self, texts, progress)
        threading.Thread(target=render_on, args=(self,), daemon=True).start()
        return prepared

    ClipCache.prepare = busy_prepare  # type: ignore[method-assign]


def run(arguments: Sequence[str]) -> int:
    """Break what is asked for, then be the program."""
    split = list(arguments).index("run") if "run" in arguments else list(arguments).index("resume")
    faults = {name: float(value) for name, _, value in (one.partition("=") for one in arguments[:split])}
    break_writing(faults)
    if "slow-ear" in faults:
        break_hearing(faults["slow-ear"])
    if "busy-engine" in faults:
        keep_engine_busy()
    if "tell-backlog" in faults:
        tell_backlog(faults["tell-backlog"])
    return main(list(arguments[split:]))


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
