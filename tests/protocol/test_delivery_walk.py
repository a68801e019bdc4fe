"""A model of the network: stations, a coordinator and its standby, over lines that lose, double, delay and reorder.

Whatever happens, each command of a station is decided exactly once and in order, and everybody who follows ends with
the same record. The coordinator may be lost with records that nobody else had.
"""

import hashlib
from dataclasses import dataclass, field, replace

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, initialize, invariant, precondition, rule

from protocol import commands as cmd
from protocol import events as ev
from protocol.delivery import Delivery, Link
from protocol.following import Follow, Head, Offered, follow, may_lead, strays
from protocol.history import fold
from protocol.rules import decide
from protocol.state import State
from tests.books import shipped_book

BOOK = shipped_book()
NAMES = ("one", "two", "officer")


@dataclass(frozen=True)
class Line:
    """One record as it travels: the term under which it was decided, and what was decided."""

    n: int
    made_in: int
    events: tuple[ev.Event, ...]
    chain: str


@dataclass
class Copy:
    """Somebody's record."""

    lines: list[Line] = field(default_factory=list)
    state: State = field(default_factory=State)
    head: Head = field(default_factory=Head)
    conflicts: int = 0

    def decide(self, command: cmd.Command) -> Line | None:
        """As a coordinator does."""
        events = decide(BOOK, self.state, command)
        if not events:
            return None
        chain = hashlib.sha256(f"{self.head.chain}{events}".encode()).hexdigest()
        state = fold(events, self.state)
        line = Line(len(self.lines) + 1, state.stations.term, events, chain)
        self.append(line, state.stations.term)
        return line

    def append(self, line: Line, term: int) -> None:
        """Keep a line."""
        self.lines.append(line)
        self.state = fold(line.events, self.state)
        self.head = Head(term, line.n, line.chain, max(term, self.head.fence))

    def heed(self, leader: "Copy") -> None:
        """As a follower does when it hears a coordinator's beat."""
        if strays(self.head, leader.state.stations.term, leader.head.n, same=self.head.chain == leader.head.chain):
            self.forget()

    def forget(self) -> None:
        """Begin anew."""
        self.lines, self.state, self.head = [], State(), Head(fence=self.head.fence)

    def take(self, line: Line, term: int) -> None:
        """As a follower does; it asks by itself for what is missing."""
        fits = line.n == self.head.n + 1 and line.chain == _chain(self.head.chain, line)
        same = 1 <= line.n <= self.head.n and self.lines[line.n - 1] == line
        verdict = follow(self.head, Offered(term, line.n, fits, same))
        if verdict is Follow.TAKE:
            self.append(line, term)
        elif verdict is Follow.FORK:
            self.forget()
        elif verdict is Follow.CONFLICT:
            self.conflicts += 1


def _chain(before: str, line: Line) -> str:
    return hashlib.sha256(f"{before}{line.events}".encode()).hexdigest()


