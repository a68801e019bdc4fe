"""The programs themselves, each station in a network of its own with loss, delay and reordering, over TLS, by keyboard."""

import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path

import pytest

from assistant.clock import SystemClock
from assistant.journal import History, read
from assistant.replay import rebuild, verify
from assistant.stations.credentials import configuration
from protocol.events import DeliveryRefused, DeliveryTaken, StationChanged
from tests.stations import weather
from tests.stations.real_broker import RealBroker, free_port
from tests.stations.weather import Namespace

pytestmark = pytest.mark.skipif(
    not weather.possible(), reason="needs root, `ip netns` and /dev/net/tun"
)
REPOSITORY = Path(__file__).parents[2]
CUT_S = float(os.environ.get("CUT_S", "12"))
"""Long enough to be told that it is cut off and to keep something; by hand two minutes: CUT_S=120."""


class Program:
    """One of our own commands, typed at."""

    def __init__(self, folder: Path, name: str, words: Sequence[str], before: Sequence[str] = ()) -> None:
        self.log = folder / f"{name}.log"
        command = [*before, sys.executable, "-m", "assistant", *words]
        environment = {**os.environ, "PYTHONPATH": str(REPOSITORY)}
        self._out = self.log.open("w")
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=self._out, stderr=subprocess.STDOUT, cwd=folder, env=environment, text=True
        )

    def type(self, line: str) -> None:
        """A line at its keyboard."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{line}\n")
        self._process.stdin.flush()

    def shows(self, text: str) -> bool:
        """Whether it has shown something."""
        return text in self.log.read_text()

    def kill(self) -> None:
        """As if its machine lost power."""
        self._process.kill()
        self._process.wait()

    def close(self) -> None:
        """End it."""
        if self._process.poll() is None:
            self._process.kill()
        self._process.wait()
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._out.close()


class Farm:
    """Broker, coordinator, standby, and three stations behind bad links."""

    def __init__(self, folder: Path, last: ExitStack) -> None:
        self.folder = folder
        self.record, self.copy = folder / "command.jsonl", folder / "spare.jsonl"
        rough = {"loss": 0.05, "delay_s": 0.02, "jitter_s": 0.08}
        self.links = {name: last.enter_context(Namespace(seed=seed, **rough)) for seed, name in enumerate(("one", "two", "officer"))}
        self._last = last
        self.port = free_port("0.0.0.0")
        names = ["one:inside", "two:inside", "officer:outside", "command:lead", "spare:standby"]
        hosts = ["--broker", "localhost"]
        for link in self.links.values():
            hosts += ["--broker", link.here]
        subprocess.run(
            [sys.executable, "-m", "assistant", "station", "credentials", str(folder / "keys"), *names, *hosts],
            check=True, cwd=REPOSITORY, capture_output=True,
        )  # fmt: skip
        settings = [f"listener {self.port} 0.0.0.0", *configuration(folder / "keys" / "broker").splitlines()[1:]]
        self.broker = last.enter_context(RealBroker(folder, self.port, settings))
        self.programs: dict[str, Program] = {}
        self.clock = SystemClock()

    def start(self, name: str, *words: str) -> Program:
        """Start one; stations in their namespaces."""
        link = self.links.get(name)
        host = link.here if link else "localhost"
        before = link.command() if link else []
        credentials = ("--credentials", str(self.folder / "keys" / name), "--broker", f"mqtts://{host}:{self.port}")
        made = Program(self.folder, name, [*words, "--keyboard", "--mute", *credentials], before)
        self._last.callback(made.close)
        self.programs[name] = made
        return made

    def history(self, path: Path | None = None) -> History:
        """The record so far."""
        return read(path or self.record)

    def until(self, holds: object, what: str, seconds: float = 40.0) -> None:
        """Wait for something."""
        assert callable(holds)
        until_ms = self.clock.now_ms() + seconds * 1000
        while not holds():
            if self.clock.now_ms() > until_ms:
                logs = "\n".join(f"--- {name}\n{one.log.read_text()[-600:]}" for name, one in self.programs.items())
                raise AssertionError(f"{what}: it did not come about\n{logs}")
            self.clock.wait_ms(100)

    def say(self, name: str, line: str) -> None:
        """Type at a station and wait until it is decided."""
        before = len(self.decided(name))
        self.programs[name].type(line)
        self.until(lambda: len(self.decided(name)) > before, f"{name}: {line}")
        self.until(lambda: self.programs[name].shows(f"{name} keyboard: {line}"), f"{name} hears of {line}")

    def decided(self, name: str) -> list[tuple[int, str]]:
        """What the record has of a station."""
        return [
            (event.seq, event.heard)
            for event in self.history().events
            if isinstance(event, DeliveryTaken | DeliveryRefused) and event.station == name
        ]

    def links_of(self, name: str) -> list[str]:
        """Every change of a station's link."""
        return [event.link.value for event in self.history().events if isinstance(event, StationChanged) and event.station == name]


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[Farm]:
    """Everyone joined."""
    with ExitStack() as last:
        made = Farm(tmp_path, last)
        made.start("command", "run", "--drill", "--no-board", "--journal", str(made.record))
        made.until(lambda: made.programs["command"].shows("to outside: Size up"), "the incident opens")
        made.start("spare", "standby", "--no-board", "--journal", str(made.copy), "--wait")
        for name in made.links:
            made.start(name, "station", "--wait")
        made.until(lambda: all(made.links_of(name)[-1:] == ["up"] for name in made.links), "the stations join")
        made.until(lambda: made.programs["command"].shows("spare keeps a copy"), "the standby copies")
        yield made


