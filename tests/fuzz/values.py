"""What a broken or hostile file may hold, and how to put it somewhere in a right one."""

from typing import Any

from hypothesis import strategies as st

ODD: st.SearchStrategy[Any] = st.sampled_from([
    None, True, -1, 0, 1e999, -1e999, float("nan"), 2**63, 10**400, "", "\ud800", "\x00", "x" * 5_000, [], {}, [[]], {"": None},
])  # fmt: skip
ONE = ODD | st.booleans() | st.integers() | st.floats() | st.text(max_size=20)
JSON = ONE | st.lists(ONE, max_size=3) | st.dictionaries(st.text(max_size=8), ONE | st.lists(ONE, max_size=2), max_size=3)


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to every value inside, outermost first."""
    inside: list[tuple[Any, Any]] = []
    if isinstance(value, dict):
        inside = list(value.items())
    elif isinstance(value, list):
        inside = list(enumerate(value))
    return [path, *(place for key, one in inside for place in places(one, (*path, key)))]


def with_value(value: Any, path: tuple[Any, ...], new: Any) -> Any:
    """A copy with one value replaced."""
    if not path:
        return new
    copied = dict(value) if isinstance(value, dict) else list(value)
    copied[path[0]] = with_value(value[path[0]], path[1:], new)
    return copied
