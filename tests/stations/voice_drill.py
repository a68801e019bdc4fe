"""A drill by voice with three headsets: every line is heard by the real recogniser of its own station.

    python -m tests.stations.voice_drill [PHRASES]

The lines are cut out of the shipped rehearsal and said, each at its speaker's station, when they are due: once the
words mean something there and nobody is speaking; a line that is not taken is said again. All others hear the fan. One
virtual clock, a real broker, a standby. The broker is killed twice, one station is cut off for two minutes, and some
lines reach two microphones.
"""

import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from assistant.clock import ManualClock, SystemClock, stopwatch_s
from assistant.hearing.blocks import BLOCK_S
from assistant.hearing.listener import Listener
from assistant.hearing.recogniser import SpeechModel
from assistant.journal import Record, read
from assistant.replay import verify
from assistant.station import Place, Station
from assistant.stations import follower as fl
from assistant.stations.follower import Follower
from assistant.stations.link import MqttWire, Will, broker_at
from assistant.stations.remote import RemoteStation
from protocol.commands import Origin, Role
from protocol.events import DeliveryRefused, DeliveryTaken, StepConfirmed
from protocol.phrases import NUMBER_SLOT, meanings
from protocol.scene import Book, Scene
from protocol.state import State
from tests.drills import VISIBLE
from tests.stations.crew_voices import Cuttable, Ear, Line, drill_lines
from tests.stations.real_broker import RealBroker
from tests.stations.site import INCIDENT, HeardPlayer, Site, will_of

ROLES = {"one": Role.INSIDE, "two": Role.INSIDE, "officer": Role.OUTSIDE}
AGAIN_MS = 5_000
PAUSE_MS = 700
LONGEST_WAIT_MS = 400_000
MOST_TRIES = 12
ECHO = "another microphone heard it too"
CUT_MS = 120_000
REAL_SHARE = 0.2
"""A block of 60 ms takes at least so much of its length in real time, so that the broker keeps up."""


@dataclass(frozen=True)
class Plan:
    """What is said, and what happens to the network before which line."""

    texts: tuple[str, ...] = ()
    """What is said, each as it was first said in the rehearsal; empty: all of the rehearsal, in its order."""
    most: int | None = None
    """So many phrases of it."""
    start: str = ""
    """The step at which the stations join."""
    kills: tuple[int, ...] = ()
    """The broker dies before these."""
    cut_at: int = -1
    """The station is cut off before this one."""
    cut: str = "one"
    cut_ms: int = CUT_MS
    told: bool = False
    """Each line is printed when it was said."""
    rest: tuple[int, ...] = ()
    """Before these the crew waits until everybody is linked and everything is decided."""
    bleed: tuple[int, ...] = ()
    """These reach the other rescuer's microphone too."""


