"""From an event on disk to pixels, and two hundred viewers at once, all on loopback of this machine.

    python -m tests.bench board [latency | load]

Latency: 50 viewers, 49 of them plain streams in a second process and one a chromium page. On disk: when the journal's
append (fsync included) has returned. Pixels: in the page, after the frame that shows the record's number has been drawn (a
task queued from the animation frame that follows the change). Load: 200 streams while a drill is told four times a second.
"""

import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from assistant.clock import SystemClock
from assistant.journal import Record
from protocol.commands import Command
from protocol.events import Event
from tests.board.chromium import Tablet, chromium
from tests.board.rig import Rig
from tests.drills import VISIBLE

TARGET_MS = 200.0
PACE_S = 0.4
LOAD_PACE_S = 0.25
LINES = 90
LOAD_LINES = 60
PAINTED = """() => { window.painted = []; const link = document.getElementById("link");
new MutationObserver(() => { const n = Number(link.dataset.record); requestAnimationFrame(() => { const after = new MessageChannel();
  after.port1.onmessage = () => window.painted.push([n, (performance.timeOrigin + performance.now()) / 1000]);
  after.port2.postMessage(0); }); }).observe(link, { attributes: true, attributeFilter: ["data-record"] }); }"""


class Stamped:
    """A recorder that notes when each record was on disk."""

    def __init__(self, inner: Any) -> None:
        self._inner = inner
        self.on_disk: dict[int, float] = {}

    def append(self, command: Command, events: Sequence[Event]) -> Record:
        """Write, then look at the clock."""
        record: Record = self._inner.append(command, events)
        self.on_disk[record.n] = time.time()
        return record


def main() -> None:
    """Measure and print beside the targets."""
    which = sys.argv[1:] or ["latency", "load"]
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, load {os.getloadavg()[0]:.1f}")
    if "latency" in which:
        _latency()
    if "load" in which:
        _load()


def _latency() -> None:
    with _incident() as (rig, stamps), _viewers(rig.address, 49) as viewers, chromium() as browser:
        one = Tablet(browser, rig.address)
        one.page.evaluate(PAINTED)
        _tell(rig, LINES, PACE_S)
        one.waits_for_record(len(rig.records))
        painted: list[list[float]] = one.page.evaluate("window.painted")
        seen = _leave(viewers)
    first = {int(n): at for n, at in reversed(painted)}
    pixels = [1000 * (at - stamps.on_disk[n]) for n, at in first.items() if n in stamps.on_disk]
    print(f"Event on disk to pixels, chromium among 50 viewers, {len(pixels)} of {len(stamps.on_disk)} records:")
    print(f"  {_spread(pixels)}; target: 95 % under {TARGET_MS:.0f} ms")
    print(f"Event on disk to the socket of 49 other viewers: {_spread(_delays(seen, stamps))}")


def _load() -> None:
    with _incident() as (rig, stamps), _viewers(rig.address, 200) as viewers:
        before, start = time.process_time(), time.time()
        _tell(rig, LOAD_LINES, LOAD_PACE_S)
        took = time.time() - start
        cpu = (time.process_time() - before) / took
        last = len(rig.records)
        seen = _leave(viewers)
    at_end = sum(row["arrivals"][-1][0] == last for row in seen["viewers"])
    print(f"200 viewers, {last} records in {took:.0f} s: {at_end} viewers hold the last record, {seen['lost']} lost")
    print(f"  event on disk to socket: {_spread(_delays(seen, stamps))}")
    print(f"  the program used {cpu:.2f} of a core, the crew's loop and the journal included")


@contextmanager
def _incident() -> Iterator[tuple[Rig, Stamped]]:
    with tempfile.TemporaryDirectory() as folder:
        rig = Rig(Path(folder), SystemClock())
        stamps = Stamped(rig.incident.session._recorder)
        rig.incident.session._recorder = stamps
        with rig:
            yield rig, stamps


@contextmanager
def _viewers(address: str, count: int) -> Iterator["subprocess.Popen[str]"]:
    command = [sys.executable, "-m", "tests.bench.board_viewers", address, str(count)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "watching\n"
        yield process


def _leave(process: "subprocess.Popen[str]") -> dict[str, Any]:
    SystemClock().wait_ms(1000)
    out, _err = process.communicate(timeout=30)
    seen: dict[str, Any] = json.loads(out)
    return seen


def _tell(rig: Rig, lines: int, pace_s: float) -> None:
    pace = SystemClock()
    for number, words in enumerate(VISIBLE[:lines], start=1):
        rig.say(words)
        pace.wait_ms(round(number * pace_s * 1000) - pace.now_ms())


def _delays(seen: dict[str, Any], stamps: Stamped) -> list[float]:
    return [
        1000 * (at - stamps.on_disk[n])
        for row in seen["viewers"]
        for index, (n, at) in enumerate(row["arrivals"])
        if n in stamps.on_disk and index and row["arrivals"][index - 1][0] < n
    ]


def _spread(delays: list[float]) -> str:
    ordered = sorted(delays)
    worst = ordered[-1]
    p95 = ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]
    return f"median {statistics.median(ordered):.0f} ms, 95 % within {p95:.0f} ms, longest {worst:.0f} ms"


if __name__ == "__main__":
    main()
