"""The faults that cost little, in CI; all of them by hand with `python -m tests.faults --short` or `--long`."""

from collections.abc import Callable

import pytest

from tests.faults import chain, disk, machine, records
from tests.faults.kills import kill_rehearsal
from tests.faults.table import Row, exit_status, line_of, summary

CHEAP: dict[str, Callable[[], Row]] = {
    "cut": lambda: records.cut_everywhere(300),
    "changed": lambda: records.changed_everywhere(100),
    "power lost": lambda: records.power_lost(50, 1),
    "disk full": disk.full_disk,
    "quota": disk.size_limit,
    "read-only": disk.read_only,
    "killed while writing": disk.dies_writing,
    "wall clock jumps": machine.clock_jumps,
    "second program": machine.second_program,
    "terminal gone": machine.terminal_gone,
    "rubbish typed": machine.rubbish_typed,
    "suspended": lambda: machine.suspended(1.0),
}


@pytest.mark.parametrize("name", CHEAP)
def test_a_fault_is_held(name: str) -> None:
    """What is told comes in time, and no recorded event is lost or doubled."""
    row = CHEAP[name]()
    if row.not_tried:
        pytest.skip(row.not_tried)
    assert row.held, line_of(row)


def test_killed_again_and_again_it_goes_on() -> None:
    """Kill -9 at random moments of one incident: same step, right clock, every line once, nothing said that is not on record."""
    found = chain.kill_chain(1, 4)
    assert ([], 0, 0) == (found.problems, found.lost, found.doubled)


def test_a_killed_rehearsal_resumes_where_it_was() -> None:
    """The same through the recogniser."""
    assert () == kill_rehearsal(3, 12.0).problems


def test_a_fault_that_was_not_held_shows_in_the_table() -> None:
    """A lost event, a doubled one or a problem fails its row and the sum; one not tried fails the exit status as well."""
    rows = [Row("a", ""), Row("b", "", lost=1), Row("c", "", doubled=1), Row("d", "", problems=("late",)), Row("e", "", not_tried="no")]
    assert [True, False, False, False, False] == [row.held for row in rows]
    assert 0 == exit_status(rows[:1])
    assert [1, 1, 1, 1] == [exit_status([rows[0], row]) for row in rows[1:]]
    assert summary(rows, 3).startswith("faults held 1/4, untried 1; kills 3; events lost 1, doubled 1;")
    assert "FAILED" in line_of(rows[3])
