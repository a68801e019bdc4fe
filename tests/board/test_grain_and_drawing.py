"""Grain in numbers and in the drawing: to scale, and moving with panels and levels."""

from decimal import Decimal

import pytest

from assistant.board.drawing import DRIVEN, PANELS_IN, PANELS_OUT, bin_shape, drawing
from assistant.board.grain_card import useful
from protocol import commands as cmd
from protocol.balance import leak
from protocol.estimates.body import MARK_FRACTIONS, Mark
from protocol.remaining import left_to_take_out
from protocol.scene import Scene
from protocol.units import BUSHEL_M3, convert
from tests.board.tellings import Told, told_to
from tests.books import shipped_book
from tests.drills import COVERED, VISIBLE
from tests.story import MINUTE, origin_of

FOOT = 0.3048


def counted(story: Told, *calls: str, minutes: float = 3) -> Told:
    """Calls made some minutes apart."""
    for words in calls:
        story.say(words, at=story.now + round(minutes * MINUTE))
    return story


def test_the_steps_that_move_panels_are_in_the_shipped_procedure() -> None:
    """The drawing hangs on three step names; all exist, and two are repeated once for each panel."""
    steps = {step.id: step for step in shipped_book().procedure.steps}
    assert {PANELS_IN, PANELS_OUT, DRIVEN} <= set(steps)
    assert "panels" == steps[PANELS_IN].repeat == steps[PANELS_OUT].repeat


def test_left_is_what_the_estimate_says_with_its_range() -> None:
    """Value and range are those of the estimate; what is shown is rounded and holds the range."""
    story = counted(told_to(VISIBLE, "chest_clear"), "grain at chest")
    left = left_to_take_out(story.scene())
    card = story.shown.grain
    assert card.volume is not None
    assert (left.volume.value, left.volume.low, left.volume.high) == (card.volume.value, card.volume.low, card.volume.high)
    assert useful(left.volume, "us") == (card.volume.shown, card.volume.range)
    low, high = (float(end) for end in card.volume.range.removesuffix(" bu").split(" to "))
    assert low <= convert(left.volume.low, BUSHEL_M3) <= convert(left.volume.high, BUSHEL_M3) <= high


def test_without_a_level_there_is_a_reason_and_no_number() -> None:
    """Before any level is called nothing is guessed."""
    card = told_to(VISIBLE, "vacuum_ready").shown.grain
    assert (None, None, None) == (card.volume, card.canisters, card.finish)
    assert "No grain level has been called" in card.why


def test_a_finish_is_predicted_from_the_crews_own_calls_and_waits_through_a_hold() -> None:
    """With canisters and levels there is a range of time; a hold adds nothing to the time spent."""
    story = counted(told_to(VISIBLE, "chest_clear"), "grain at chest", "canister is full", "canister is full")
    finish = story.shown.grain.finish
    assert finish is not None
    assert 0 < finish.low < finish.value < finish.high
    story.do(cmd.Hold(story.now, origin_of(cmd.Role.OUTSIDE)))
    story.wait(story.now + 20 * MINUTE)
    after = story.shown.grain.finish
    assert after is not None
    assert finish.value == pytest.approx(after.value, rel=1e-9)


def test_a_ring_that_leaks_is_told() -> None:
    """Canister after canister while the level stands still is a leak; the words come from the mass balance."""
    calls = ["grain at chest", *(["canister is full"] * 4 + ["grain at chest"]) * 4]
    shown = counted(told_to(VISIBLE, "chest_clear"), *calls).shown
    assert "leak" == shown.grain.leak
    assert shown.grain.leak_words.startswith("Warning.")
    assert "By the count the ring leaks" in {row.title for row in shown.alarms}


def test_a_tight_ring_raises_nothing() -> None:
    """Levels that fall with the canisters, as the ring's area says, are no leak and no alarm."""
    shown = counted(
        told_to(VISIBLE, "chest_clear"), "grain at chest", "canister is full", "grain at hip bone", "canister is full",
        "canister is full", "grain at knees",
    ).shown  # fmt: skip
    assert "leak" != shown.grain.leak
    assert "By the count the ring leaks" not in {row.title for row in shown.alarms}


def test_heights_are_those_of_the_person_assumed() -> None:
    """The middle of the assumed range stands 1.75 m; marks are at the published fractions (Drillis and Contini 1966)."""
    picture = counted(told_to(VISIBLE, "chest_clear"), "grain at waist").shown.drawing
    assert 1.75 == pytest.approx(picture.height_m)
    assert picture.inside is not None
    assert picture.outside is not None
    assert MARK_FRACTIONS[Mark.WAIST] * 1.75 == pytest.approx(picture.inside.height_m, abs=1e-3)
    assert MARK_FRACTIONS[Mark.CHEST] * 1.75 == pytest.approx(picture.outside.height_m, abs=1e-3)


def test_the_ring_goes_down_as_it_is_reported() -> None:
    """By hand, driven, reported short, reported below the knees: the lower edge follows, and each says how it is known."""
    edges = []
    story = told_to(VISIBLE, "panel_set")
    assert story.shown.drawing.ring is None
    story.say("panel one standing")
    edges.append(_ring(story))
    for words in ("panel two standing", "panel three standing", "panel four standing", "every joint is fastened"):
        story.say(words)
    story.say("the ring is driven down")
    edges.append(_ring(story))
    story.say_all(("ring stops too high", "affirmative"))
    short = _ring(story)
    story.say_all(("the ring is driven down", "well below the kneecaps", "affirmative"))
    edges.append(_ring(story))
    bottoms = [edge[0] for edge in edges]
    assert sorted(bottoms, reverse=True) == bottoms
    knees = MARK_FRACTIONS[Mark.KNEES] * 1.75
    assert bottoms[-1] < knees < short[0]
    assert 4 == len({words for _bottom, words in [*edges, short]})
    assert "not measured" in edges[-1][1]


