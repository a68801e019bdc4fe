"""The archive under load: ten thousand drills, a record with a million events, trends, memory, and both databases.

    python -m tests.bench archive [DRILLS [EVENTS]]

Drills are synthetic (`tests.archive.synthetic`) but real record files: each is written, loaded into SQLite and PostgreSQL,
and removed again. Trend: the statement and its rows, from an open archive, the middle of five. Peak memory: largest
resident set of a process that only loads. PostgreSQL is left out, and said to be, where it is not installed.
"""

import os
import platform
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import asdict
from pathlib import Path

import sqlalchemy
from sqlalchemy import Engine, func, select

from assistant.archive.loading import Labels, Shelf, add
from assistant.archive.questions import Choice, TrendAsked, listed, trend
from assistant.archive.schema import EVENTS, STAGES
from assistant.archive.store import open_archive
from assistant.library import load_book
from tests.archive.server import postgresql
from tests.archive.synthetic import drills, long_record

TARGET_S = 1.0
ASKED = (
    TrendAsked(),
    TrendAsked(every="quarter"),
    TrendAsked(by="crew"),
    TrendAsked(by="scenario", every="year"),
    TrendAsked(by="crew", stage="vacuum"),
    TrendAsked(by="scenario", measure="refused"),
    TrendAsked(by="all", every="year"),
)


def main() -> None:
    """Measure and print beside the target."""
    if sys.argv[1:2] == ["load"]:
        _load_alone(sys.argv[2], Path(sys.argv[3]))
        return
    given = [int(text) for text in sys.argv[1:]]
    count, events = (*given, *(10_000, 1_000_000)[len(given) :])
    print(
        f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, SQLAlchemy "
        f"{sqlalchemy.__version__}, load {os.getloadavg()[0]:.1f}"
    )
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        engines = {"SQLite": open_archive(f"sqlite:///{folder}/archive.sqlite")}
        try:
            engines["PostgreSQL"] = open_archive(stack.enter_context(postgresql()))
        except FileNotFoundError as error:
            print(f"PostgreSQL: not measured. {error}")
        _many(folder, engines, count)
        answers = {name: _trends(name, engine) for name, engine in engines.items()}
        same = all(answer == answers["SQLite"] for answer in answers.values())
        if len(engines) > 1:
            print(f"List and {len(ASKED)} trends: {'the same' if same else 'DIFFERENT'} from both databases.")
        for engine in engines.values():
            engine.dispose()
        _long(folder, events)


def _many(folder: Path, engines: dict[str, Engine], count: int) -> None:
    took = dict.fromkeys(engines, 0.0)
    shelf, loaded = Shelf(), 0
    for number, drill in enumerate(drills(folder, load_book(), count), start=1):
        for name, engine in engines.items():
            start = time.perf_counter()
            added = add(engine, drill.path, Labels("Invented County", drill.crew, "", drill.scenario), shelf)
            took[name] += time.perf_counter() - start
        loaded += added.events
        drill.path.unlink()
        if number in {count // 10, count}:
            print(f"After {number} drills and {loaded} events the loading process holds {_resident_mb():.0f} MB.", flush=True)
    for name, seconds in took.items():
        print(f"{name}: {count} drills in {seconds:.0f} s, {count / seconds:.0f} drills and {loaded / seconds:.0f} events a second")
        with engines[name].connect() as connection:
            rows = [connection.execute(select(func.count()).select_from(table)).scalar() for table in (EVENTS, STAGES)]
        print(f"  it holds {rows[0]} events and {rows[1]} stage times")


def _trends(name: str, engine: Engine) -> list[object]:
    answers: list[object] = [[asdict(row) for row in listed(engine, Choice())]]
    for asked in ASKED:
        rows = trend(engine, asked)
        seconds = _middle(lambda asked=asked: trend(engine, asked))  # type: ignore[misc]
        words = f"by {asked.by}, each {asked.every}, {asked.measure}{f' in {asked.stage}' if asked.stage else ''}"
        verdict = "in time" if seconds < TARGET_S else "TOO SLOW"
        print(f"{name}: trend {words}: {len(rows)} rows in {seconds:.3f} s; target {TARGET_S:.0f} s: {verdict}")
        answers.append([asdict(row) for row in rows])
    return answers


def _long(folder: Path, events: int) -> None:
    for number in (events // 10, events):
        path = long_record(folder / "long.jsonl", load_book(), number)
        size_mb = path.stat().st_size / 1e6
        url = f"sqlite:///{folder}/long-{number}.sqlite"
        command = [sys.executable, "-m", "tests.bench", "archive", "load", url, str(path)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        print(f"One record of {size_mb:.0f} MB: {done.stdout.strip()}", flush=True)


def _load_alone(url: str, path: Path) -> None:
    engine = open_archive(url)
    start = time.perf_counter()
    added = add(engine, path, Labels())
    seconds = time.perf_counter() - start
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{added.events} events in {seconds:.0f} s, {added.events / seconds:.0f} a second, peak memory {peak_mb:.0f} MB")


def _middle(work: Callable[[], object]) -> float:
    times = []
    for _ in range(5):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def _resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


if __name__ == "__main__":
    main()