def test_three_stations_on_bad_links_with_a_dead_broker_a_partition_and_a_dead_coordinator(farm: Farm) -> None:
    """Of a hundred packets five are lost and others overtaken, and parts of the farm die: nothing lost, nothing doubled."""
    farm.say("officer", "one person trapped")
    farm.say("officer", "person in plain sight")
    farm.broker.kill()
    farm.clock.wait_ms(1_500)
    farm.broker.start()
    farm.say("officer", "affirmative")
    farm.links["one"].stop()
    farm.until(lambda: farm.programs["one"].shows("This headset is cut off"), "station one says that it is cut off")
    farm.until(lambda: farm.links_of("one")[-1] == "lost", "station one is announced as lost")
    farm.programs["one"].type("hold all work")
    farm.clock.wait_ms(round(CUT_S * 1000))
    farm.broker.kill()
    farm.clock.wait_ms(1_000)
    farm.broker.start()
    farm.say("two", "radio check")
    farm.links["one"].go_on()
    farm.until(lambda: (1, "hold all work") in farm.decided("one"), "what station one kept is decided")
    farm.say("officer", "resume all work")
    farm.until(lambda: farm.record.read_bytes() == farm.copy.read_bytes(), "the copy has every byte")
    digest = farm.history().chain
    farm.programs["command"].kill()
    farm.until(lambda: farm.programs["spare"].shows("The coordinator is not heard"), "the standby tells of it")
    farm.programs["spare"].type("/lead the coordinator died")
    farm.until(lambda: farm.programs["spare"].shows("leads from record"), "the standby leads")
    assert farm.history(farm.copy).records[len(farm.history().records) - 1].n == farm.history().records[-1].n
    farm.record = farm.copy
    farm.until(lambda: farm.programs["two"].shows("Spare leads now, by order"), "station two follows the new coordinator")
    farm.say("two", "radio check")
    history = farm.history()
    assert digest in farm.copy.read_text()
    assert verify(history) is None
    assert 2 == rebuild(history).stations.term
    for name in farm.links:
        numbers = [seq for seq, _heard in farm.decided(name)]
        assert list(range(1, len(numbers) + 1)) == numbers
    assert all(link.lost > 0 and link.overtaken > 0 for link in farm.links.values())
