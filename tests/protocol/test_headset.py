"""The radio check: what was measured at a microphone becomes a verdict, an answer and a row that stays."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given

from protocol import commands as cmd
from protocol import events as ev
from protocol.delivery import Delivery, Link
from protocol.errors import HistoryError
from protocol.events import Urgency
from protocol.headset import (
    CLIPPED_SHARE,
    ENOUGH_DB,
    LITTLE_DB,
    QUIET_DBFS,
    SPOKEN,
    WRITTEN,
    Headset,
    Sound,
    Verdict,
    figures,
    verdict_of,
)
from protocol.rules.headsets import ASK_FOR_CHECK
from protocol.spoken_texts import fixed_texts
from protocol.wire import command_from, event_from, to_plain
from tests.books import shipped_book
from tests.drills import VISIBLE
from tests.sound_levels import SOUNDS
from tests.story import Story, kinds, only, sentences, walked_to

BOOK = shipped_book()
INSIDE, BOTH = cmd.Role.INSIDE, cmd.Role.BOTH
CLEAR = Sound(-20.0, -45.0, -6.0, 0.0)
FAINT = replace(CLEAR, speech_dbfs=-50.0, floor_dbfs=-80.0)
DIN = replace(CLEAR, floor_dbfs=-20.5)


def origin(sound: Sound | None = None, name: str = "crew", role: cmd.Role = BOTH) -> cmd.Origin:
    """A headset where "radio check" was heard."""
    return cmd.Origin(name, role, "voice", "radio check", 0.9, sound=sound)


def check(story: Story, sound: Sound | None, name: str = "crew", role: cmd.Role = BOTH) -> tuple[ev.Event, ...]:
    """Say it."""
    return story.do(cmd.Ask(story.now + 1_000, origin(sound, name, role), cmd.Query.RADIO_CHECK))


def begin(story: Story, name: str = "crew") -> tuple[ev.Event, ...]:
    """The headset is heard for the first time."""
    return story.do(cmd.BeginHearing(story.now + 1_000, cmd.Origin(name, BOTH)))


# ----------------------------------------------------------------------------------------------------------- verdict


@pytest.mark.parametrize(
    ("sound", "verdict"),
    [
        (CLEAR, Verdict.GOOD),
        (replace(CLEAR, clipped_share=CLIPPED_SHARE), Verdict.GOOD),
        (replace(CLEAR, clipped_share=CLIPPED_SHARE + 1e-5), Verdict.LOUD),
        (replace(DIN, clipped_share=0.5), Verdict.LOUD),
        (replace(CLEAR, speech_dbfs=QUIET_DBFS, floor_dbfs=-80.0), Verdict.GOOD),
        (replace(CLEAR, speech_dbfs=QUIET_DBFS - 0.1, floor_dbfs=-80.0), Verdict.QUIET),
        (replace(CLEAR, speech_dbfs=-50.0, floor_dbfs=-50.0), Verdict.QUIET),
        (replace(CLEAR, floor_dbfs=-30.5), Verdict.GOOD),
        (replace(CLEAR, floor_dbfs=-30.4), Verdict.RAISE),
        (replace(CLEAR, floor_dbfs=-24.8), Verdict.RAISE),
        (replace(CLEAR, floor_dbfs=-24.7), Verdict.NOISY),
        (DIN, Verdict.NOISY),
        (replace(CLEAR, floor_dbfs=-10.0), Verdict.NOISY),
        (replace(CLEAR, floor_dbfs=None), Verdict.UNMEASURED),
        (replace(FAINT, floor_dbfs=None), Verdict.QUIET),
    ],
)
def test_the_verdict_is_plain(sound: Sound, verdict: Verdict) -> None:
    """Clipping first, then a faint voice, then the noise: 10.4 dB together are 10 dB of voice alone, 4.8 are 3."""
    assert verdict is verdict_of(sound)


def test_voice_and_noise_are_told_apart_by_their_powers() -> None:
    """Ten times the noise's power is nine of voice (9.54 dB); no more than the noise is -20 dB, the least there is."""
    assert pytest.approx(9.542, abs=0.001) == replace(CLEAR, floor_dbfs=-30.0).snr_db
    assert pytest.approx(0.0, abs=0.001) == replace(CLEAR, floor_dbfs=-23.0103).snr_db
    assert pytest.approx(-20.0) == replace(CLEAR, floor_dbfs=-20.0).snr_db == replace(CLEAR, floor_dbfs=-1.0).snr_db
    assert replace(CLEAR, floor_dbfs=None).snr_db is None


def test_more_noise_is_never_a_better_verdict() -> None:
    """From quiet to din the verdict goes from good over raise to noisy and never back."""
    order = [Verdict.GOOD, Verdict.RAISE, Verdict.NOISY]
    places = [order.index(verdict_of(replace(CLEAR, floor_dbfs=-60.0 + step / 2))) for step in range(120)]
    assert all(before <= after for before, after in pairwise(places))
    assert {0, 1, 2} == set(places)
    assert LITTLE_DB < ENOUGH_DB


@given(SOUNDS)
def test_whatever_is_measured_has_a_verdict_in_words(sound: Sound) -> None:
    """To be spoken, to be read, and with its figures."""
    verdict = verdict_of(sound)
    assert SPOKEN[verdict]
    assert WRITTEN[verdict]
    assert figures(sound).startswith("Speech -") or "Speech 0" in figures(sound)


