"""A stream that the sound server moves to another device is told, and so is its way back."""

from collections.abc import Mapping
from typing import Any

from assistant.inputs import Part
from assistant.sound_server import KINDS, Streams

MICROPHONE, SPEAKER = KINDS
OWN = {"application.process.id": "77"}


class FakeServer:
    """Two microphones and a stream of ours on one of them; somebody else's on the other."""

    def __init__(self) -> None:
        self.at = 1
        self.titles = {1: "Headset", 2: "Webcam", 3: "Headset"}
        self.answers = True

    def __call__(self, what: str) -> list[Mapping[str, Any]] | None:
        """The list."""
        if not self.answers:
            return None
        if what == "sources":
            return [{"index": number, "name": f"mic.{number}", "description": title} for number, title in self.titles.items()]
        if what == "source-outputs":
            others = {"index": 9, "source": 2, "properties": {"application.process.id": "5"}}
            return [others, *([{"index": 7, "source": self.at, "properties": OWN}] if self.at else [])]
        return []


def test_a_move_and_the_way_back_are_told_once() -> None:
    """From the headset to the webcam, on to another, and home: each change is one loss or one return."""
    server = FakeServer()
    streams = Streams(77, server)
    told: list[list[Part]] = []
    for at in (1, 1, 2, 2, 0, 3, 1):
        server.at = at
        told.append(streams.look(MICROPHONE))
    part = "chosen microphone"
    assert [
        [],
        [],
        [Part(part, works=False, detail="The sound server listens to Webcam instead of Headset.")],
        [],
        [],
        [
            Part(part, works=True, detail="The sound server listens to Headset now."),
            Part(part, works=False, detail="The sound server listens to mic.3 instead of mic.1."),
        ],
        [Part(part, works=True, detail="The sound server listens to mic.1 now.")],
    ] == told


def test_nothing_is_told_without_an_answer_or_a_stream() -> None:
    """A server that is silent, and a run without a loudspeaker."""
    server = FakeServer()
    streams = Streams(77, server)
    assert [] == streams.look(SPEAKER)
    server.answers = False
    assert [] == streams.look(MICROPHONE)