class Drill:
    """The crew, the stations, and what happens to the network."""

    def __init__(self, folder: Path, last: ExitStack, plan: "Plan") -> None:
        every, fan = drill_lines()
        self.plan = plan
        said = [every[next(places(every, text))] for text in plan.texts] or every
        self.lines = said[: plan.most]
        self.clock = ManualClock()
        self.broker = last.enter_context(RealBroker(folder))
        self._last = last
        self.site = Site(self.clock, self._dial, folder)
        self.ears = {name: Ear(fan, place * 31) for place, name in enumerate(ROLES)}
        self.model = SpeechModel()
        self.said: Counter[str] = Counter()
        self._cut_until_ms = 0
        self._dead_until_s = 0.0
        self._wall = SystemClock()
        self.results: dict[tuple[str, int], str] = {}
        self._before: Line | None = None

    def begin(self) -> None:
        """Everyone joins, at the step where the plan begins; what comes before it is typed."""
        session = self.site.lead().incident.session
        session.react_with(self._note)
        typed = iter(VISIBLE)
        while self.plan.start and session.state.step != self.plan.start:
            self.clock.wait_ms(1_000)
            words = next(typed)
            session.say(words, self.clock.now_ms(), Origin("crew", Role.BOTH, "keyboard", words))
        self.site.stand_by()
        for name, role in ROLES.items():
            self._join(name, role)
        self._until(lambda: len(self.site.players) == 3 and self._joined() == 3)

    def play(self) -> None:
        """Say every line; kill the broker before some, cut one station off before another."""
        plan = self.plan
        for place, line in enumerate(self.lines):
            if place in plan.rest:
                self._until(self._settled)
            if place in plan.kills:
                self.broker.kill()
                self._dead_until_s = stopwatch_s() + 1.0
            if place == plan.cut_at:
                self._wire(plan.cut).block()
                self._cut_until_ms = self.clock.now_ms() + plan.cut_ms
                self._until(lambda: self.site.stations[plan.cut].cut_off)
            self._say(line, bleed=place in plan.bleed)
            if sys.stderr.isatty() or plan.told:
                print(f"{self.clock.now_ms() / 1000:6.0f} s  {place:3d} {line.seat}: {line.text}", file=sys.stderr, flush=True)
        self._until(self._settled)

    def _say(self, line: Line, *, bleed: bool) -> None:
        """Say a line until it is decided, kept, or answered where it was said."""
        station = self.site.stations[line.seat]
        for tries in range(MOST_TRIES):
            self._until(lambda: self._quiet(station), why=f"{line.seat} never falls silent")
            if not self._meant(station, line):
                self._utter(self._before or line, tries, bleed=False)
                continue
            number, spoken = len(station.outbox) + 1, len(self.site.players[line.seat].said)
            self._utter(line, tries, bleed=bleed)
            if self._answered(line, spoken) or (len(station.outbox) >= number and self._stands(station, number)):
                break
        else:
            raise AssertionError(f"'{line.text}' is not understood at {line.seat}")
        self._before = line
        self._until(lambda: False, PAUSE_MS, fail=False)

    def _meant(self, station: RemoteStation, line: Line) -> bool:
        """Whether the words mean something; a read-back that lapsed has to be asked for again."""
        wait_ms = 3_000 if line.text == "affirmative" else LONGEST_WAIT_MS
        self._until(lambda: self._means_something(station, line), wait_ms, fail=False)
        return self._means_something(station, line)

    def _utter(self, line: Line, tries: int, *, bleed: bool) -> None:
        """Say it once, and wait until the station has it or has not understood."""
        station = self.site.stations[line.seat]
        number, spoken = len(station.outbox) + 1, len(self.site.players[line.seat].said)
        take = line.takes[tries % len(line.takes)]
        self.ears[line.seat].hear(take)
        if bleed:
            self.ears["two" if line.seat == "one" else "one"].hear(take)
        self.said[line.text] += 1
        self._until(lambda: len(station.outbox) >= number or self._answered(line, spoken), AGAIN_MS, fail=False)

    def _stands(self, station: RemoteStation, number: int) -> bool:
        """Whether what was said was taken, or is kept for later."""
        key = (station.follower.name, number)
        self._until(lambda: key in self.results or station.cut_off, why="it is never decided")
        return self.results.get(key, "kept") in {"taken", "kept", ECHO}

    def _note(self, record: Record, state: State) -> None:
        del state
        for event in record.events:
            if isinstance(event, DeliveryTaken | DeliveryRefused):
                reason = event.reason if isinstance(event, DeliveryRefused) else "taken"
                self.results[event.station, event.seq] = reason

    def _answered(self, line: Line, spoken: int) -> bool:
        """A question at a station that is cut off is answered there and is not kept."""
        station = self.site.stations[line.seat]
        return station.cut_off and len(self.site.players[line.seat].said) > spoken and station.waiting == 0

    def _means_something(self, station: RemoteStation, line: Line) -> bool:
        log = station.follower.log
        if log is None:
            return False
        found = meanings(Scene(log.book, log.state, max(log.state.at_ms, self.clock.now_ms())), station.role)
        return any(line.text == text or _number_form(text, line.text) for text in found)

    @staticmethod
    def _quiet(station: RemoteStation) -> bool:
        return station.station is not None and station.station.silent

    def _join(self, name: str, role: Role) -> None:
        wire = Cuttable(self._dial(fl.topics_of(INCIDENT, name), will_of(name, role), name))
        follower = Follower(wire, INCIDENT, name, self.clock)

        def make(book: Book) -> Station:
            player = self.site.players[name] = HeardPlayer(name, self.clock)
            scene = lambda state, at_ms: Scene(book, state, at_ms)  # noqa: E731
            return Station(Place(name, role), player, Listener(self.model), scene, self.ears[name])

        made = RemoteStation(make, follower, role, self.clock, self.site.folder / f"outbox-{name}", show=lambda _text: None)
        self.site.stations[name], self.site.wires[name] = made, wire

    def _wire(self, name: str) -> "Cuttable":
        wire = self.site.wires[name]
        assert isinstance(wire, Cuttable)
        return wire

    def _dial(self, topics: list[str], will: Will | None, name: str) -> MqttWire:
        wire = MqttWire(broker_at(self.broker.url), name, topics, will)
        wire.open()
        self._last.callback(wire.close)
        return wire

    def _joined(self) -> int:
        assert self.site.coordinator is not None
        return len(self.site.coordinator.incident.session.state.stations.seen)

    def _settled(self) -> bool:
        site = self.site
        assert site.coordinator is not None
        assert site.standby is not None
        n = len(site.coordinator.relay._lines)
        heads = [station.follower.log.head.n for station in site.stations.values() if station.follower.log]
        return not any(station.waiting for station in site.stations.values()) and {n} == {site.standby.n, *heads}

    def _until(
        self, holds: object, wait_ms: int = LONGEST_WAIT_MS, *, fail: bool = True, why: str = "it did not come about"
    ) -> None:
        assert callable(holds)
        until_ms = self.clock.now_ms() + wait_ms
        while not holds():
            if self.clock.now_ms() >= until_ms:
                assert not fail, why
                return
            self._step()

    def _step(self) -> None:
        began_s = stopwatch_s()
        self.clock.wait_ms(round(BLOCK_S * 1000))
        self.site.settle()
        if self._dead_until_s and began_s > self._dead_until_s:
            self._dead_until_s = 0.0
            self.broker.start()
        if self._cut_until_ms and self.clock.now_ms() >= self._cut_until_ms:
            self._cut_until_ms = 0
            for name in self.site.stations:
                self._wire(name).clear()
        rest_s = BLOCK_S * REAL_SHARE - (stopwatch_s() - began_s)
        self._wall.wait_ms(round(max(0.0, rest_s) * 1000))


