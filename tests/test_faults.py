"""A few kills in CI; hundreds by hand with `python -m tests.faults --long`."""

import pytest

from tests.faults.kills import kill_rehearsal, kill_typed


@pytest.mark.parametrize("seed", range(4))
def test_a_killed_run_resumes_where_it_was(seed: int) -> None:
    """Kill -9 at a random moment: same step, same counts, right clocks, nothing shown that is not on record."""
    assert () == kill_typed(seed).problems


def test_a_killed_rehearsal_resumes_where_it_was() -> None:
    """The same through the recogniser."""
    assert () == kill_rehearsal(3, 12.0).problems
