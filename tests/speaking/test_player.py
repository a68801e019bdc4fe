"""Players without a device keep an exact timeline and show what cannot be heard."""

from pathlib import Path

import numpy as np
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from assistant.clock import ManualClock
from assistant.speaking import tones
from assistant.speaking.arbiter import PAUSE_MS, CutOff, Dropped, Finished, Priority, Started, Utterance
from assistant.speaking.mixdown import Mixdown
from assistant.speaking.player import NullPlayer, Player, TimelinePlayer
from assistant.speaking.tones import Tone
from tests.speaking.fake_sound import LEVEL, FakeClips


def prompt(text: str, tone: Tone | None = None) -> Utterance:
    """A step prompt whose text is its name."""
    return Utterance(text, text, Priority.PROMPT, kind="step", tone=tone)


def alarm(text: str) -> Utterance:
    """An alarm."""
    return Utterance(text, text, Priority.ALARM)


def test_each_clip_takes_its_own_duration() -> None:
    """Two prompts of 100 and 50 letters last 1.0 and 0.5 s with the pause between, whenever one looks."""
    clock = ManualClock(1000)
    player: Player = TimelinePlayer("inside", clock, FakeClips())
    one, two = prompt("a" * 100), prompt("b" * 50)
    player.say(one, two)
    assert 2000 == player.speaking_until_ms
    clock.move_to(60_000)
    second_ms = 2000 + PAUSE_MS
    expected = [Started(one, 1000), Finished(one, 2000), Started(two, second_ms), Finished(two, second_ms + 500)]
    assert expected == player.poll(60_000)


@given(st.lists(st.integers(1, 700), max_size=20))
def test_looking_often_changes_nothing(steps: list[int]) -> None:
    """The timeline is the same for every rhythm of polling."""

    def told(moments: list[int]) -> list[object]:
        clock = ManualClock()
        player = TimelinePlayer("inside", clock, FakeClips())
        player.say(prompt("a" * 100), prompt("b" * 50))
        player.say(Utterance("late", "late", Priority.INFO, expires_at_ms=1500))
        events: list[object] = []
        for moment in moments:
            clock.wait_ms(moment)
            events += player.poll(clock.now_ms())
        clock.move_to(20_000)
        return events + list(player.poll(20_000))

    assert told([]) == told(steps)


def test_the_session_can_jump_to_the_next_change() -> None:
    """`next_change_ms` leads from moment to moment until all is said."""
    clock = ManualClock()
    player = TimelinePlayer("inside", clock, FakeClips())
    player.say(prompt("a" * 100), prompt("b" * 50))
    moments = []
    while (moment := player.next_change_ms) is not None:
        clock.move_to(moment)
        moments.append(moment)
        player.poll(moment)
    assert [1000, 1000 + PAUSE_MS, 1500 + PAUSE_MS] == moments


def test_an_alarm_cuts_in_at_its_own_millisecond_in_the_saved_audio(tmp_path: Path) -> None:
    """In the file the prompt ends and the alarm begins at the very sample of the moment it was raised."""
    clock = ManualClock(100)
    with Mixdown(tmp_path / "m.wav", ["inside"]) as mix:
        player = TimelinePlayer("inside", clock, FakeClips(missing=("a",)), mix.add)
        player.say(prompt("p" * 100))
        clock.move_to(637)
        player.say(Utterance("a", "a", Priority.ALARM, tone=Tone.ALARM))
        clock.move_to(10_000)
        events = player.poll(10_000)
    heard, _ = soundfile.read(tmp_path / "m.wav", dtype="int16")
    cut = 637 * 16
    assert [Started, CutOff, Started, Finished, Started, Finished] == [type(event) for event in events]
    assert 0 == np.abs(heard[: 100 * 16]).max()
    assert LEVEL == heard[cut - 81]
    assert np.array_equal(tones.tone(Tone.ALARM), heard[cut : cut + tones.tone(Tone.ALARM).size])


def test_without_an_engine_the_text_still_takes_its_time() -> None:
    """A player without clips reports the same story, marked as not audible, at 150 words a minute."""
    clock = ManualClock()
    player: Player = NullPlayer("outside", clock)
    said = prompt("all rescuers leave the bin")
    player.say(said)
    assert [Started(said, 0, audible=False), Finished(said, 2000, audible=False)] == player.poll(5000)


def test_a_text_without_a_clip_is_marked() -> None:
    """When only one clip is missing, only that one is text."""
    clock = ManualClock()
    player = TimelinePlayer("inside", clock, FakeClips(missing=("lost",)))
    player.say(prompt("lost"), prompt("found"))
    events = player.poll(5000)
    assert [False, True] == [event.audible for event in events if isinstance(event, Started)]


def test_closing_tells_what_was_not_said() -> None:
    """After `close` every utterance has had its end."""
    clock = ManualClock()
    player = TimelinePlayer("inside", clock, FakeClips())
    player.say(prompt("a" * 100), prompt("b"))
    clock.move_to(500)
    player.close()
    ends = player.poll(500)[1:]
    assert [CutOff(prompt("a" * 100), 500, "closed"), Dropped(prompt("b"), 500, "closed")] == ends
    assert player.speaking_until_ms <= 500


def test_cancelling_the_step_makes_room_for_the_next() -> None:
    """A confirmation over the prompt stops it at once and the next words follow."""
    clock = ManualClock()
    player = TimelinePlayer("inside", clock, FakeClips())
    player.say(prompt("a" * 100))
    clock.move_to(300)
    player.cancel("step")
    player.say(prompt("b"))
    assert "b" == (player.speaking and player.speaking.text)
