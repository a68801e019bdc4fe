"""Kill -9 again and again within one incident: each life goes on from the record that the last one left."""

import random
import re
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from assistant.errors import JournalError
from assistant.journal import History, read
from assistant.replay import book_of, rebuild
from protocol.events import Said
from tests.faults.drive import Drive, drill, heard, nap
from tests.faults.kills import unrecorded
from tests.faults.table import Row

CLOCK_TOLERANCE_S = 2
STARTING_SHARE = 0.1
MOST_LINES = 8
LONGEST_DELAY_S = 0.004
"""After the last line is typed: writing, syncing, applying and showing it take about so long."""
RESUMED = re.compile(r"^Resumed at (.*), (\d+):(\d\d):(\d\d) since the first call\.")


@dataclass(slots=True)
class Chain:
    """All lives of a chain of incidents."""

    kills: int = 0
    incidents: int = 0
    torn: int = 0
    in_flight: int = 0
    """Kills after which the last line, typed but not yet shown, was on record."""
    while_starting: int = 0
    lost: int = 0
    doubled: int = 0
    worst_clock_s: int = 0
    steps: set[str] = field(default_factory=set)
    problems: list[str] = field(default_factory=list)


def kill_chain(seed: int, kills: int) -> Chain:
    """Kill so many lives."""
    chance = random.Random(seed)
    chain = Chain()
    while chain.kills < kills:
        with tempfile.TemporaryDirectory() as folder:
            chain.incidents += 1
            _one_incident(chain, chance, Path(folder) / "incident.jsonl", kills)
    return chain


def row_of(chain: Chain) -> Row:
    """The chain as a row of the table."""
    found = (
        f"{chain.kills} kills in {chain.incidents} incidents at {len(chain.steps)} steps, {chain.while_starting} while "
        f"starting, {chain.torn} left a torn record, {chain.in_flight} after the write; worst clock {chain.worst_clock_s} s"
    )
    return Row("kill -9", found, lost=chain.lost, doubled=chain.doubled, problems=tuple(chain.problems),
               kills=chain.kills)  # fmt: skip


def _one_incident(chain: Chain, chance: random.Random, journal: Path, kills: int) -> None:
    lines = drill()
    taken = 0
    before: History | None = None
    while chain.kills < kills and taken < len(lines) - MOST_LINES:
        sent, shown, drive = _one_life(chain, chance, journal, lines[taken : taken + MOST_LINES])
        if before is not None:
            chain.problems += _resumed(chain, drive, before)
        try:
            before = read(journal)
        except (JournalError, OSError) as error:
            if taken or shown:
                chain.problems.append(f"unreadable after {taken + shown} lines: {error}")
            journal.unlink(missing_ok=True)
            taken, before = 0, None
            continue
        taken = _examine(chain, before, taken, sent, shown, drive)


def _one_life(
    chain: Chain, chance: random.Random, journal: Path, lines: tuple[str, ...]
) -> tuple[int, int, Drive]:
    """Start or resume, say some lines, die; gives how many lines were typed and how many were shown."""
    sent = shown = 0
    with Drive(journal) as drive:
        if chance.random() < STARTING_SHARE:
            nap(chance.uniform(0.0, 0.8))
            chain.while_starting += 1
        elif drive.ready():
            for words in lines[: chance.randrange(1, MOST_LINES)]:
                sent += 1
                if drive.say(words) is None:
                    chain.problems.append(f"not taken: {words}")
                shown += 1
            drive.type(lines[sent])
            sent += 1
            nap(chance.uniform(0.0, LONGEST_DELAY_S))
        else:
            chain.problems.append(f"did not start: {drive.screen[-300:]}")
        drive.kill()
    chain.kills += 1
    return sent, shown, drive


def _examine(chain: Chain, history: History, taken: int, sent: int, shown: int, drive: Drive) -> int:
    """Compare the record with what was typed and shown; gives how many lines of the drill it holds."""
    recorded = heard(history)
    chain.lost += max(0, taken + shown - len(recorded))
    chain.doubled += max(0, len(recorded) - taken - sent)
    chain.in_flight += len(recorded) == taken + shown + 1
    chain.torn += bool(history.torn)
    chain.steps.add(rebuild(history).step)
    if recorded != list(drill(len(recorded))):
        chain.problems.append(f"the record of {len(recorded)} lines is not the drill's beginning")
    chain.problems += unrecorded([line.text for line in drive.shown], _said(history))
    return len(recorded)


def _resumed(chain: Chain, drive: Drive, before: History) -> Iterator[str]:
    """Whether the next life said the right step and time, if it lived to say anything."""
    found = next((match for line in drive.shown if (match := RESUMED.match(line.text))), None)
    if found is None:
        return
    state = rebuild(before)
    title = book_of(before).procedure.step(state.step).title if state.step else "the beginning"
    if found[1] != title:
        yield f"resumed at {found[1]}, not at {title}"
    clock_s = int(found[2]) * 3600 + int(found[3]) * 60 + int(found[4])
    now_s = (time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000 - int(before.header.clock["zero_ms"])) / 1000
    error_s = max(0, round(state.at_ms / 1000) - clock_s - 1, clock_s - int(now_s) - 1)
    chain.worst_clock_s = max(chain.worst_clock_s, error_s)
    if error_s > CLOCK_TOLERANCE_S:
        yield f"clock off by {error_s} s after resuming"


def _said(history: History) -> list[str]:
    return [event.text for event in history.events if isinstance(event, Said)]
