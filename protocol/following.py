"""Following a record from afar: what to do with a line that arrives, whoever sent it and however often.

A line carries the fencing number of the coordinator that published it. Numbers without a gap and the chain of
digests make sure that every follower holds the same record; the fencing number makes sure that nobody follows a
coordinator that was replaced.
"""

from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Head:
    """How far a follower has come."""

    term: int = 0
    """Fencing number under which its last line was taken."""
    n: int = 0
    """Number of its last record."""
    chain: str = ""
    """Digest of that record's line, or of the header's."""
    fence: int = 0
    """Highest fencing number seen anywhere; what has a lower one is refused."""


@dataclass(frozen=True, slots=True)
class Offered:
    """A line that arrived."""

    term: int
    n: int
    fits: bool
    """Its digest follows from the follower's last line."""
    same: bool
    """The follower holds this very line already."""


class Follow(StrEnum):
    """What a follower does with a line."""

    TAKE = "take"
    KNOWN = "known"
    """It has this line: nothing to do."""
    GAP = "gap"
    """Lines are missing in between: ask for what follows its last one."""
    FENCED = "fenced"
    """From a coordinator that was replaced: never taken."""
    FORK = "fork"
    """A new coordinator's record goes another way: the follower's own tail is given up and asked for anew."""
    CONFLICT = "conflict"
    """Two different lines of one coordinator: told, never taken."""


def follow(head: Head, offered: Offered) -> Follow:
    """What to do with a line."""
    if offered.term < max(head.term, head.fence):
        return Follow.FENCED
    if offered.n > head.n + 1:
        return Follow.GAP
    if offered.fits if offered.n == head.n + 1 else offered.same:
        return Follow.TAKE if offered.n == head.n + 1 else Follow.KNOWN
    return Follow.FORK if offered.term > head.term else Follow.CONFLICT


def strays(head: Head, term: int, n: int, *, same: bool) -> bool:
    """Whether a follower holds what a new coordinator's record does not, as its beat tells before any line does.

    Args:
        head: the follower's.
        term: of the coordinator that beats.
        n: number of its last record.
        same: the follower's line of that number bears the digest of the beat.
    """
    return term > head.term and (head.n > n or (head.n == n and not same))


def may_lead(mine: int, claimed: int) -> bool:
    """Whether a coordinator with fencing number `mine` goes on although somebody claims `claimed`."""
    return claimed <= mine
