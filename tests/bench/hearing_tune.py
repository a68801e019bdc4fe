"""Thresholds of the second look, chosen on tuning material alone and written into the model's folder."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import product
from math import dist
from pathlib import Path
from statistics import median

from assistant.hearing.belief import LOOSE, NORMAL, STRICT, Least, Policy, write_policy
from assistant.hearing.listener import ListenPhrase
from assistant.hearing.recogniser import shipped_model
from protocol.phrases import Strictness
from tests.bench.hearing_ears import OurEar, Taken
from tests.bench.hearing_material import Material, shipped_phrases
from tests.bench.hearing_score import plain

FREE = Least(0.0, 0.0, 3.0, 99.0, -99.0)
EVERYTHING = Policy(strict=FREE, normal=FREE, loose=FREE)
SHORTFALLS = (0.4, 0.6, 0.8, 0.9, 1.0, 1.1, 1.2, 1.4, 1.6, 2.0)
WORST_WORDS = (2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0)
LEADS = (-1.0, 0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
WRONG_COSTS = {Strictness.STRICT: 10.0, Strictness.NORMAL: 6.0, Strictness.LOOSE: 2.0}
"""How many missed phrases one wrong or false one outweighs."""
MACHINE_HOURS, TALK_S, PER_CELL = 1.0, 600.0, 60


@dataclass(frozen=True, slots=True)
class Case:
    """One thing that was taken with nothing refused, and whether it was right."""

    taken: Taken
    right: bool

    def passes(self, least: Least, kind: Strictness) -> bool:
        """Whether it would still be taken, as a phrase of this kind."""
        evidence = self.taken.evidence
        assert evidence is not None
        policy = Policy(strict=least, normal=least, loose=least)
        return policy.doubt(ListenPhrase(self.taken.text, kind), evidence) is None


def tune(material: Material, model: Path | None, *, quick: bool) -> None:
    """Listen to everything with nothing refused, choose, write, and say what was chosen."""
    scale = 0.2 if quick else 1.0
    ear = OurEar(shipped_phrases(), model, EVERYTHING)
    cases = list(_cases(ear, material, scale))
    right, other = sum(case.right for case in cases), sum(not case.right for case in cases)
    print(f"{len(cases)} taken with nothing refused: {right} right, {other} wrong or false")
    chosen = {kind: _best(kind, cases) for kind in Strictness}
    policy = Policy(
        strict=chosen[Strictness.STRICT], normal=chosen[Strictness.NORMAL], loose=chosen[Strictness.LOOSE]
    )
    folder = model or shipped_model()
    write_policy(policy, folder)
    for kind, least in chosen.items():
        kept = [case for case in cases if case.passes(least, kind)]
        good = sum(case.right for case in kept)
        print(f"{kind}: {least}; of {right} right {good} are left, of {other} others {len(kept) - good}")
    print(f"written to {folder}")


def _cases(ear: OurEar, material: Material, scale: float) -> Iterable[Case]:
    for one in material.utterances(max(2, round(PER_CELL * scale))):
        yield from (Case(taken, plain(taken.text) == plain(one.text)) for taken in ear.hear(one.samples))
    for stretches in (material.talk(TALK_S * scale), material.machines(MACHINE_HOURS * scale)):
        for stretch in stretches:
            yield from (Case(taken, False) for taken in ear.hear(stretch.samples))


def _best(kind: Strictness, cases: list[Case]) -> Least:
    """The thresholds that lose least; of equals, those nearest to the middle of all that are equal."""
    start = {Strictness.STRICT: STRICT, Strictness.NORMAL: NORMAL}.get(kind, LOOSE)

    def loss(least: Least) -> float:
        kept = [(case.right, case.passes(least, kind)) for case in cases]
        return sum((not passes) if right else WRONG_COSTS[kind] * passes for right, passes in kept)

    grid = [
        Least(start.mean, start.word, shortfall, worst, lead)
        for shortfall, worst, lead in product(SHORTFALLS, WORST_WORDS, LEADS)
    ]
    losses = [loss(least) for least in grid]
    equal = [least for least, lost in zip(grid, losses, strict=True) if lost == min(losses)]
    middle = [median(values) for values in zip(*(_figures(least) for least in equal), strict=True)]
    return min(equal, key=lambda least: dist(_figures(least), middle))


def _figures(least: Least) -> tuple[float, float, float]:
    return least.shortfall, least.worst_word / 4, least.lead / 4