def test_a_panel_is_as_wide_and_long_as_the_house_says() -> None:
    """Two by five feet, to scale: the ring's wall is five feet high and the square two feet across."""
    ring = told_to(VISIBLE, "vacuum_ready").shown.drawing.ring
    assert ring is not None
    assert 5 * FOOT == pytest.approx(ring.top_m - ring.bottom_m, abs=1e-6)
    assert 2 * FOOT == pytest.approx(ring.width_m, abs=1e-6)


def test_panels_come_and_go_one_by_one() -> None:
    """Each panel set stands, each panel recovered is out, in the order in which the crew said so."""
    story = told_to(VISIBLE, "panel_out")
    story.say("panel two recovered")
    assert [(1, True), (2, False), (3, True), (4, True)] == [
        (panel.number, panel.stands) for panel in story.shown.drawing.panels
    ]
    assert "taken out" == story.shown.drawing.panels[1].words


def test_an_emergency_leaves_the_panels_standing() -> None:
    """While an emergency is answered the drawing still shows the two panels that stand."""
    story = told_to(VISIBLE, "panel_set")
    story.say_all(("panel one standing", "panel two standing"))
    story.raise_emergency("mayday")
    assert 2 == sum(panel.stands for panel in story.shown.drawing.panels)


def test_stepping_back_takes_the_panels_back() -> None:
    """After "go back one step" the drawing shows the ring as the state has it."""
    story = told_to(VISIBLE, "joined")
    story.say("go back one step")
    assert 0 == sum(panel.stands for panel in story.shown.drawing.panels)


def test_a_person_free_or_unseen_is_not_drawn_as_held() -> None:
    """Nobody is drawn in the grain before the person is visible or after the person is free."""
    assert "unseen" == told_to(COVERED, "mark_point").shown.drawing.person
    assert "free" == told_to(VISIBLE, "person_out").shown.drawing.person


def test_a_bin_is_drawn_to_scale_in_its_own_units() -> None:
    """Thirty feet is 9.144 m; without a site card no bin is drawn."""
    story = told_to(VISIBLE, "boards")
    shape = bin_shape("North bin", 30, 22, "us")
    assert 9.144 == pytest.approx(shape.diameter_m)
    assert "North bin: 30 ft across" == shape.words
    assert shape == drawing(Scene(story.book, story.state, story.now), shape).bin
    assert story.shown.drawing.bin is None


def test_the_picture_is_also_a_sentence() -> None:
    """Who cannot see the drawing hears person, levels, panels and ring."""
    words = counted(told_to(VISIBLE, "chest_clear"), "grain at waist").shown.drawing.words
    for part in ("held in the grain", "Outside: chest", "Inside: waist", "4 of 4 panels stand", "below the knees"):
        assert part in words


def _ring(story: Told) -> tuple[float, str]:
    ring = story.shown.drawing.ring
    assert ring is not None
    return ring.bottom_m, ring.words


def passed(story: Told) -> None:
    """The officer passes the step that stands."""
    story.do(cmd.Override(story.now, origin_of(cmd.Role.OUTSIDE), story.step, "ordered by command"))


def test_panels_passed_without_word_are_not_drawn_as_standing() -> None:
    """Two panels confirmed, the step passed: two stand in the drawing, and it says which nobody confirmed."""
    story = told_to(VISIBLE, "panel_set")
    story.say("panel one standing")
    story.say("panel two standing")
    passed(story)
    shown = story.shown.drawing
    assert [True, True, False, False] == [panel.stands for panel in shown.panels]
    assert "Panels 3, 4: passed by the officer, not confirmed by the crew, drawn as before." == shown.panels_words
    story.say("go back one step")
    assert "" == story.shown.drawing.panels_words


def test_a_ring_whose_driving_was_passed_is_drawn_as_pushed_in_by_hand() -> None:
    """Nothing sinks in the drawing because a button was pressed."""
    story = told_to(VISIBLE, "driven")
    before = story.shown.drawing.ring
    passed(story)
    after = story.shown.drawing.ring
    assert before is not None
    assert after is not None
    assert (before.bottom_m, True) == (after.bottom_m, "not confirmed by the crew" in after.words)


def test_grain_outside_is_drawn_as_called_once_it_was_called() -> None:
    """With lengths called for two panels the outside surface stands their mean above the inside one, and says so."""
    story = counted(told_to(VISIBLE, "chest_clear"), "grain at hip bone")
    before = story.shown.drawing.outside
    for panel, inches in ((1, "10"), (2, "14")):
        story.do(cmd.CallOutside(story.now, origin_of(cmd.Role.INSIDE), panel, Decimal(inches)))
    shown = story.shown.drawing
    assert before is not None
    assert shown.outside is not None
    assert shown.inside is not None
    assert "as said at size-up" in before.words
    assert shown.inside.height_m + 12 * FOOT / 12 == pytest.approx(shown.outside.height_m, abs=0.001)
    assert "Outside: from 2 of 4 panels as called, over the grain inside" == shown.outside.words


def test_the_board_and_the_voice_tell_a_leak_alike() -> None:
    """Whatever is called, the board's verdict is that of the balance which the crew hears."""
    calls = ["grain at chest", *(["canister is full"] * 4 + ["grain at chest"]) * 4]
    story = told_to(VISIBLE, "chest_clear")
    for words in calls:
        counted(story, words)
        found = story.shown.grain
        warned = story.state.fact("leak") == "warned"
        assert warned == (found.leak == "leak")
        if found.leak and not warned:
            assert leak(story.scene()).verdict == found.leak
