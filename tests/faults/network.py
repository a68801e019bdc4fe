"""The board's network: silent, then cut, then back; the incident must not feel it, and a viewer must miss nothing."""

import http.client
import json
import re
import tempfile
import threading
from pathlib import Path
from urllib.parse import urlsplit

from tests.board.cable import Cable
from tests.faults.drive import Drive, check, drill, nap, now_s, say_all
from tests.faults.table import Row

ADDRESS = re.compile(r"http://127\.0\.0\.1:\d+/")
SILENT_S = 2.0
ANSWER_LIMIT_S = 1.0
OPTIONS = ("--keyboard", "--mute", "--port", "0")


class Viewer:
    """Whoever watches the board: asks for updates after the last one seen, and keeps the numbers."""

    def __init__(self, cable: str, host: str, after: int) -> None:
        parts = urlsplit(cable)
        self._line = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=10)
        self._line.request("GET", f"/updates?after={after}", headers={"Host": host})
        self._answer = self._line.getresponse()
        self.seen: list[int] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def wait_for(self, number: int, limit_s: float = 10.0) -> float | None:
        """Seconds until the picture of that record or a later one came."""
        began = now_s()
        while now_s() - began < limit_s:
            if self.seen and self.seen[-1] >= number:
                return now_s() - began
            nap(0.01)
        return None

    def _read(self) -> None:
        try:
            while raw := self._answer.readline():
                if raw.startswith(b"id: "):
                    self.seen.append(int(raw[4:]))
        except (OSError, ValueError, http.client.HTTPException, AttributeError):
            return


def cut() -> Row:
    """A viewer's cable is pulled for two seconds, cut, and plugged in again."""
    with tempfile.TemporaryDirectory() as folder:
        journal = Path(folder) / "incident.jsonl"
        with Drive(journal, OPTIONS) as drive:
            drive.ready()
            found = ADDRESS.search(drive.screen)
            if found is None:
                return Row("board's network gone", "", problems=("the board did not start",))
            host = urlsplit(found[0]).netloc
            with Cable(found[0]) as cable:
                problems, back, slowest = _cut(drive, cable, host)
        record = check(journal, drill(15))
    problems += record.problems
    return Row("board's network gone", f"15 lines taken meanwhile, slowest answer {slowest * 1000:.0f} ms; viewer caught up",
               None, back, record.lost, record.doubled, tuple(problems))  # fmt: skip


def _cut(drive: Drive, cable: Cable, host: str) -> tuple[list[str], float | None, float]:
    problems: list[str] = []
    first = Viewer(cable.address, host, 0)
    took, missed = say_all(drive, drill(5))
    if first.wait_for(_records(drive)) is None:
        problems.append("the viewer saw nothing before the cut")
    cable.pull()
    more, missed_too = say_all(drive, drill(10)[5:])
    nap(SILENT_S)
    cable.cut()
    last, missed_last = say_all(drive, drill(15)[10:])
    cable.plug()
    began = now_s()
    second = Viewer(cable.address, host, first.seen[-1] if first.seen else 0)
    if second.wait_for(_records(drive)) is None:
        problems.append("the viewer did not catch up")
    back = now_s() - began
    slowest = max([*took, *more, *last], default=0.0)
    problems += [f"not taken: {words}" for words in (*missed, *missed_too, *missed_last)]
    problems += [] if slowest < ANSWER_LIMIT_S else [f"an answer took {slowest:.2f} s"]
    return problems, back, slowest


def _records(drive: Drive) -> int:
    lines = drive.journal.read_bytes().splitlines()
    return int(json.loads(lines[-1])["n"])
