"""The crew's calls in the mass balance: a leak is told, an honest crew is left alone, time is a range."""

from protocol import commands as cmd
from protocol.balance import leak, log_of, time_left_sentence
from protocol.events import Said
from tests.books import shipped_book
from tests.drills import VISIBLE
from tests.story import MINUTE, Story, origin_of

WHO = origin_of(cmd.Role.BOTH)


def at_the_vacuum() -> Story:
    """The drill up to the running vacuum, grain at the chest."""
    return Story(shipped_book()).say_all(VISIBLE[: VISIBLE.index("vacuum hose is ready") + 2])


def work(story: Story, canisters: int, level: str, each_ms: int = 3 * MINUTE) -> list[str]:
    """So many canisters, one every few minutes, then a level; gives what was said about the level."""
    for _ in range(canisters):
        story.do(cmd.CountCanister(story.now + each_ms, WHO))
    events = story.do(cmd.CallLevel(story.now + 1000, WHO, level))
    return [event.text for event in events if isinstance(event, Said)]


def test_grain_that_goes_nowhere_comes_from_somewhere() -> None:
    """Ten canisters (about 19 ft3) and the level still at the ribs: the ring leaks, and that is said as a warning."""
    story = at_the_vacuum()
    said = work(story, 10, "ribs")
    assert any("The ring leaks" in text for text in said)
    assert "leak" == leak(story.scene()).verdict


def test_a_ring_that_holds_is_left_alone() -> None:
    """Chest to knees is about 67 gallons net for a 6-ft person in a 2 by 2 ft ring: four 16-gallon drums are no leak."""
    story = at_the_vacuum()
    said = [text for count, level in ((1, "ribs"), (1, "waist"), (1, "hips"), (2, "knees")) for text in work(story, count, level)]
    assert not any("leaks" in text for text in said)


def test_a_hold_is_no_work() -> None:
    """Time on hold does not count towards the rate of work, but a leak goes on through it."""
    story = at_the_vacuum()
    work(story, 2, "waist")
    before = log_of(story.scene(), holds_out=True).canisters_s[-1]
    story.do(cmd.Hold(story.now, WHO))
    story.do(cmd.Resume(story.now + 30 * MINUTE, WHO))
    story.do(cmd.CountCanister(story.now + 3 * MINUTE, WHO))
    working = log_of(story.scene(), holds_out=True).canisters_s[-1] - before
    running = log_of(story.scene(), holds_out=False).canisters_s[-1] - before
    assert 30 * 60 <= running - working <= 30 * 60 + 1
    assert working < 4 * 60


def test_the_time_is_a_range_once_enough_was_called() -> None:
    """After two canisters the answer to "grain remaining" ends with a time; before that it does not."""
    story = at_the_vacuum()
    assert "" == time_left_sentence(story.scene())
    work(story, 2, "waist")
    assert "minutes" in time_left_sentence(story.scene())
