"""A whole incident with its board, as a live run has it, without sound: typed words in, a real record on disk."""

import itertools
import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from types import TracebackType
from typing import Self

from assistant.board import Board, Settings
from assistant.clock import Clock, ManualClock, SystemClock
from assistant.incident import Incident, begin, open_incident
from assistant.inputs import Input, Order, Stop, Words
from assistant.journal import Record
from assistant.library import Source, source_for
from assistant.live import STOOD_STILL_MS, Loop
from protocol import commands as cmd
from protocol.commands import Origin, Role
from protocol.state import State
from tests.board.cable import NEAR

PIN = "246810"
PATIENCE_S = 10.0
FOREVER_MS = 10**12


class Rig:
    """An open incident, its loop in a thread, its board on a free port of loopback."""

    def __init__(
        self, folder: Path, clock: Clock | None = None, settings: Settings | None = None, *, source: Source | None = None
    ) -> None:
        self.clock = clock or ManualClock()
        self.incident: Incident = open_incident(source or source_for(), folder / "incident.jsonl", "drill", self.clock)
        self.board = Board(
            self.incident.session.book, self.put, self.clock, settings or Settings(port=0, pin=PIN, names=frozenset({NEAR}))
        )
        self._free = threading.Event()
        self._free.set()
        leaps_by_hand = isinstance(self.clock, ManualClock)
        self.loop = Loop(
            self.incident, [self.board], self._wait_free, stood_still_ms=FOREVER_MS if leaps_by_hand else STOOD_STILL_MS
        )
        self._arrived = threading.Condition()
        self._records: list[Record] = []
        self.incident.session.react_with(self._note)
        self._thread = threading.Thread(target=self.loop.run, name="rig", daemon=True)

    def _wait_free(self, _text: str) -> None:
        self._free.wait(PATIENCE_S)

    def __enter__(self) -> Self:
        """Start board and loop and open the incident."""
        self.board.start()
        begin(self.incident, "drill")
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Let everything go."""
        self.loop.put(Stop("test over"))
        self._thread.join(PATIENCE_S)
        self.board.close()
        self.incident.journal.close()

    @property
    def address(self) -> str:
        """Where the board is."""
        return self.board.address

    @property
    def state(self) -> State:
        """The incident as it stands."""
        return self.incident.session.state

    @property
    def records(self) -> tuple[Record, ...]:
        """Every record so far."""
        return tuple(self._records)

    def put(self, item: Input) -> None:
        """Put something into the loop's queue."""
        self.loop.put(item)

    def say(self, *lines: str, pace_ms: int = 7_000) -> None:
        """Say lines as a crew member with a headset, one after the other, each with time passed before it."""
        for words in lines:
            self._pass(pace_ms)
            self._do(Words(words, Origin("crew", Role.BOTH, "voice", words)))

    def say_until(self, lines: Iterable[str], step: str, pace_ms: int = 7_000) -> list[str]:
        """Say lines until a step stands; gives the lines that are left."""
        left = list(lines)
        while self.state.step != step:
            self.say(left.pop(0), pace_ms=pace_ms)
        return left

    def order(self, command: cmd.Command) -> Record:
        """Put a command and wait for its record."""
        return self._do(Order(command))

    def wait(self, minutes: float) -> None:
        """Let time pass on a manual clock; the loop notices by itself."""
        before = self.records
        self._pass(round(minutes * 60_000))
        self.until(lambda: len(self.records) > len(before))

    def hang(self) -> None:
        """Let the loop stand still, as a program does that waits for something that does not come."""
        self._free.clear()
        self.put(Words("/words", Origin("crew", Role.BOTH, "keyboard", "")))

    def unhang(self) -> None:
        """Let the loop go on."""
        self._free.set()

    def until(self, true: Callable[[], bool]) -> None:
        """Wait until something holds.

        Raises:
            TimeoutError: if it does not.
        """
        with self._arrived:
            if not self._arrived.wait_for(true, PATIENCE_S):
                raise TimeoutError("The incident did not get there.")

    def _do(self, item: Input) -> Record:
        before = len(self._records)
        self.put(item)
        self.until(lambda: any(_caused(record) for record in self._records[before:]))
        return next(record for record in itertools.islice(self._records, before, None) if _caused(record))

    def _pass(self, duration_ms: int) -> None:
        if isinstance(self.clock, ManualClock):
            self.clock.move_to(self.clock.now_ms() + duration_ms)

    def _note(self, record: Record, _state: State) -> None:
        with self._arrived:
            self._records.append(record)
            self._arrived.notify_all()


def _caused(record: Record) -> bool:
    return not isinstance(record.command, cmd.Tick)


__all__ = ["PIN", "Rig", "SystemClock"]
