"""The loop when the disk takes no record: nothing is applied, one warning is said, and it goes on by itself."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from assistant.clock import ManualClock
from assistant.errors import JournalError
from assistant.incident import Incident, begin, open_incident
from assistant.inputs import Input, Stop, Words
from assistant.journal import Record, read
from assistant.library import source_for
from assistant.live import STOOD_STILL_MS, UNWRITTEN, Loop
from assistant.replay import rebuild
from protocol.commands import Command, Origin, Role
from protocol.events import Event, PartFailed, PartRecovered, StepConfirmed
from protocol.state import State

CREW = Origin("crew", Role.BOTH, "keyboard")
STEP_MS = 100


@dataclass
class Script:
    """A post that says what a test wants at each poll; the clock moves with each."""

    clock: ManualClock
    lines: dict[int, Input]
    heard_of: list[Record] = field(default_factory=list)
    silent: bool = True
    sleeps: dict[int, int] = field(default_factory=dict)
    """Moments at which the clock leaps so far, as when the lid is closed."""

    def react(self, record: Record, state: State) -> None:
        """Note it."""
        del state
        self.heard_of.append(record)

    def poll(self, now_ms: int) -> Sequence[Input]:
        """What is due."""
        self.clock.move_to(now_ms + self.sleeps.pop(now_ms, STEP_MS))
        due = self.lines.pop(now_ms, None)
        return [] if due is None else [due]

    def close(self) -> None:
        """Nothing to let go of."""


class Disk:
    """A recorder that can be full."""

    def __init__(self, incident: Incident, full_from_ms: int, full_until_ms: int) -> None:
        self._incident = incident
        self._full = range(full_from_ms, full_until_ms)
        self.tries = 0

    def append(self, command: Command, events: tuple[Event, ...]) -> Record:
        """Write, or refuse."""
        if self._incident.clock.now_ms() in self._full:
            self.tries += 1
            raise JournalError("No space. Free some.")
        return self._incident.journal.append(command, events)


def test_a_full_disk_is_told_and_outlived(tmp_path: Path) -> None:
    """Words meanwhile change nothing; afterwards the gap is on record and the same words are taken."""
    clock = ManualClock()
    incident = open_incident(source_for(), tmp_path / "x.jsonl", "drill", clock)
    begin(incident, "drill")
    disk = Disk(incident, 2_000, 30_000)
    incident.session._recorder = disk
    words = Words("one person trapped", CREW)
    script = Script(clock, {5_000: words, 40_000: words})
    warnings: list[str] = []
    loop = Loop(incident, [script], lambda _: None, warnings.append)
    while script.lines:
        loop._let_time_pass()
        loop._poll()
    history = read(tmp_path / "x.jsonl")
    assert [UNWRITTEN, UNWRITTEN] == warnings
    assert 20 <= disk.tries <= 32
    assert 1 == sum(isinstance(event, StepConfirmed) for event in history.events)
    gap = [event for event in history.events if isinstance(event, PartFailed | PartRecovered)]
    assert [PartFailed, PartRecovered] == [type(event) for event in gap]
    assert rebuild(history) == incident.session.state


def test_a_computer_that_slept_says_so_and_its_clocks_went_on(tmp_path: Path) -> None:
    """After a minute's sleep the crew is told to say it again, and every clock that ran out meanwhile is called at once."""
    clock = ManualClock()
    incident = open_incident(source_for(), tmp_path / "incident.jsonl", "drill", clock)
    script = Script(clock, {}, sleeps={10_000: 60_000, 1_000: STOOD_STILL_MS - STEP_MS})
    loop = Loop(incident, [script], lambda text: loop.put(Stop("over")) if "Not a phrase" in text else None)
    script.lines[70_000] = Words("nothing that is a phrase", CREW)
    begin(incident, "drill")
    loop.run()
    told = [(event.at_ms, event.detail) for record in script.heard_of for event in record.events if isinstance(event, PartFailed)]
    assert [(70_000, "The computer stood still for 60 seconds. Say again what was said.")] == told
    assert () == incident.session.state.failed_parts
