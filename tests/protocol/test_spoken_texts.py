"""What can be made ready to be spoken before a run."""

from protocol.events import Said, TimerExpired
from protocol.spoken_texts import alarm_texts, fixed_texts
from tests.books import shipped_book
from tests.drills import VISIBLE, readings
from tests.story import MINUTE, Story

BOOK = shipped_book()
ENTERED = VISIBLE.index("team is in the bin") + 1


def test_every_sentence_of_a_clock_is_ready_for_four_hours() -> None:
    """Nobody waits for the speech engine when a clock runs out: roll calls, work periods, old air, elapsed time."""
    story = Story(BOOK).say_all(VISIBLE[:ENTERED])
    ready = set(fixed_texts(BOOK))
    story.wait(story.now + 3 * MINUTE)
    story.say_all(readings())
    story.wait(240 * MINUTE)
    at_ms = {event.at_ms for event in story.events if isinstance(event, TimerExpired)}
    said = [event.text for event in story.events if isinstance(event, Said) and event.at_ms in at_ms]
    assert 100 < len(said)
    assert [] == [text for text in said if text not in ready]


def test_every_alarm_is_among_them() -> None:
    """What is kept at hand is made ready too."""
    assert set() == set(alarm_texts(BOOK)) - set(fixed_texts(BOOK))
