"""Synthetic drills by the thousand, for measures only: invented crews, times drawn from a fixed seed.

Each is a record file in the program's own format, chain of digests and all, so that loading it is the real thing. They
follow the stages of the shipped procedure, but nobody played them: no figure about people may be read from them.
"""

import json
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

from assistant.journal import FORMAT, Header, _dump, _header_plain, _link
from assistant.library import source_for
from protocol.commands import PROGRAM, Advance, OpenIncident, Origin, Role
from protocol.events import Event, IncidentClosed, IncidentOpened, Said, StepConfirmed, StepEntered, Urgency
from protocol.procedure import Procedure
from protocol.scene import Book
from protocol.wire import to_plain

FIRST_DAY = datetime(2025, 1, 1, 18, 0, tzinfo=UTC)
CREWS = tuple(f"Crew {letter}" for letter in "ABCDEFGHIJ")
SCENARIOS = ("waist_deep", "chest_leak", "bad_air", "covered_then_visible", "rescuer_in_trouble", "night_alone")
VOICE = Origin("crew", Role.BOTH, "voice", "words as said", 0.94)


@dataclass(frozen=True, slots=True)
class Drill:
    """One synthetic drill."""

    crew: str
    scenario: str
    header: Header
    path: Path


def header_of(book: Book, opened: datetime, names: bool = True) -> Header:
    """A header as the program writes it."""
    source = source_for()
    return Header(
        procedure=source.name, texts=source.texts if names else {}, house=book.house.model_dump(mode="json"),
        words={}, digest=book.digest, kind="drill", opened=opened.isoformat(), clock={"kept": "recording"},
        program="bin-rescue-assistant synthetic",
    )  # fmt: skip


def drills(folder: Path, book: Book, count: int, seed: int = 7) -> Iterator[Drill]:
    """Record files, one after the other; each is written when it is asked for."""
    draw = random.Random(seed)
    base = header_of(book, FIRST_DAY)
    for number in range(count):
        opened = FIRST_DAY + timedelta(days=draw.randrange(700), seconds=number)
        header = replace(base, opened=opened.isoformat())
        path = folder / f"drill-{number:05d}.jsonl"
        with path.open("wb") as handle:
            handle.writelines(lines(header, turns(book.procedure, draw)))
        yield Drill(draw.choice(CREWS), draw.choice(SCENARIOS), header, path)


def long_record(path: Path, book: Book, events: int, seed: int = 7) -> Path:
    """One record with so many events, written line by line."""
    draw = random.Random(seed)

    def endless() -> Iterator[tuple[Any, list[Event]]]:
        at_ms, count = 0, 0
        yield OpenIncident(0, PROGRAM, "live", book.digest), [IncidentOpened(0, "live", book.digest)]
        steps = [step for step in book.procedure.steps[: book.procedure.main] if not step.final]
        while count < events:
            at_ms += draw.randrange(500, 5_000)
            step = draw.choice(steps)
            batch: list[Event] = [
                StepConfirmed(at_ms, step.id, "crew", "words"),
                StepEntered(at_ms, step.id),
                Said(at_ms, "both", Urgency.PROMPT, "A sentence as long as most of them are, for both sides.", step.id),
            ]
            count += len(batch)
            yield Advance(at_ms, VOICE, step.id), batch

    with path.open("wb") as handle:
        handle.writelines(lines(header_of(book, FIRST_DAY), endless()))
    return path


def turns(procedure: Procedure, draw: random.Random) -> Iterator[tuple[Any, list[Event]]]:
    """The turns of one drill: every step of the main way, about a hundred events."""
    steps = procedure.steps[: procedure.main]
    yield OpenIncident(0, PROGRAM, "drill", ""), [IncidentOpened(0, "drill", ""), StepEntered(0, steps[0].id)]
    at_ms = 0
    for step, following in pairwise(steps):
        at_ms += round(draw.lognormvariate(10.2, 0.5))
        events: list[Event] = [StepConfirmed(at_ms, step.id, "crew", "words"), StepEntered(at_ms, following.id)]
        yield Advance(at_ms, VOICE, step.id), events
    yield Advance(at_ms + 1000, VOICE, steps[-1].id), [IncidentClosed(at_ms + 1000)]


def lines(header: Header, made: Iterator[tuple[Any, list[Event]]]) -> Iterator[bytes]:
    """The lines of a record file with their chain."""
    content = {"format": FORMAT, **_header_plain(header)}
    chain = _link("", content)
    yield _dump({**content, "chain": chain}) + b"\n"
    for n, (command, events) in enumerate(made, start=1):
        content = {
            "n": n, "at_ms": command.at_ms, "command": to_plain(command), "events": [to_plain(event) for event in events]
        }  # fmt: skip
        chain = _link(chain, content)
        yield _dump({**content, "chain": chain}) + b"\n"


def dumped(content: Any) -> str:
    """As JSON with keys in order, to compare."""
    return json.dumps(content, sort_keys=True)
