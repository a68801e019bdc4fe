"""What the crew says in a recording: a script's lines in order, and what they answer by themselves.

A script is TOML: `voices` by speaker, then [[line]] tables. A line with `say` is said, phrase by phrase; one with
`until` waits for something to happen ("inject down", or a word of protocol.responses). `[[reply]]` names what is
answered whenever it comes: an inject by its id. Drums, levels, person checks, roll calls and old air are answered
without being named; `ignore` lists kinds whose first call the crew misses.
"""

import tomllib
from collections import Counter, deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from assistant.journal import Record
from protocol import events as ev
from protocol.marks import MARKS
from protocol.phrases import level_phrase
from protocol.responses import answers
from protocol.state import State

HERE: Final = Path(__file__).parent
AIR_AGAIN: Final = (
    "oxygen two zero decimal niner", "affirmative", "flammable gas zero", "affirmative",
    "carbon monoxide three", "affirmative", "hydrogen sulfide zero", "affirmative",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """What one of the crew says."""

    by: str
    text: str


CALLS = {"person_check": Line("two", "person is answering"), "roll_call": Line("officer", "all accounted for")}
"""What is answered when a clock asks for it."""


@dataclass(frozen=True, slots=True)
class Until:
    """Wait for something to happen."""

    what: str


@dataclass(frozen=True, slots=True)
class Script:
    """A whole script."""

    title: str
    scenario: str
    """Empty for the shipped rehearsal."""
    voices: Mapping[str, str]
    lines: tuple[Line | Until, ...]
    replies: Mapping[str, tuple[Line, ...]]
    ignore: Mapping[str, int]


def read_script(path: Path) -> Script:
    """A script from its file."""
    raw: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    replies = {row["inject"]: tuple(Line(row["by"], text) for text in row["say"]) for row in raw.get("reply", ())}
    lines = tuple(line for block in raw["line"] for line in _lines(block))
    return Script(
        raw["title"], raw.get("scenario", ""), raw["voices"], lines, replies, Counter(raw.get("ignore", ()))
    )


def _lines(block: Mapping[str, Any]) -> Iterator[Line | Until]:
    if "until" in block:
        yield Until(block["until"])
    for text in block.get("say", ()):
        yield Line(block["by"], text)


@dataclass(frozen=True, slots=True)
class Recording:
    """One recording: its script and where it goes."""

    name: str
    script: Path
    target: Path
    """Without its ending."""
    scenario: bool = False
    """The file holds the speech alone; the drill lays the noise over it, the same as when it was made."""

    @property
    def manifest(self) -> Path:
        """What is said when."""
        return self.target.with_suffix(".json")


def recordings() -> Iterator[Recording]:
    """The shipped rehearsal, then every scenario."""
    yield Recording("drill", HERE / "drill_script.toml", HERE / "drill")
    for path in sorted((HERE / "scenarios").glob("*.toml")):
        yield Recording(path.stem, path, path.with_suffix(""), scenario=True)


class Crew:
    """Watches what happens, and knows what the crew says to it by itself."""

    def __init__(self, script: Script) -> None:
        self._script = script
        self._missing = Counter(script.ignore)
        self._seen: list[ev.Event] = []
        self.waiting: deque[tuple[Line, ...]] = deque()
        """What they want to say, oldest first; each is said in one go."""

    def react(self, record: Record, _state: State) -> None:
        """Note what happened."""
        for event in record.events:
            self._seen.append(event)
            kind, lines = self._reply(event)
            if lines and self._missing[kind]:
                self._missing[kind] -= 1
            elif lines and lines not in self.waiting:
                self.waiting.append(lines)

    def saw(self, what: str) -> bool:
        """Whether it has happened."""
        word, _space, which = what.partition(" ")
        if word == "inject":
            return any(isinstance(event, ev.InjectGiven) and event.inject == which for event in self._seen)
        return any(answers(what, event) for event in self._seen)

    def _reply(self, event: ev.Event) -> tuple[str, tuple[Line, ...]]:
        if isinstance(event, ev.InjectGiven):
            kind, _dot, which = event.inject.partition(".")
            grain = {"drum": "canister is full", "grain": level_phrase(which) if which in MARKS else ""}
            own = (Line("one", grain[kind]),) if kind in grain else ()
            return kind, self._script.replies.get(event.inject, own)
        if isinstance(event, ev.TimerExpired) and event.timer in CALLS:
            return event.timer, (CALLS[event.timer],)
        if isinstance(event, ev.AirWentStale):
            return "air", tuple(Line("tender", text) for text in AIR_AGAIN)
        return "", ()
