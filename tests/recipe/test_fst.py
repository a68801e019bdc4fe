"""The graph files say what the recogniser's search needs."""

import networkx as nx
import numpy as np

from assistant.recipe.fst import Arc, Fst, components, reachable_labels


def _random_fst(seed: int, states: int = 24) -> Fst:
    draw = np.random.default_rng(seed)
    fst = Fst(0, [[] for _ in range(states)], {states - 1: 0.0})
    for _ in range(2 * states):
        source, target = draw.integers(states, size=2)
        fst.arc(int(source), Arc(1, int(draw.integers(6)) if draw.random() < 0.5 else 0, 0.0, int(target)))
    return fst


def test_components_are_those_of_networkx() -> None:
    """Loops are found as the reference library finds them, each after what it leads to."""
    for seed in range(30):
        fst = _random_fst(seed)
        followers = [[arc.target for arc in arcs] for arcs in fst.arcs]
        graph = nx.DiGraph()
        graph.add_nodes_from(range(len(followers)))
        graph.add_edges_from((a, b) for a, targets in enumerate(followers) for b in targets)
        found = components(followers)
        assert {frozenset(part) for part in nx.strongly_connected_components(graph)} == {frozenset(part) for part in found}
        done: set[int] = set()
        for part in found:
            done |= set(part)
            assert all(target in done for member in part for target in followers[member])


def test_reachable_labels_are_those_of_a_plain_search() -> None:
    """The labels listed for a state are exactly those met first on some path from it."""
    for seed in range(30):
        fst = _random_fst(seed)
        for state, intervals in enumerate(reachable_labels(fst, 9)):
            seen, work, labels = {state}, [state], set()
            while work:
                at = work.pop()
                labels |= {9} if at in fst.finals else set()
                for arc in fst.arcs[at]:
                    if arc.output:
                        labels.add(arc.output)
                    elif arc.target not in seen:
                        seen.add(arc.target)
                        work.append(arc.target)
            assert labels == {label for begin, end in intervals for label in range(begin, end)}
