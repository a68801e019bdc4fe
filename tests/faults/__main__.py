"""`python -m tests.faults --short` or `--long`: prints one line for each fault and a sum at the end."""

import argparse
import sys
from collections import Counter

from tests.faults.kills import Kill, kill_rehearsal, kill_typed


def main() -> int:
    """Run the faults; 0 when all held."""
    parser = argparse.ArgumentParser(description=__doc__)
    size = parser.add_mutually_exclusive_group()
    size.add_argument("--short", action="store_true", help="a few of each (for CI)")
    size.add_argument("--long", action="store_true", help="hundreds")
    parser.add_argument("--kills", type=int, help="how many typed runs to kill")
    parser.add_argument("--rehearsals", type=int, help="how many rehearsals to kill")
    parser.add_argument("--longest", type=float, default=25.0, help="latest moment to kill a rehearsal, seconds")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    kills = options.kills if options.kills is not None else 500 if options.long else 8
    rehearsals = options.rehearsals if options.rehearsals is not None else 50 if options.long else 2
    found = [_report("typed", kill_typed(options.seed + number)) for number in range(kills)]
    found += [_report("rehearsal", kill_rehearsal(options.seed + number, options.longest)) for number in range(rehearsals)]
    good = sum(not kill.problems for kill in found)
    steps = Counter(kill.step for kill in found)
    worst = max((abs(kill.clock_error_ms) for kill in found), default=0)
    torn = sum(kill.torn_bytes > 0 for kill in found)
    print(f"kills survived {good}/{len(found)}; at {len(steps)} different steps; {torn} in mid-write; "
          f"largest clock error {worst} ms")  # fmt: skip
    return 0 if good == len(found) else 1


def _report(kind: str, kill: Kill) -> Kill:
    held = "held" if not kill.problems else "; ".join(kill.problems)
    print(f"kill {kind} after {kill.after_s:.2f} s, {kill.records} records, at {kill.step or 'nothing yet'}: {held}", flush=True)
    return kill


if __name__ == "__main__":
    sys.exit(main())
