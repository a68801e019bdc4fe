"""Stand-ins for clips and loudspeakers, so that players can be tested without an engine and without a device."""

import threading
from concurrent.futures import Future

import numpy as np

from assistant.clock import SystemClock
from assistant.errors import AudioError, SpeechError
from assistant.speaking.clips import Clip
from assistant.speaking.levels import RATE_HZ, Samples
from assistant.speaking.sound_output import BLOCK, Fill

LEVEL = 4000


def steady(seconds: float) -> Samples:
    """A sound that is easy to find again."""
    return np.full(int(seconds * RATE_HZ), LEVEL, np.int16)


class FakeClips:
    """Clips of 10 ms for each letter; a text in `missing` has none, and one in `slow` has none yet."""

    def __init__(self, missing: tuple[str, ...] = (), slow: tuple[str, ...] = ()) -> None:
        self.missing = missing
        self.slow = {text: Future[Clip]() for text in slow}

    def clip(self, text: str, wait_ms: int = 0) -> Clip | None:
        """The steady sound for a text."""
        assert wait_ms >= 0
        return None if text in self.missing else Clip(text, steady(len(text) / 100))

    def request(self, text: str) -> Future[Clip]:
        """The same without waiting."""
        if text in self.slow:
            return self.slow[text]
        future: Future[Clip] = Future()
        clip = self.clip(text)
        if clip is None:
            future.set_exception(SpeechError("missing"))
        else:
            future.set_result(clip)
        return future

    def arrive(self, text: str) -> None:
        """The engine has rendered a slow text."""
        clip = self.clip(text)
        assert clip is not None
        self.slow[text].set_result(clip)


class FakeOutput:
    """A loudspeaker that asks for a block every 20 ms and keeps what it got, until it is pulled out."""

    def __init__(self, fill: Fill) -> None:
        self.heard: list[Samples] = []
        self.alive = True
        self.latency_ms = 0
        self._fill = fill
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        clock = SystemClock()
        for number in range(1_000_000):
            if self._stop.wait(max(0, 20 * number - clock.now_ms()) / 1000):
                return
            block = np.empty(BLOCK, np.int16)
            self._fill(block)
            self.heard.append(block)

    def freeze(self) -> None:
        """Ask for no more blocks, as a device does whose server hangs."""
        self._stop.set()
        self._thread.join()

    def close(self) -> None:
        """Give it back."""
        self.freeze()


class FakeDevice:
    """Opens fake loudspeakers; refuses while it is unplugged."""

    def __init__(self) -> None:
        self.plugged = True
        self.opened: list[FakeOutput] = []
        self.tries = 0

    def __call__(self, fill: Fill) -> FakeOutput:
        """Open it."""
        self.tries += 1
        if not self.plugged:
            raise AudioError("There is no loudspeaker.")
        self.opened.append(FakeOutput(fill))
        return self.opened[-1]
