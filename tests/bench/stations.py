"""Stations: how many headsets one core hears, and how long a word takes with 50 stations and 200 incidents on one broker.

    python -m tests.bench stations [--seconds 60] [--stations 50] [--incidents 200]

Headsets: recognisers that share one model hear the shipped drill side by side, its own voices and fan; processor time of
this process over the length of the sound. Messages: coordinators in one process, stations in another, the broker is
Debian's; from the moment when a station has a command to the moment when the record of it has come back to it.
"""

import argparse
import multiprocessing
import os
import platform
import tempfile
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from assistant.app import load_model
from assistant.clock import SystemClock, cpu_seconds
from assistant.hearing.files import FileSource
from assistant.hearing.listener import Listener, ListenPhrase
from assistant.incident import Incident, begin
from assistant.inputs import Words
from assistant.journal import Header, Journal, whole_lines
from assistant.library import Source, make_book, source_for
from assistant.live import Loop
from assistant.session import Session
from assistant.speaking.player import NullPlayer
from assistant.station import Place, Station
from assistant.stations import follower as fl
from assistant.stations import messages as ms
from assistant.stations import relay as rl
from assistant.stations.follower import Follower
from assistant.stations.link import MqttWire, Will, broker_at
from assistant.stations.relay import Relay
from assistant.stations.remote import RemoteStation
from protocol.commands import Origin, Role
from protocol.delivery import Link
from protocol.phrases import meanings
from protocol.scene import Book, Scene
from protocol.state import State
from tests.stations.real_broker import RealBroker

SOUND_S = 240.0
DRILL = Path(__file__).parents[2] / "audio_fixtures" / "drill.flac"
EVERY_MS = 2_000
"""Each station says something so often."""
QUESTIONS = ("time check", "air status", "crew status", "what comes next", "radio check")