def _number_form(pattern: str, text: str) -> bool:
    head, slot, tail = pattern.partition(NUMBER_SLOT)
    return bool(slot) and text.startswith(head) and text.endswith(tail) and len(text) > len(head) + len(tail)


@dataclass(frozen=True)
class Outcome:
    """What the records say."""

    closed: bool
    steps: int
    records: int
    digest: str
    copy_digest: str
    same_bytes: bool
    verified: bool
    kept: dict[str, int]
    """Commands that each station kept."""
    decided: dict[str, list[tuple[int, str]]]
    """Numbers and words of each station on the record."""
    refused: list[str]
    late: int
    canisters: int
    cut_off_told: int
    """Sentences at the station that was cut off, saying so."""
    never_said: list[str]
    said: int
    virtual_s: float
    wall_s: float


def run(folder: Path, plan: Plan) -> Outcome:
    """Play it and read the records."""
    began_s = stopwatch_s()
    with ExitStack() as last:
        drill = Drill(folder, last, plan)
        drill.begin()
        drill.play()
        return _outcome(drill, folder, stopwatch_s() - began_s)


def _outcome(drill: Drill, folder: Path, wall_s: float) -> Outcome:
    record, copy = folder / "command.jsonl", folder / "spare.jsonl"
    history = read(record)
    taken = [event for event in history.events if isinstance(event, DeliveryTaken | DeliveryRefused)]
    assert drill.site.coordinator is not None
    state = drill.site.coordinator.incident.session.state
    return Outcome(
        closed=state.closed,
        steps=state.steps_confirmed,
        records=len(history.records),
        digest=history.chain,
        copy_digest=read(copy).chain,
        same_bytes=record.read_bytes() == copy.read_bytes(),
        verified=verify(history) is None,
        kept={name: len(station.outbox) for name, station in drill.site.stations.items()},
        decided={name: [(one.seq, one.heard) for one in taken if one.station == name] for name in ROLES},
        refused=[f"{one.station}: {one.heard}: {one.reason}" for one in taken if isinstance(one, DeliveryRefused)],
        late=sum(one.at_ms - one.said_ms > 10_000 for one in taken if isinstance(one, DeliveryTaken)),
        canisters=len(state.canisters_ms),
        cut_off_told=sum("cut off" in text for text in drill.site.players[drill.plan.cut].said),
        never_said=sorted(
            {event.heard for event in history.events if isinstance(event, StepConfirmed) and event.by in ROLES}
            - set(drill.said)
        ),
        said=sum(drill.said.values()),
        virtual_s=drill.clock.now_ms() / 1000,
        wall_s=wall_s,
    )


def places(lines: Sequence[Line], text: str) -> Iterator[int]:
    """Where a line stands."""
    return (place for place, line in enumerate(lines) if line.text == text)


def main() -> int:
    """The whole drill: killed before phrase 20 and 85, station "one" cut off from the first panel on."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else None
    lines, _fan = drill_lines()
    panel = next(places(lines, "panel one standing"))
    with tempfile.TemporaryDirectory() as folder:
        full = next(places(lines, "canister is full"))
        found = run(Path(folder), Plan(most=count, kills=(20, 85), cut_at=panel, rest=(panel + 3,), bleed=(full,), told=True))
    for name in Outcome.__dataclass_fields__:
        value = getattr(found, name)
        print(f"{name}: {[len(value[key]) for key in value] if name == 'decided' else value}")
    whole = all([n + 1 for n in range(found.kept[name])] == [seq for seq, _words in found.decided[name]] for name in ROLES)
    print(f"every kept command decided once and in order: {whole}")
    return 0 if whole and found.same_bytes and found.verified and not found.never_said else 1


if __name__ == "__main__":
    sys.exit(main())
