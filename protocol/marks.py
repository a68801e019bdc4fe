"""Marks on the person's body by which a grain level is called, lowest first."""

MARKS = ("feet", "knees", "hips", "waist", "ribs", "chest", "shoulders", "chin")
"""Heights over the sole are in `protocol.estimates`; here only the order counts."""


def is_at_or_below(mark: str, other: str) -> bool:
    """Whether `mark` is no higher on the body than `other`."""
    return MARKS.index(mark) <= MARKS.index(other)
