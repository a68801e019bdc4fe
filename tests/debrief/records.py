"""Records written for the tests of debrief and archive: told incidents on a clock that is moved by hand."""

import json
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from assistant.clock import ManualClock
from assistant.drill.director import Director
from assistant.drill.preparing import begin as begin_drill
from assistant.drill.preparing import prepare
from assistant.drill.scenarios import load_scenario
from assistant.incident import begin, open_incident
from assistant.inputs import Order
from assistant.library import source_for
from protocol import commands as cmd
from protocol.events import Event
from protocol.timers import next_deadline_ms
from tests.drills import VISIBLE, readings

PACE_MS = 6_000
MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
ENTERED = VISIBLE.index("team is in the bin") + 1
OFFICER = cmd.Origin("board", cmd.Role.OUTSIDE, "board", "override")


class Written:
    """An incident whose record is on disk; time passes as in a running program."""

    def __init__(self, path: Path, kind: str = "drill", *, opened: bool = True) -> None:
        self.path = path
        self.clock = ManualClock()
        self.incident = open_incident(source_for(), path, kind, self.clock)
        self.session = self.incident.session
        if opened:
            begin(self.incident, kind)

    def wait(self, until_ms: int) -> None:
        """Let clocks run out on the way."""
        while (due := next_deadline_ms(self.session.state)) is not None and due <= until_ms:
            self.clock.move_to(max(due, self.clock.now_ms()))
            self.session.tick(self.clock.now_ms())
        self.clock.move_to(max(until_ms, self.clock.now_ms()))

    def say(self, words: str, *, confidence: float | None = 0.93) -> tuple[Event, ...]:
        """Words from the headset, a few seconds later; they must mean something."""
        self.wait(self.clock.now_ms() + PACE_MS)
        how = "keyboard" if confidence is None else "voice"
        origin = cmd.Origin("crew", cmd.Role.BOTH, how, words, confidence)
        events = self.session.say(words, self.clock.now_ms(), origin)
        assert events is not None, f"'{words}' means nothing in step '{self.session.state.step}'"
        return events

    def say_all(self, lines: Iterable[str]) -> "Written":
        """One after the other."""
        for words in lines:
            self.say(words)
        return self

    def do(self, command: cmd.Command) -> tuple[Event, ...]:
        """A command at the present moment."""
        return self.session.submit(command)

    def close(self) -> Path:
        """Let go of the file; gives its path."""
        self.incident.journal.close()
        return self.path

    @property
    def now(self) -> int:
        """The present moment."""
        return self.clock.now_ms()


def whole_drill(path: Path) -> Path:
    """A drill from the first call to stand-down."""
    return Written(path).say_all(VISIBLE).close()


def troubled(path: Path) -> Path:
    """An incident with an override, bad air, an emergency withdrawn, a hold, a lost part, notes, and no end."""
    told = Written(path, "live")
    said = iter(VISIBLE)
    for words in said:
        if words == "nobody has pulled so far":
            break
        told.say(words)
    told.do(cmd.Override(told.now, OFFICER, told.session.state.step, "Deputy <Ward> saw it & nobody asked.", "no"))
    for words in said:
        told.say(words, confidence=None if words.startswith("rescuer") else 0.71)
        if words == "team is in the bin":
            break
    told.do(cmd.ReportPart(told.now, cmd.PROGRAM, "microphone", works=False, detail="Use the keyboard."))
    told.wait(told.now + 70_000)
    told.do(cmd.ReportPart(told.now, cmd.PROGRAM, "microphone", works=True, detail="The microphone is back."))
    told.say("rescuer is down")
    told.say("disregard emergency")
    told.say("hold all work")
    told.wait(told.now + 2 * MINUTE_MS)
    told.say("resume all work")
    told.do(cmd.Note(told.now, OFFICER, '=HYPERLINK("x") Neighbour Harlan Voss brought a second vacuum. Ünïcode: 谷物.'))
    told.say_all(["canister is full", "correction"] if told.session.state.step == "hips" else [])
    told.wait(told.now + 12 * MINUTE_MS)
    told.say("oxygen one eight decimal five")
    told.wait(told.now + MINUTE_MS)
    return told.close()


def empty(path: Path) -> Path:
    """A record that was begun, and nothing more."""
    return Written(path, opened=False).close()


def opened_only(path: Path) -> Path:
    """A record in which only the first step was asked."""
    return Written(path).close()


def torn(path: Path) -> Path:
    """A whole drill whose last line was cut off while it was written."""
    whole_drill(path)
    path.write_bytes(path.read_bytes()[:-200])
    return path


def altered(path: Path) -> Path:
    """A whole drill in which one reading was changed afterwards."""
    whole_drill(path)
    lines = path.read_bytes().split(b"\n")
    place = next(number for number, line in enumerate(lines) if b'"is":"AirRead"' in line)
    content = json.loads(lines[place])
    for event in content["events"]:
        if event["is"] == "AirRead":
            event["value"] = "20.1"
    lines[place] = json.dumps(content, separators=(",", ":")).encode()
    path.write_bytes(b"\n".join(lines))
    return path


def twelve_hours(path: Path) -> Path:
    """Twelve hours with a round of readings, roll call, person check and a canister every ten minutes."""
    told = Written(path, "live")
    told.say_all(VISIBLE[:ENTERED])
    step = VISIBLE.index("person is answering")
    told.say_all(VISIBLE[ENTERED:step])
    while told.now < 12 * HOUR_MS - 20 * MINUTE_MS:
        told.say_all([*readings(), "all accounted for", "person is answering", "canister is full"])
        told.wait(told.now + 5 * MINUTE_MS)
    told.say_all(readings())
    return told.say_all(VISIBLE[step:]).close()


def scenario(path: Path) -> Path:
    """A shipped scenario led by hand: prepared steps, injects answered and not, a pause, a trainer's note."""
    loaded = load_scenario("chest_leak")
    clock = ManualClock()
    incident = open_incident(loaded.source, path, "drill", clock)
    session, director = incident.session, Director(loaded.scenario, loaded.book, None)
    prepare(session, loaded)
    session.react_with(director.react)
    begin_drill(session, loaded, 0)

    def wait(seconds: int) -> None:
        for _ in range(seconds * 4):
            clock.wait_ms(250)
            session.tick(clock.now_ms())
            for order in director.poll(clock.now_ms()):
                assert isinstance(order, Order)
                session.submit(replace(order.command, at_ms=clock.now_ms()))

    def say(*lines: str) -> None:
        for words in lines:
            wait(6)
            origin = cmd.Origin("crew", cmd.Role.BOTH, "voice", words, 0.9)
            assert session.say(words, clock.now_ms(), origin) is not None, f"'{words}' at {session.state.step}"

    say("vacuum hose is ready", "grain at chest", "canister is full", "person is answering", "canister is full")
    wait(20)
    say("the ring is leaking")
    trainer = cmd.Origin("trainer", cmd.Role.BOTH, "keyboard")
    session.submit(cmd.TrainerNote(clock.now_ms(), trainer, "They looked at once."))
    session.submit(cmd.PauseDrill(clock.now_ms(), trainer, paused=True))
    session.submit(cmd.PauseDrill(clock.now_ms(), trainer, paused=False))
    wait(30)
    session.submit(cmd.EndDrill(clock.now_ms(), trainer, "time is up"))
    incident.journal.close()
    return path


RECORDS = {
    "drill": whole_drill, "troubled": troubled, "empty": empty, "opened": opened_only, "torn": torn,
    "altered": altered, "twelve_hours": twelve_hours, "scenario": scenario,
}  # fmt: skip
"""Every kind of record that a report must cope with."""