def main() -> None:
    """Measure both and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--stations", type=int, default=50)
    parser.add_argument("--incidents", type=int, default=200)
    parser.add_argument("--only", choices=("headsets", "messages"))
    options = parser.parse_args()
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}", flush=True)
    if options.only != "messages":
        for count in (1, 2, 4):
            headsets(count)
    if options.only != "headsets":
        messages(options.stations, options.incidents, options.seconds)


def headsets(count: int) -> None:
    """Hear the drill with several recognisers at once."""
    book = make_book(source_for())
    model = load_model(None, book)
    phrases = [ListenPhrase(row.text, row.strictness) for row in meanings(_opened(book), Role.BOTH).values()]
    listeners = [Listener(model) for _ in range(count)]
    for listener in listeners:
        listener.set_phrases(phrases)
    began, heard, sound_s = cpu_seconds(), 0, 0.0
    for block in FileSource(DRILL).blocks():
        if sound_s >= SOUND_S:
            break
        sound_s += block.duration_s
        heard += sum(len(listener.feed(block)) for listener in listeners)
    share = (cpu_seconds() - began) / sound_s
    print(f"{count} headsets: {share:.3f} of a core together, {share / count:.3f} each; "
          f"one core hears {count / share:.0f}; {heard} phrases heard", flush=True)  # fmt: skip


def _opened(book: Book) -> Scene:
    from protocol.commands import PROGRAM, OpenIncident  # noqa: PLC0415
    from protocol.history import fold  # noqa: PLC0415
    from protocol.rules import decide  # noqa: PLC0415

    return Scene(book, fold(decide(book, State(), OpenIncident(0, PROGRAM, "drill", book.digest))), 0)


def messages(stations: int, incidents: int, seconds: int) -> None:
    """Everybody works on one broker for a while."""
    with tempfile.TemporaryDirectory() as text, ExitStack() as last:
        folder = Path(text)
        broker = last.enter_context(RealBroker(folder))
        port = broker.port
        ready, done = multiprocessing.Event(), multiprocessing.Event()
        leads = multiprocessing.Process(target=_coordinators, args=(port, folder, incidents, ready, done))
        leads.start()
        last.callback(leads.join)
        last.callback(done.set)
        assert ready.wait(180), "the coordinators did not come up"
        process = broker._process
        assert process is not None
        before = _cpu_of(process.pid)
        print("coordinators are up", flush=True)
        took_ms, said, share = _stations(port, stations, incidents, seconds)
        broker_share = (_cpu_of(process.pid) - before) / seconds
        counted = sum(_decided(path) for path in folder.glob("incident-*.jsonl"))
        took_ms.sort()
        print(
            f"{stations} stations, {incidents} incidents, {seconds} s: {said} commands said, {len(took_ms)} came back, "
            f"{counted} on the records; p50 {_part(took_ms, 0.5)} ms, p95 {_part(took_ms, 0.95)} ms, "
            f"p99 {_part(took_ms, 0.99)} ms, longest {took_ms[-1]} ms; broker {broker_share:.3f} of a core, "
            f"stations' process {share:.2f}"
        )  # fmt: skip


def _part(sorted_ms: Sequence[int], share: float) -> int:
    return sorted_ms[min(len(sorted_ms) - 1, round(len(sorted_ms) * share))]


def _decided(path: Path) -> int:
    return sum(line.count(b'"is":"DeliveryTaken"') for line in path.read_bytes().splitlines())


def _cpu_of(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _name(place: int) -> str:
    return f"incident-{place}"


def _coordinators(port: int, folder: Path, count: int, ready: object, done: object) -> None:
    """Many incidents in one process, each with its own record on disk and its own connection."""
    clock = SystemClock()
    source = source_for()
    book = make_book(source)
    loops: list[Loop] = []
    relays: list[Relay] = []
    for place in range(count):
        journal = Journal.create(folder / f"{_name(place)}.jsonl", _header(source, book))
        incident = Incident(Session(book, journal), journal, clock)
        name = f"command-{place}"
        wire = MqttWire(broker_at(f"mqtt://127.0.0.1:{port}"), name, rl.topics_of(_name(place), name))
        wire.open()
        loop = Loop(incident, [], lambda _text: None)
        relay = Relay(incident, wire, (_name(place), name), whole_lines(journal.path), put=loop.put, show=print)
        loop.add(relay)
        begin(incident, "drill")
        loops.append(loop)
        relays.append(relay)
    ready.set()  # type: ignore[attr-defined]
    while not done.is_set():  # type: ignore[attr-defined]
        for loop in loops:
            loop._let_time_pass()
            loop._poll()
        clock.wait_ms(2)
    for relay in relays:
        relay.close()


def _header(source: Source, book: Book) -> Header:
    house = book.house.model_dump(mode="json")
    clock = {"kept": "recording"}
    return Header(source.name, source.texts, house, source.words, book.digest, "drill", "2026-01-01T00:00:00+00:00", clock, "bench")


def _stations(port: int, count: int, incidents: int, seconds: int) -> tuple[list[int], int, float]:
    clock = SystemClock()
    made: list[RemoteStation] = []
    for place in range(count):
        incident, name = _name(place * incidents // count), f"one-{place}"
        will = Will(ms.topic(incident, "from", name, "here"), ms.to_bytes(ms.Here(Role.BOTH, Link.LOST)))
        wire = MqttWire(broker_at(f"mqtt://127.0.0.1:{port}"), name, fl.topics_of(incident, name), will)
        wire.open()

        def make(book: Book, name: str = name) -> Station:
            return Station(Place(name, Role.BOTH), NullPlayer(name, clock), None, lambda state, at: Scene(book, state, at))

        made.append(RemoteStation(make, Follower(wire, incident, name, clock), Role.BOTH, clock, None, show=print))
    _poll_for(made, clock, 10_000)
    assert all(one.ready and one.state.stations.station(one.follower.name) for one in made), "not every station joined"
    took, said, cpu = _talk(made, clock, seconds * 1000)
    for one in made:
        one.close()
    return took, said, cpu / seconds


def _poll_for(made: Sequence[RemoteStation], clock: SystemClock, wait_ms: int) -> None:
    until_ms = clock.now_ms() + wait_ms
    while clock.now_ms() < until_ms:
        for one in made:
            one.poll()
        clock.wait_ms(5)


def _talk(made: Sequence[RemoteStation], clock: SystemClock, wait_ms: int) -> tuple[list[int], int, float]:
    """Say something at every station in turn, and note when the record of it is back."""
    began_cpu, began_ms = cpu_seconds(), clock.now_ms()
    due = {one.follower.name: began_ms + place * EVERY_MS // len(made) for place, one in enumerate(made)}
    open_since: dict[tuple[str, int], int] = {}
    took: list[int] = []
    said = 0
    while (now_ms := clock.now_ms()) < began_ms + wait_ms + 5_000 and (now_ms < began_ms + wait_ms or open_since):
        for one in made:
            name = one.follower.name
            if clock.now_ms() >= due[name] and now_ms < began_ms + wait_ms:
                due[name] += EVERY_MS
                before = len(one.outbox)
                moment_ms = clock.now_ms()
                one.put(Words(QUESTIONS[said % len(QUESTIONS)], Origin(name, Role.BOTH, "keyboard", "x"), moment_ms))
                said += 1
                if len(one.outbox) > before:
                    open_since[name, len(one.outbox)] = moment_ms
            one.poll()
            seq = one.state.stations.seq(name, one.outbox.session)
            back = [key for key in open_since if key[0] == name and key[1] <= seq]
            took.extend(clock.now_ms() - open_since.pop(key) for key in back)
        clock.wait_ms(1)
    return took, said, cpu_seconds() - began_cpu


if __name__ == "__main__":
    main()
