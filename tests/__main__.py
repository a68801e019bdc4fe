"""`python -m tests`: lint, types, import contracts and tests, one after another; stops at the first that fails."""

import subprocess
import sys
from pathlib import Path

STEPS = (
    ("lint", ["ruff", "check", "."]),
    ("types", ["mypy"]),
    ("contracts", ["lint-imports"]),
    ("tests", ["pytest", "-n", "2", "-m", "not realtime"]),
    ("tests on real sound streams", ["pytest", "-m", "realtime"]),
)


def main(arguments: list[str]) -> int:
    """Run every step; extra arguments go to pytest."""
    for name, command in STEPS:
        print(f"== {name}: {' '.join(command)}", flush=True)
        more = arguments if name.startswith("tests") else []
        program = Path(sys.executable).with_name(command[0])
        done = subprocess.run([program, *command[1:], *more], check=False)
        if done.returncode:
            print(f"== {name} failed ({done.returncode})", flush=True)
            return done.returncode
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
