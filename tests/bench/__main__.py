"""`python -m tests.bench NAME …`: speed, board, archive, stations, hearing, confusions."""

import importlib
import sys

import assistant  # noqa: F401  before numpy: the program works in one thread, and so is measured

NAMES = ("speed", "board", "archive", "stations", "hearing", "confusions")


def main() -> int:
    """Run one measurement; what follows its name is its own."""
    if len(sys.argv) < 2 or sys.argv[1] not in NAMES:
        print(f"Name a measurement: {', '.join(NAMES)}.", file=sys.stderr)
        return 2
    name = sys.argv.pop(1)
    importlib.import_module(f"tests.bench.{name}").main()
    return 0


if __name__ == "__main__":
    sys.exit(main())
