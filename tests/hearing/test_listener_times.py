"""When a phrase was said, by the clock of the sound that came."""

from dataclasses import replace

from assistant.hearing.files import FileSource
from assistant.hearing.listener import Heard, Listener, ListenPhrase
from assistant.hearing.recogniser import SpeechModel
from tests.hearing.test_hear import CLIPS

PHRASE = "breathing normally"


def heard_from(begin_s: float) -> Heard:
    """One phrase clip whose first block comes at a moment, heard through a fresh listener."""
    listener = Listener(SpeechModel())
    listener.set_phrases([ListenPhrase(PHRASE)])
    source = FileSource(CLIPS / "breathing_normally.flac")
    found: list[Heard] = []
    for block in source.blocks():
        found.extend(listener.feed(replace(block, start_s=block.start_s + begin_s)))
    source.close()
    (heard,) = [*found, *listener.flush()]
    return heard


def test_a_listener_started_into_a_running_incident_dates_phrases_by_the_incident() -> None:
    """After a resume the first sound comes minutes into the incident; the phrase was said then, not at its beginning."""
    at_once, later = heard_from(0.0), heard_from(600.0)
    assert abs(later.start_s - at_once.start_s - 600.0) < 0.05
    assert abs(later.end_s - at_once.end_s - 600.0) < 0.05
