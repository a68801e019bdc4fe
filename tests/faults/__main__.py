"""`python -m tests.faults --short` or `--long`: prints one line for each fault and a sum at the end.

`--only WORD` runs the faults whose name holds the word. `--soak MINUTES` is a long run with real sound instead.
The exit status is 0 when all were tried and held.
"""

import argparse
import signal
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from tests.faults import chain, devices, disk, machine, network, records, soak, sound, timing
from tests.faults.kills import Kill, kill_rehearsal, kill_typed
from tests.faults.table import HEAD, Row, exit_status, line_of, summary


@dataclass(frozen=True, slots=True)
class Size:
    """How much of each."""

    kills: int
    typed: int
    rehearsals: int
    longest_s: float
    tail: int
    images: int
    suspended_s: float
    timers_s: float
    cuts: int
    again: int
    """How often each fault that happens at one moment is made."""


SHORT = Size(kills=8, typed=2, rehearsals=1, longest_s=15.0, tail=600, images=100, suspended_s=6.0, timers_s=60.0, cuts=6, again=1)
LONG = Size(kills=500, typed=20, rehearsals=20, longest_s=25.0, tail=6_000, images=2_000, suspended_s=60.0, timers_s=400.0, cuts=30, again=5)


ONCE = ("cut", "changed", "suspended", "timers spoken", "alarms cut in", "kill resume", "kill rehearsal", "kill chain")
"""Faults that are many in themselves."""


def faults(size: Size, seed: int) -> list[tuple[str, Callable[[], Row]]]:
    """Every fault by name."""
    return [
        ("cut", lambda: records.cut_everywhere(size.tail)),
        ("changed", lambda: records.changed_everywhere(size.tail)),
        ("power", lambda: records.power_lost(size.images, seed)),
        ("writing", disk.dies_writing),
        ("full", disk.full_disk),
        ("quota", disk.size_limit),
        ("read-only", disk.read_only),
        ("fsync", lambda: disk.slow_sync(1.5)),
        ("clock", machine.clock_jumps),
        ("suspended", lambda: machine.suspended(size.suspended_s)),
        ("second", machine.second_program),
        ("starved", lambda: machine.starved(60)),
        ("terminal", machine.terminal_gone),
        ("rubbish", machine.rubbish_typed),
        ("network", network.cut),
        ("microphone", sound.microphone_removed),
        ("speaker", sound.speaker_removed),
        ("missing at start", devices.missing_at_start),
        ("moved", devices.moved),
        ("sound server restarted", sound.server_restarted),
        ("sound server hangs", sound.server_hangs),
        ("engine killed", lambda: sound.engine("speech engine killed", signal.SIGKILL)),
        ("engine hangs", lambda: sound.engine("speech engine hangs", signal.SIGSTOP)),
        ("backlog", sound.backlog),
        ("timers spoken", lambda: timing.timers(size.timers_s)),
        ("alarms cut in", lambda: timing.alarms(size.cuts)),
        ("kill resume", partial(_one_by_one, "kill -9, then only looked at", kill_typed, size.typed, seed)),
        ("kill rehearsal", partial(_one_by_one, "kill -9 in a rehearsal", partial(kill_rehearsal, longest_s=size.longest_s),
                                   size.rehearsals, seed)),
        ("kill chain", lambda: chain.row_of(chain.kill_chain(seed, size.kills))),
    ]  # fmt: skip


def main() -> int:
    """Run the faults."""
    parser = argparse.ArgumentParser(description=__doc__)
    size = parser.add_mutually_exclusive_group()
    size.add_argument("--short", action="store_true", help="a few of each (for CI)")
    size.add_argument("--long", action="store_true", help="hundreds")
    size.add_argument("--soak", type=float, metavar="MINUTES", help="a long run with real sound; prints its figures")
    parser.add_argument("--only", default="", metavar="WORD")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    if options.soak:
        return soak.main(options.soak)
    rows = []
    print(HEAD, flush=True)
    much = LONG if options.long else SHORT
    for name, fault in faults(much, options.seed):
        for _ in range(much.again if name not in ONCE else 1) if options.only in name else ():
            rows.append(fault())
            print(line_of(rows[-1]), flush=True)
    kills = sum(row.kills for row in rows)
    print(summary(rows, kills))
    return exit_status(rows)


def _one_by_one(name: str, kill: Callable[[int], Kill], kills: int, seed: int) -> Row:
    """Separate incidents, each killed once, resumed only to compare where it stands."""
    found = [kill(seed + number) for number in range(kills)]
    problems = tuple(problem for one in found for problem in one.problems)
    worst = max((abs(one.clock_error_ms) for one in found), default=0)
    steps = len({one.step for one in found})
    told = f"{kills} incidents at {steps} steps, {sum(one.torn_bytes > 0 for one in found)} torn; worst clock {worst} ms"
    return Row(name, told, problems=problems, kills=kills)


if __name__ == "__main__":
    sys.exit(main())
