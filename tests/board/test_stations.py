"""The board shows each headset, its link and its battery; a lost one stands among the alarms until it is back."""

from collections.abc import Callable

import pytest

from assistant.board.alarm_rows import alarm_rows
from assistant.board.past import Past
from assistant.board.stations_card import stations_card
from protocol import commands as cmd
from protocol.delivery import Link
from protocol.headset import Sound
from protocol.scene import Scene
from tests.board.chromium import WIDE, Tablet
from tests.board.rig import Rig
from tests.books import shipped_book
from tests.story import Story

DIN = Sound(-20.0, -21.0, -6.0, 0.0)
MakeTablet = Callable[..., Tablet]


def report(story: Story, link: Link, battery: int | None = None, name: str = "one") -> None:
    """A station's link."""
    story.do(cmd.ReportStation(story.now + 1_000, cmd.PROGRAM, name, cmd.Role.INSIDE, link, battery))


def shown(story: Story) -> list[tuple[str, str, int | None, bool]]:
    """The rows."""
    scene = Scene(story.book, story.state, story.now)
    return [(row.name, row.words, row.battery, row.low) for row in stations_card(scene).rows]


def alarms(story: Story) -> list[tuple[str, str]]:
    """Grade and title of the alarms about headsets."""
    rows = alarm_rows(Scene(story.book, story.state, story.now), Past())
    return [(row.grade, row.title) for row in rows if row.key.startswith(("station:", "battery:"))]


def test_each_headset_has_its_row_with_link_and_battery() -> None:
    """Joined, battery down, lost, back: the words say it, and since when."""
    story = Story(shipped_book())
    assert [] == shown(story)
    report(story, Link.UP, 80)
    since_ms = story.now
    report(story, Link.UP, 10)
    report(story, Link.UP, name="two")
    assert [("one", "linked", 10, True), ("two", "linked", None, False)] == shown(story)
    assert since_ms == stations_card(Scene(story.book, story.state, story.now)).rows[0].since_ms
    assert [("warning", "Headset one: battery 10 %")] == alarms(story)
    report(story, Link.LOST, 10)
    assert ("one", "LOST", 10, True) == shown(story)[0]
    assert [("alarm", "Headset one lost")] == alarms(story)
    report(story, Link.LEFT, 10)
    assert [] == alarms(story)


def test_what_a_radio_check_measured_stands_beside_the_link() -> None:
    """A headset whose microphone was never heard has no such words; a bad one is marked, and its link stays its link."""
    story = Story(shipped_book())
    report(story, Link.UP, name="one")
    report(story, Link.UP, name="two")
    heard = cmd.Origin("one", cmd.Role.INSIDE, "voice", "radio check", sound=DIN)
    story.do(cmd.Ask(story.now, heard, cmd.Query.RADIO_CHECK))
    one, two = stations_card(Scene(story.book, story.state, story.now)).rows
    assert ("one", "linked", True) == (one.name, one.words, one.radio_bad)
    assert one.radio.startswith("Radio check: too noisy for voice: use the board or the keyboard. Speech -20 dBFS")
    assert ("two", "", False) == (two.name, two.radio, two.radio_bad)


def test_who_took_the_lead_is_named() -> None:
    """By order of the officer."""
    story = Story(shipped_book())
    story.do(cmd.TakeLead(1_000, cmd.Origin("officer", cmd.Role.OUTSIDE), "spare", 2, "the laptop is wet"))
    assert "spare" == stations_card(Scene(story.book, story.state, story.now)).leader


@pytest.mark.browser
def test_the_page_shows_headsets_and_the_lost_one(rig: Rig, tablet: MakeTablet) -> None:
    """In the browser: linked with its battery, then LOST among the alarms, then linked again."""
    one = tablet(WIDE)
    rig.order(cmd.ReportStation(0, cmd.PROGRAM, "one", cmd.Role.INSIDE, Link.UP, 55))
    one.waits_for("#crew", "battery 55 %")
    rig.order(cmd.ReportStation(0, cmd.PROGRAM, "one", cmd.Role.INSIDE, Link.LOST, 55))
    one.waits_for("#crew", "LOST")
    one.waits_for("#alarms", "Headset one lost")
    rig.order(cmd.ReportStation(0, cmd.PROGRAM, "one", cmd.Role.INSIDE, Link.UP, 55))
    one.waits_for("#crew", "linked")
    heard = cmd.Origin("one", cmd.Role.INSIDE, "voice", "radio check", sound=DIN)
    rig.order(cmd.BeginHearing(0, heard))
    one.waits_for("#crew", "Radio check not done")
    rig.order(cmd.Ask(0, heard, cmd.Query.RADIO_CHECK))
    one.waits_for("#crew", "Radio check: too noisy for voice: use the board or the keyboard")
    one.waits_for("#crew", "noise floor -21 dBFS")
    assert [] == one.troubles
