"""Watches on which microphone and loudspeaker the sound server keeps this program's streams.

A sound server may move a running stream to another device by itself, for instance when the first is pulled out, and the
stream does not notice. PulseAudio's `pactl` (PipeWire has it too) tells; without it nothing is watched.
"""

import json
import shutil
import subprocess
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from assistant.inputs import Part

LOOK_EVERY_S = 1.25
"""One kind of stream at a time, so each is looked at every 2.5 s."""
ANSWER_S = 2.0


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of stream, in the words of `pactl`."""

    part: str
    streams: str
    devices: str
    device: str
    """Under this name a stream holds its device's number."""
    now: str


KINDS = (
    Kind("chosen microphone", "source-outputs", "sources", "source", "The sound server listens to"),
    Kind("chosen speaker", "sink-inputs", "sinks", "sink", "The sound server plays to"),
)


class Ask(Protocol):
    """Asks the sound server for a list."""

    def __call__(self, what: str) -> list[Mapping[str, Any]] | None:
        """The list, or None when it does not answer."""
        ...


def ask_pactl(what: str) -> list[Mapping[str, Any]] | None:
    """A list from `pactl`, or None when there is no answer in time."""
    try:
        done = subprocess.run(
            ["pactl", "-f", "json", "list", what], capture_output=True, text=True, check=True, timeout=ANSWER_S
        )
        found = json.loads(done.stdout)
    except (OSError, subprocess.SubprocessError, ValueError):
        return None
    return [row for row in found if isinstance(row, dict)] if isinstance(found, list) else None


@dataclass(frozen=True, slots=True)
class Device:
    """A microphone or loudspeaker of the sound server."""

    name: str
    title: str
    """Its own words for itself."""


class Streams:
    """Where this program's streams are, and where they were first."""

    def __init__(self, pid: int, ask: Ask = ask_pactl) -> None:
        self._pid = str(pid)
        self._ask = ask
        self._first: dict[str, Device] = {}
        self._last: dict[str, Device] = {}
        self._numbers: dict[str, object] = {}

    def look(self, kind: Kind) -> list[Part]:
        """What changed since the last look at this kind of stream."""
        now = self._device_of(kind)
        if now is None:
            return []
        first = self._first.setdefault(kind.part, now)
        before, self._last[kind.part] = self._last.get(kind.part, first), now
        if now == before:
            return []
        back = [] if before == first else [Part(kind.part, works=True, detail=f"{kind.now} {_told(now, before)} now.")]
        if now == first:
            return back
        detail = f"{kind.now} {_told(now, first)} instead of {_told(first, now)}."
        return [*back, Part(kind.part, works=False, detail=detail)]

    def _device_of(self, kind: Kind) -> Device | None:
        """The device that carries this program's stream, if that is another than at the last look and it is known."""
        own = [row for row in self._ask(kind.streams) or () if self._is_own(row)]
        number = own[-1].get(kind.device) if own else None
        if number is None or number == self._numbers.get(kind.part):
            return None
        rows = [row for row in self._ask(kind.devices) or () if row.get("index") == number]
        if not rows:
            return None
        self._numbers[kind.part] = number
        return Device(str(rows[0].get("name", "")), str(rows[0].get("description", "")))

    def _is_own(self, row: Mapping[str, Any]) -> bool:
        properties = row.get("properties")
        return isinstance(properties, dict) and properties.get("application.process.id") == self._pid


class StreamWatch:
    """Looks again and again, in a thread of its own, and reports what it finds."""

    def __init__(self, streams: Streams, report: Callable[[Part], None]) -> None:
        self._streams = streams
        self._report = report
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._work, name="sound server", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """No more."""
        self._over.set()

    def _work(self) -> None:
        while True:
            for kind in KINDS:
                if self._over.wait(LOOK_EVERY_S):
                    return
                for part in self._streams.look(kind):
                    self._report(part)


def watch_streams(pid: int, report: Callable[[Part], None]) -> StreamWatch | None:
    """Begin to watch; None on a machine without `pactl`."""
    return StreamWatch(Streams(pid), report) if shutil.which("pactl") else None


def _told(device: Device, other: Device) -> str:
    """A device's title, or its name where the title does not tell it from the other."""
    return device.title if device.title and device.title != other.title else device.name
