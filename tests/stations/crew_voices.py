"""What the crew of a drill by voice says and hears with: lines cut out of the rehearsal, microphones, wires that break."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import soundfile

from assistant.clock import ManualClock
from assistant.hearing.blocks import BLOCK_S, RATE, Block, Samples
from assistant.inputs import Part
from assistant.stations.link import Came, MqttWire

FIXTURES = Path(__file__).parents[2] / "audio_fixtures"
SEATS = {"one": "one", "two": "two", "officer": "officer", "tender": "officer", "commander": "officer"}
EDGE_S = 0.25


@dataclass(frozen=True)
class Line:
    """One phrase of the drill, with every way in which it was recorded."""

    text: str
    seat: str
    takes: tuple[Samples, ...]


def drill_lines() -> tuple[list[Line], Samples]:
    """The phrases in order, and some seconds of the fan alone."""
    sound, rate = soundfile.read(FIXTURES / "drill.flac", dtype="int16")
    assert rate == RATE
    rows = json.loads((FIXTURES / "drill.json").read_text())["lines"]
    lines: dict[int, Line] = {}
    for row in rows:
        cut = sound[round((row["start_s"] - EDGE_S) * RATE) : round((row["end_s"] + EDGE_S) * RATE)]
        known = lines.get(row["phrase"])
        seat = known.seat if known else SEATS[row["by"]]
        lines[row["phrase"]] = Line(row["text"], seat, (*(known.takes if known else ()), cut))
    spoken = [replace(line, takes=_takes(line, lines.values())) for line in lines.values()]
    return spoken, sound[RATE : 14 * RATE]


def _takes(line: Line, lines: Iterable[Line]) -> tuple[Samples, ...]:
    """Its own first, then every other time that the same words were said at that seat: nobody repeats a sound exactly."""
    others = [other for other in lines if other is not line and (other.text, other.seat) == (line.text, line.seat)]
    return (*line.takes, *(take for other in others for take in other.takes))


@dataclass
class Ear:
    """A microphone: the fan, and whatever is said in front of it."""

    fan: Samples
    place: int = 0
    saying: Samples | None = None
    at: int = 0
    clock: ManualClock = field(default_factory=ManualClock)

    def poll(self, now_ms: int) -> tuple[Sequence[Block], Sequence[Part]]:
        """The next block."""
        size = round(BLOCK_S * RATE)
        start = self.place * size % (len(self.fan) - size)
        block = self.fan[start : start + size]
        self.place += 1
        if self.saying is not None:
            said = self.saying[self.at : self.at + size]
            self.at += size
            block = np.concatenate([said, block[len(said) :]])
            if self.at >= len(self.saying):
                self.saying = None
        return [Block(block, now_ms / 1000 - BLOCK_S)], []

    def hear(self, samples: Samples) -> None:
        """Somebody speaks."""
        self.saying, self.at = samples, 0

    def close(self) -> None:
        """Nothing to let go of."""


class Cuttable:
    """A wire that can lose everything in both directions, as a radio link behind steel does."""

    def __init__(self, wire: MqttWire) -> None:
        self._wire = wire
        self._blocked = False

    @property
    def up(self) -> bool:
        """Whether the broker answers."""
        return self._wire.up and not self._blocked

    def block(self) -> None:
        """Nothing passes."""
        self._blocked = True

    def clear(self) -> None:
        """Everything passes; what came meanwhile is gone."""
        if self._blocked:
            self._wire.take()
        self._blocked = False

    def send(self, topic: str, payload: bytes, *, keep: bool = False, sure: bool = True) -> None:
        """Send, or lose."""
        if not self._blocked:
            self._wire.send(topic, payload, keep=keep, sure=sure)

    def take(self) -> list[Came]:
        """What came, or nothing."""
        came = self._wire.take()
        return [] if self._blocked else came

    def close(self) -> None:
        """Say goodbye."""
        self._wire.close()