class Network(RuleBasedStateMachine):
    """Anything may be lost, doubled or late; coordinators may die; an officer may order the standby to lead."""

    commands = Bundle("commands")
    lines = Bundle("lines")

    def __init__(self) -> None:
        super().__init__()
        self.at_ms = 0
        self.leader = Copy()
        self.deposed: list[Copy] = []
        self.standby = Copy()
        self.stations = {name: Copy() for name in NAMES}
        self.outboxes: dict[str, list[cmd.Command]] = {name: [] for name in NAMES}

    @initialize()
    def open(self) -> None:
        """Three stations at an open drill; everybody has that much."""
        self._lead(cmd.OpenIncident(0, cmd.PROGRAM, "drill", BOOK.digest))
        for name in NAMES:
            self._lead(cmd.ReportStation(0, cmd.PROGRAM, name, cmd.Role.BOTH, Link.UP))
        self._replicate(self.leader, 99)

    def _lead(self, command: cmd.Command) -> Line | None:
        return self.leader.decide(replace(command, at_ms=self.at_ms))

    def _replicate(self, source: Copy, upto: int) -> None:
        for copy in (self.standby, *self.stations.values()):
            for line in source.lines[:upto]:
                copy.take(line, source.state.stations.term)

    @rule(target=commands, name=st.sampled_from(NAMES), sort=st.sampled_from(["note", "ask", "hold", "resume", "step"]))
    def say(self, name: str, sort: str) -> tuple[str, cmd.Command]:
        """A station keeps something under its next number; it may be under way for as long as it likes."""
        outbox, state = self.outboxes[name], self.stations[name].state
        words = f"{name} {len(outbox) + 1}"
        delivery = Delivery(name, len(outbox) + 1, self.at_ms, self.stations[name].head.fence)
        came = cmd.Origin(name, cmd.Role.BOTH, "keyboard", words, None, delivery)
        made: dict[str, cmd.Command] = {
            "note": cmd.Note(0, came, words), "ask": cmd.Ask(0, came, cmd.Query.TIME), "hold": cmd.Hold(0, came),
            "resume": cmd.Resume(0, came), "step": cmd.Advance(0, came, state.step, "one"),
        }  # fmt: skip
        outbox.append(made[sort])
        return name, made[sort]

    @rule(target=lines, message=commands)
    def arrive(self, message: tuple[str, cmd.Command]) -> tuple[int, Line | None]:
        """Any message reaches the coordinator, at any time, any number of times."""
        before = self.leader.state.stations.term
        return before, self._lead(message[1])

    @rule(name=st.sampled_from(NAMES))
    def send_again(self, name: str) -> None:
        """A station sends what it does not see on its record, in order."""
        seq = self.stations[name].state.stations.seq(name, name)
        for command in self.outboxes[name][seq:]:
            self._lead(command)

    @rule(line=lines, to=st.sampled_from((*NAMES, "standby")), behind=st.booleans())
    def publish(self, line: tuple[int, Line | None], to: str, behind: bool) -> None:
        """Any line reaches anybody, at any time, any number of times."""
        copy = self.standby if to == "standby" else self.stations[to]
        if line[1] is not None:
            copy.take(line[1], line[0])
        if behind:
            self._catch_up(copy)

    @rule(to=st.sampled_from((*NAMES, "standby")))
    def catch_up(self, to: str) -> None:
        """Somebody asks for what follows its last record."""
        self._catch_up(self.standby if to == "standby" else self.stations[to])

    def _catch_up(self, copy: Copy) -> None:
        copy.heed(self.leader)
        for _ in range(2):  # a fork is found at the first try and mended at the second
            for line in list(self.leader.lines[copy.head.n :]):
                copy.take(line, self.leader.state.stations.term)

    @rule(wait_ms=st.sampled_from([10, 2_000, 60_000, 200_000]))
    def wait(self, wait_ms: int) -> None:
        """Clocks run out; a lead's own ticks are records too."""
        self.at_ms += wait_ms
        self._lead(cmd.Tick(0))

    @precondition(lambda self: self.standby.state.opened)
    @rule(helped=st.booleans())
    def take_over(self, helped: bool) -> None:
        """The officer orders the standby to lead; what only the old coordinator had may be lost with it."""
        old, new = self.leader, self.standby
        if helped:
            for copy in self.stations.values():
                for line in copy.lines[new.head.n :]:
                    new.take(line, copy.head.term)
        term = max(new.head.fence, new.state.stations.term, old.state.stations.term) + 1
        self.deposed.append(old)
        self.leader, self.standby = new, Copy()
        officer = cmd.Origin("officer", cmd.Role.OUTSIDE)
        assert self._lead(cmd.TakeLead(0, officer, "standby", term, "ordered")) is not None

    @rule(old_words=st.booleans())
    def deposed_goes_on(self, old_words: bool) -> None:
        """A coordinator that does not know that it was replaced decides on: nobody who heard of the new one follows."""
        if not self.deposed:
            return
        old = self.deposed[-1]
        assert not may_lead(old.state.stations.term, self.leader.state.stations.term)
        line = old.decide(cmd.Note(max(self.at_ms, old.state.at_ms), cmd.Origin("crew"), "old" if old_words else "x"))
        for copy in self.stations.values():
            before = copy.head
            if line is not None and copy.head.fence >= self.leader.state.stations.term:
                copy.take(line, old.state.stations.term)
                assert before == copy.head, "law: nothing of a replaced coordinator is taken"

    @invariant()
    def each_command_counts_once_and_in_order(self) -> None:
        """In whatever record, each station's numbers run 1, 2, 3 … and carry the words that the station kept."""
        self._check(self.leader)

    @staticmethod
    def _check(copy: Copy) -> None:
        for name in NAMES:
            decided = [
                (event.seq, event.heard)
                for line in copy.lines
                for event in line.events
                if isinstance(event, ev.DeliveryTaken | ev.DeliveryRefused) and event.station == name
            ]
            assert [(n + 1, f"{name} {n + 1}") for n in range(len(decided))] == decided

    @invariant()
    def fencing_numbers_only_rise(self) -> None:
        """Two coordinators never share a number, and a record never goes back to an older one."""
        terms = [line.made_in for line in self.leader.lines]
        assert terms == sorted(terms)
        mine = self.leader.state.stations.term
        assert all(old.state.stations.term < mine for old in self.deposed)
        assert not any(copy.conflicts for copy in (self.standby, *self.stations.values()))

    def teardown(self) -> None:
        """In the end everything arrives: every command is decided, and everybody holds the same record."""
        if not self.leader.lines:
            return
        for copy in (self.standby, *self.stations.values(), *self.deposed):
            self._check(copy)
        for _ in range(2):
            for name, copy in self.stations.items():
                self._catch_up(copy)
                self.send_again(name)
        for copy in (self.standby, *self.stations.values()):
            self._catch_up(copy)
            assert self.leader.lines == copy.lines, "law: everybody ends with the same record"
            assert self.leader.state == copy.state
        for name, outbox in self.outboxes.items():
            assert len(outbox) == self.leader.state.stations.seq(name, name), "law: nothing that was kept is lost"


TestNetwork = Network.TestCase
TestNetwork.settings = settings(max_examples=40, stateful_step_count=30)