@pytest.mark.parametrize(
    "wrong",
    [{"speech_dbfs": 3.0}, {"floor_dbfs": float("nan")}, {"peak_dbfs": float("-inf")}, {"clipped_share": 1.5},
     {"speech_dbfs": 1e308}],
)  # fmt: skip
def test_a_level_that_is_none_is_refused(wrong: dict[str, float]) -> None:
    """From a record or a network: by name, like everything that is not what it says."""
    with pytest.raises(ValueError, match="dBFS"):
        replace(CLEAR, **wrong)
    plain = to_plain(ev.RadioChecked(1, "crew", "both", CLEAR, Verdict.GOOD))
    with pytest.raises(HistoryError, match="RadioChecked: sound"):
        event_from({**plain, "sound": {**plain["sound"], **wrong}})


# ------------------------------------------------------------------------------------------------------------- rules


@pytest.mark.parametrize(
    ("sound", "answer"),
    [
        (CLEAR, "Loud and clear."),
        (replace(CLEAR, clipped_share=0.1), "Too loud. Move the microphone away from the mouth."),
        (FAINT, "Too quiet. Raise the boom to the mouth."),
        (replace(CLEAR, floor_dbfs=-27.0), "Heard, with much noise. Raise the boom to the mouth and speak up."),
        (DIN, "Too noisy for voice. Use the board."),
        (replace(CLEAR, floor_dbfs=None),
         "Heard, but the noise was not measured. Wait five seconds, then say, radio check."),
    ],
)  # fmt: skip
def test_a_radio_check_is_answered_by_what_was_measured(sound: Sound, answer: str) -> None:
    """On record first, then said to the side that asked."""
    story = walked_to(BOOK, VISIBLE, "boards")
    checked, said = check(story, sound, role=INSIDE)
    assert ev.RadioChecked(story.now, "crew", "inside", sound, verdict_of(sound)) == checked
    assert isinstance(said, ev.Said)
    assert ("inside", Urgency.ANSWER, answer) == (said.to, said.urgency, said.text)
    assert Headset("crew", "inside", story.now, sound) == story.state.headset("crew")
    assert answer in fixed_texts(BOOK)


def test_without_a_measurement_it_is_answered_as_ever() -> None:
    """Typed, or in a record from before: one sentence, and no row says what nobody measured."""
    story = walked_to(BOOK, VISIBLE, "boards")
    assert ["Said"] == kinds(check(story, None))
    assert ["Loud and clear."] == sentences(story.events)[-1:]
    assert () == story.state.headsets


def test_a_command_from_before_still_means_the_same() -> None:
    """Its origin has no measurement; what it is decided to is what it was."""
    plain = to_plain(cmd.Ask(1, origin(), cmd.Query.RADIO_CHECK))
    del plain["origin"]["sound"]
    assert cmd.Ask(1, origin(), cmd.Query.RADIO_CHECK) == command_from(plain)


def test_the_last_check_of_each_headset_stands() -> None:
    """Another headset's check is a row of its own; the same one's takes the place of the one before."""
    story = Story(BOOK)
    check(story, DIN, "two")
    check(story, CLEAR, "one")
    check(story, CLEAR, "two")
    assert [("one", CLEAR), ("two", CLEAR)] == [(one.name, one.sound) for one in story.state.headsets]


def test_a_headset_that_is_heard_is_asked_once() -> None:
    """That headset alone, as a prompt; the words of the step stay the last that its side was told."""
    story = Story(BOOK)
    before = story.state.last_said
    begun, said = begin(story)
    assert ev.HearingBegun(story.now, "crew", "both") == begun
    assert isinstance(said, ev.Said)
    assert ("crew", Urgency.PROMPT, ASK_FOR_CHECK) == (said.station, said.urgency, said.text)
    assert before == story.state.last_said
    assert Headset("crew", "both", story.now) == story.state.headset("crew")
    assert () == begin(story)
    assert ASK_FOR_CHECK in fixed_texts(BOOK)


def test_a_headset_that_was_checked_is_not_asked_again() -> None:
    """As after `resume`."""
    story = Story(BOOK)
    check(story, CLEAR)
    assert () == begin(story)


def test_nobody_is_asked_in_an_emergency_or_while_work_is_held() -> None:
    """The headset is on record as not checked all the same."""
    for words in ("mayday mayday mayday", "hold all work"):
        story = walked_to(BOOK, VISIBLE, "boards")
        story.say(words)
        assert ["HearingBegun"] == kinds(begin(story))
        assert Headset("crew", "both", story.now) == story.state.headset("crew")


def test_a_closed_incident_asks_nobody() -> None:
    """There is nothing left to say."""
    assert () == begin(Story(BOOK).say_all(VISIBLE))


def test_where_several_share_an_incident_each_headset_has_its_own_answer() -> None:
    """The other hears neither question nor answer."""
    story = Story(BOOK)
    for name in ("one", "two"):
        story.do(cmd.ReportStation(story.now, cmd.PROGRAM, name, BOTH, Link.UP))
    came = replace(origin(DIN, "one"), delivery=Delivery("s", 1, story.now))
    events = story.do(cmd.Ask(story.now, came, cmd.Query.RADIO_CHECK))
    assert ["DeliveryTaken", "RadioChecked", "Said"] == kinds(events)
    assert ["one"] == [said.station for said in only(events, ev.Said)]


def test_a_drill_that_is_put_back_keeps_what_was_measured() -> None:
    """The headset is as it is now, whatever the drill pretends."""
    story = Story(BOOK)
    story.do(cmd.BeginDrill(story.now, cmd.PROGRAM, "x", "X"))
    story.say("one person trapped")
    check(story, DIN)
    story.do(cmd.RewindDrill(story.now, cmd.Origin("trainer"), "people"))
    assert "people" == story.step
    assert [DIN] == [one.sound for one in story.state.headsets]
