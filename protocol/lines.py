"""Lifelines of the people inside: on which line, who holds it, and what the record lacks. Cautions only, never a block.

A line is written down for one rescuer at a time. The head count does not depend on it: whoever is in is in, on
whatever line.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from protocol.names import LINE_CHARS, MAX_TENDERS, NAME_CHARS
from protocol.numbers import count_words
from protocol.state import Rescuer

HOLD_A_LINE = 2
"""At least so many hold a rescuer's line from outside: UMaine Extension 2352; NASD 1144."""
SPOKEN_NAMES = 2
"""More tenders than these are spoken as their number."""
HARNESS_SOURCE = "OSHA 29 CFR 1910.272(g)(2) (from memory); WAC 296-99-040(2)"
TENDERS_SOURCE = "UMaine Extension 2352; NASD 1144"
ONE_EACH_SOURCE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Lack:
    """Something about a line that the officer should look at."""

    slots: tuple[int, ...]
    """Whom it is about."""
    words: str
    source: str


def tidy_line(text: str) -> str:
    """A line's tag without needless spaces."""
    return " ".join(text.split())


def tidy_tenders(names: Iterable[str]) -> tuple[str, ...]:
    """Names without needless spaces, empty ones and repetitions, in their order."""
    kept: dict[str, str] = {}
    for name in (" ".join(name.split()) for name in names):
        kept.setdefault(name.casefold(), name)
    return tuple(name for name in kept.values() if name)


def fault(line: str, tenders: Sequence[str]) -> str:
    """Why these cannot be written down; empty when they can."""
    if len(line) > LINE_CHARS:
        return f"a line's tag has at most {LINE_CHARS} characters"
    if len(tenders) > MAX_TENDERS:
        return f"at most {count_words(MAX_TENDERS)} tenders hold one line"
    if any(len(name) > NAME_CHARS for name in tenders):
        return f"a name has at most {NAME_CHARS} characters"
    if not all(text.isprintable() for text in (line, *tenders)):
        return "only letters, digits and plain signs can be written down"
    return ""


def on_line(inside: Iterable[Rescuer], line: str, but: int = 0) -> Rescuer | None:
    """Who of these is on a line already, `but` not counted; capitals and spaces make no difference."""
    wanted = _key(line)
    return next((one for one in inside if wanted and one.slot != but and _key(one.line) == wanted), None)


def lacks(inside: Sequence[Rescuer]) -> tuple[Lack, ...]:
    """What is missing or contradicts itself about the lines of those inside."""
    rows = sorted(inside, key=lambda one: one.slot)
    return (*(lack for one in rows for lack in _of_one(one)), *_shared_lines(rows), *_shared_tenders(rows))


def line_words(line: str) -> str:
    """A line as it is spoken: "line two", "line A7"."""
    return f"line {count_words(int(line)) if line.isdecimal() and len(line) < 4 else line}"


def tender_words(tenders: Sequence[str]) -> str:
    """Tenders as they are spoken: two names at most, else how many."""
    if len(tenders) > SPOKEN_NAMES:
        return f"{count_words(len(tenders))} tenders"
    return f"tender{'s' if len(tenders) > 1 else ''} {' and '.join(tenders)}" if tenders else ""


def spoken(line: str, tenders: Sequence[str]) -> str:
    """Line and tenders in a few words; empty when neither is on record."""
    if not (line or tenders):
        return ""
    return ", ".join(filter(None, (line_words(line) if line else "no line recorded", tender_words(tenders))))


def written(line: str, tenders: Sequence[str]) -> str:
    """Line and tenders as they are written; empty when neither is on record."""
    if not (line or tenders):
        return ""
    held = f"tender{'s' if len(tenders) > 1 else ''} {', '.join(tenders)}" if tenders else "no tenders recorded"
    return f"{f'line {line}' if line else 'no line recorded'}, {held}"


def _key(line: str) -> str:
    return "".join(line.split()).casefold()


def _of_one(one: Rescuer) -> Iterator[Lack]:
    if not one.line:
        yield Lack((one.slot,), "no line recorded", HARNESS_SOURCE)
    if len(one.tenders) < HOLD_A_LINE and (one.line or one.tenders):
        have = "only one tender" if one.tenders else "no tenders"
        yield Lack((one.slot,), f"{have} recorded, {count_words(HOLD_A_LINE)} hold a line", TENDERS_SOURCE)


def _shared_lines(rows: Sequence[Rescuer]) -> Iterator[Lack]:
    """Nobody can write this down; a record from elsewhere may hold it."""
    for key in dict.fromkeys(_key(one.line) for one in rows if one.line):
        same = [one for one in rows if _key(one.line) == key]
        if len(same) > 1:
            slots = tuple(one.slot for one in same)
            yield Lack(slots, f"Line {same[0].line} is recorded for {_rescuers(slots)}", ONE_EACH_SOURCE)


def _shared_tenders(rows: Sequence[Rescuer]) -> Iterator[Lack]:
    names = {name.casefold(): name for one in rows for name in one.tenders}
    for key, name in names.items():
        held = tuple(one.slot for one in rows if key in {other.casefold() for other in one.tenders})
        if len(held) > 1:
            yield Lack(held, f"{name} is tender for {_rescuers(held)}: one line each", ONE_EACH_SOURCE)


def _rescuers(slots: Sequence[int]) -> str:
    return " and ".join(f"rescuer {count_words(slot)}" for slot in slots)
