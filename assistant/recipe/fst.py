"""OpenFst binary files over the tropical semiring, in plain Python: const, vector, and label look-ahead transducers."""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

MAGIC: Final = 2125659606
SYMBOLS_MAGIC: Final = 2125658996
ADD_ON_MAGIC: Final = 446681434
EXPANDED: Final = 0x1
MUTABLE: Final = 0x2
ACCEPTOR: Final = 0x10000
NOT_ACCEPTOR: Final = 0x20000
INPUT_SORTED: Final = 0x10000000
OUTPUT_SORTED: Final = 0x40000000

Interval = tuple[int, int]


class Arc(NamedTuple):
    """One transition: labels (0 is none), cost, and where it leads."""

    input: int
    output: int
    cost: float
    target: int


@dataclass(slots=True)
class Fst:
    """States numbered from 0, the arcs leaving each, and the cost of ending in some of them."""

    start: int = 0
    arcs: list[list[Arc]] = field(default_factory=list)
    finals: dict[int, float] = field(default_factory=dict)

    def state(self) -> int:
        """A new state's number."""
        self.arcs.append([])
        return len(self.arcs) - 1

    def arc(self, source: int, arc: Arc) -> None:
        """Add a transition."""
        self.arcs[source].append(arc)


def _text(value: str) -> bytes:
    data = value.encode()
    return struct.pack("<i", len(data)) + data


def _header(kind: str, version: int, flags: int, properties: int, sizes: tuple[int, int, int]) -> bytes:
    return (
        struct.pack("<i", MAGIC) + _text(kind) + _text("standard") + struct.pack("<iiQqqq", version, flags, properties, *sizes)
    )


def symbol_table(symbols: Sequence[str]) -> bytes:
    """An embedded table of labels 0, 1, 2, ..."""
    head = struct.pack("<i", SYMBOLS_MAGIC) + _text("words") + struct.pack("<qq", len(symbols), len(symbols))
    return head + b"".join(_text(symbol) + struct.pack("<q", label) for label, symbol in enumerate(symbols))


def const_bytes(fst: Fst, properties: int, output_symbols: Sequence[str] | None = None) -> bytes:
    """A const FST, version 2, with an optional table of output symbols."""
    states = np.zeros(
        len(fst.arcs), dtype=[("final", "<f4"), ("at", "<u4"), ("arcs", "<u4"), ("no_input", "<u4"), ("no_output", "<u4")]
    )
    flat: list[Arc] = []
    for state, arcs in enumerate(fst.arcs):
        final = fst.finals.get(state, math.inf)
        states[state] = (final, len(flat), len(arcs), sum(not a.input for a in arcs), sum(not a.output for a in arcs))
        flat += arcs
    table = np.array([tuple(arc) for arc in flat], dtype=[("i", "<i4"), ("o", "<i4"), ("w", "<f4"), ("n", "<i4")])
    head = _header("const", 2, 2 if output_symbols else 0, properties | EXPANDED, (fst.start, len(fst.arcs), len(flat)))
    return head + (symbol_table(output_symbols) if output_symbols else b"") + states.tobytes() + table.tobytes()


def vector_bytes(fst: Fst) -> bytes:
    """A vector FST, version 2."""
    head = _header("vector", 2, 0, EXPANDED | MUTABLE, (fst.start, len(fst.arcs), sum(map(len, fst.arcs))))
    parts = [head]
    for state, arcs in enumerate(fst.arcs):
        parts.append(struct.pack("<fq", fst.finals.get(state, math.inf), len(arcs)))
        parts += [struct.pack("<iifi", *arc) for arc in arcs]
    return b"".join(parts)


def _merged(intervals: Iterable[Interval]) -> list[Interval]:
    out: list[Interval] = []
    for begin, end in sorted(intervals):
        if out and begin <= out[-1][1]:
            out[-1] = (out[-1][0], max(end, out[-1][1]))
        else:
            out.append((begin, end))
    return out


def components(followers: list[list[int]]) -> list[list[int]]:
    """Strongly connected components, each after all that it leads to (Tarjan, without recursion)."""
    count = len(followers)
    number, low = [-1] * count, [0] * count
    waiting = [False] * count
    stack: list[int] = []
    found: list[list[int]] = []
    visited = 0
    for root in range(count):
        work = [(root, 0)] if number[root] < 0 else []
        while work:
            state, index = work.pop()
            if index == 0:
                number[state] = low[state] = visited
                visited += 1
                stack.append(state)
                waiting[state] = True
            else:
                child = followers[state][index - 1]
                low[state] = min(low[state], low[child]) if waiting[child] else low[state]
            step = _next_unseen(followers[state], index, number, low, waiting, state)
            if step is not None:
                work += [(state, step), (followers[state][step - 1], 0)]
            elif low[state] == number[state]:
                members = _popped(stack, state)
                for member in members:
                    waiting[member] = False
                found.append(members)
    return found


def _popped(stack: list[int], state: int) -> list[int]:
    members = []
    while True:
        members.append(stack.pop())
        if members[-1] == state:
            return members


def _next_unseen(
    followers: list[int], index: int, number: list[int], low: list[int], waiting: list[bool], state: int
) -> int | None:
    """Position after the next unvisited follower, noting visited ones on the way; None when there is none."""
    while index < len(followers):
        follower = followers[index]
        index += 1
        if number[follower] < 0:
            return index
        if waiting[follower]:
            low[state] = min(low[state], number[follower])
    return None


def reachable_labels(fst: Fst, final_label: int) -> list[list[Interval]]:
    """Per state, half-open intervals of the output labels that can come next; `final_label` stands for ending."""
    own: list[list[Interval]] = []
    followers: list[list[int]] = []
    for state, arcs in enumerate(fst.arcs):
        intervals = [(arc.output, arc.output + 1) for arc in arcs if arc.output]
        if state in fst.finals:
            intervals.append((final_label, final_label + 1))
        own.append(intervals)
        followers.append([arc.target for arc in arcs if not arc.output and arc.target != state])
    reached: list[list[Interval]] = [[] for _ in fst.arcs]
    for members in components(followers):
        outside = {target for member in members for target in followers[member]} - set(members)
        merged = _merged(
            [interval for member in members for interval in own[member]]
            + [interval for target in outside for interval in reached[target]]
        )
        for member in members:
            reached[member] = merged
    return reached


def lookahead_bytes(fst: Fst, label_count: int) -> bytes:
    """An olabel_lookahead FST.

    Args:
        fst: output labels numbered 1..label_count so that each state's reachable labels are few intervals.
        label_count: how many output labels there are.
    """
    ordered = Fst(fst.start, [sorted(arcs, key=lambda arc: arc.output) for arcs in fst.arcs], fst.finals)
    final_label = label_count + 1
    properties = EXPANDED | NOT_ACCEPTOR | OUTPUT_SORTED
    parts = [
        _header("olabel_lookahead", 1, 0, properties, (-1, 0, 0)),
        struct.pack("<i", ADD_ON_MAGIC),
        const_bytes(ordered, properties),
        struct.pack("<????", True, False, True, False),
        struct.pack("<?iq", False, final_label, len(ordered.arcs)),
    ]
    for intervals in reachable_labels(ordered, final_label):
        parts.append(struct.pack("<q", len(intervals)))
        parts += [struct.pack("<ii", begin, end) for begin, end in intervals]
        parts.append(struct.pack("<i", sum(end - begin for begin, end in intervals)))
    return b"".join(parts)
