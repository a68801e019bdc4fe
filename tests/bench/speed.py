"""How quick and how small one station is: ready to listen, share of one core, memory.

    python -m tests.bench speed

Ready to listen: from starting the process to the listener having its first phrases, the model loaded and every fixed prompt
cached. Share of a core: processor time of a fast rehearsal of the shipped drill over its length. Memory: the largest
resident set of that process; the same for a Python process that only imports vosk, for comparison.
"""

import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

READY = """
import time
from assistant.app import Wishes, recorded_station, prepare_clips
from assistant.clock import ManualClock
from assistant.library import load_book
from protocol.commands import OpenIncident, PROGRAM
from protocol.history import fold
from protocol.rules import decide
from protocol.scene import Scene
from protocol.state import State
book = load_book()
built = recorded_station(book, Wishes(), ManualClock())
state = fold(decide(book, State(), OpenIncident(0, PROGRAM, "drill", book.digest)))
built.station.listen_for(Scene(book, state, 0))
print(time.clock_gettime(time.CLOCK_BOOTTIME), flush=True)
built.close()
"""
PREPARE = "from assistant.app import prepare_clips; from assistant.library import load_book; prepare_clips(load_book(), print).close()"
ONE_CORE = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def main() -> None:
    """Measure and print beside the targets."""
    environment = {**os.environ, **ONE_CORE}
    subprocess.run([sys.executable, "-c", PREPARE], check=True, env=environment)
    ready = sorted(_ready_s(environment) for _ in range(5))
    bare_mb = _peak_mb([sys.executable, "-c", "import vosk"], environment)
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "assistant", "rehearse", "--fast", "--json"]
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run(
            [*command, "--journal", str(Path(folder) / "r.jsonl")],
            capture_output=True,
            text=True,
            check=True,
            env=environment,
        )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
    outcome = json.loads(done.stdout.splitlines()[-1])
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print(f"{platform.machine()}, {os.cpu_count()} cores, {_processor()}, Python {platform.python_version()}")
    print(f"ready to listen: median {ready[2]:.2f} s, slowest of five {ready[-1]:.2f} s (target 1.5 s)")
    print(
        f"share of one core, hearing and speaking: {cpu / outcome['audio_s']:.3f} (target 0.1); {outcome['audio_s']:.0f} s of sound"
    )
    print(f"largest memory: {after.ru_maxrss / 1024:.0f} MB (target 200 MB); a bare Python with vosk: {bare_mb:.0f} MB")
    print(
        f"drill: {outcome['steps_confirmed']} steps, {outcome['missed']} missed, {outcome['false_advances']} false advances"
    )


def _ready_s(environment: dict[str, str]) -> float:
    start = time.clock_gettime(time.CLOCK_BOOTTIME)
    done = subprocess.run([sys.executable, "-c", READY], capture_output=True, text=True, check=True, env=environment)
    return float(done.stdout.splitlines()[-1]) - start


def _peak_mb(command: list[str], environment: dict[str, str]) -> float:
    code = "import resource,subprocess,sys; subprocess.run(sys.argv[1:]); print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    done = subprocess.run(
        [sys.executable, "-c", code, *command], capture_output=True, text=True, check=True, env=environment
    )
    return int(done.stdout.splitlines()[-1]) / 1024


def _processor() -> str:
    for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
        if line.startswith("model name"):
            return line.partition(":")[2].strip()
    return "unknown processor"


if __name__ == "__main__":
    main()
