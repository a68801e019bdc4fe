"""More than one person trapped: the work begins again for each, and nothing known of the last is taken for the next."""

import pytest

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas
from protocol.errors import EstimateError, TableError
from protocol.handover import handover_words
from protocol.loading import load_procedure
from protocol.remaining import left_to_take_out
from protocol.rules.advance import BIN_FACTS
from tests.books import shipped_book, shipped_texts
from tests.drills import AFFIRM, COVERED, ENTERING, PANELS_OUT, SECOND_FOUND, SEVERAL, TO_WORK, VISIBLE
from tests.protocol.emergencies import empty_the_bin, read_all
from tests.story import Story, only, origin_of, sentences

BOOK = shipped_book()
FIRST = SEVERAL[: SEVERAL.index("another person is trapped")]
TO_THE_END = VISIBLE[PANELS_OUT:]


def first_is_out() -> Story:
    """Several are trapped; the first is with the medics and the panels are out."""
    return Story(BOOK).say_all(FIRST)


def second_begun() -> Story:
    """Another one is trapped."""
    return first_is_out().say_all(("another person is trapped", AFFIRM))


def entered_again(lines: tuple[str, ...]) -> tuple[str, ...]:
    """The same, said by a crew that stayed in the bin."""
    return tuple(line for line in lines if line not in ENTERING)


def test_with_one_person_nobody_asks() -> None:
    """The straight way is as it was: after the panels everyone leaves."""
    assert "everyone_out" == Story(BOOK).say_all(VISIBLE[:PANELS_OUT]).step


@pytest.mark.parametrize("words", ["several people trapped", "number is unknown"])
def test_several_or_unknown_are_asked_after(words: str) -> None:
    """Unknown is worked as several; "nobody else" is read back before everyone leaves."""
    story = Story(BOOK).say_all((words, *VISIBLE[1:PANELS_OUT]))
    assert "anybody_else" == story.step
    assert "Is anybody else trapped in the grain?" in sentences(story.events)[-1]
    assert ["I heard, nobody else is trapped. Say, affirmative, or, negative."] == sentences(story.say("nobody else is trapped"))
    story.say(AFFIRM)
    assert "everyone_out" == story.step


@pytest.mark.parametrize("stays", [True, False], ids=["the crew stays in the bin", "the crew goes out and in again"])
def test_a_second_and_a_third_person_are_led_out(stays: bool) -> None:
    """Each is found, reached, ringed, freed and handed over; then the incident ends as always."""
    story = first_is_out()
    for _ in range(2):
        if not stays:
            story.say_all(("rescuer one is out", "rescuer two is out"))
        story.say_all(("another person is trapped", AFFIRM))
        assert "next_visible" == story.step
        story.say_all((*SECOND_FOUND, *(entered_again(TO_WORK) if stays else TO_WORK)))
        assert "anybody_else" == story.step
    story.say_all(("nobody else is trapped", AFFIRM, *TO_THE_END))
    assert story.state.closed
    assert 2 == len(only(story.events, ev.NextPersonBegun))


def test_the_lockout_stands_and_is_not_asked_for_again() -> None:
    """After size-up of the second the meter comes next; the bin is known, the person is not."""
    story = second_begun()
    assert set(dict(story.state.facts)) <= set(BIN_FACTS)
    assert ("tried", "on", "no") == tuple(story.state.fact(name) for name in ("lockout", "locks", "fumigated"))
    story.say_all(SECOND_FOUND)
    assert "meter" == story.step


def test_nothing_of_the_first_is_told_of_the_second() -> None:
    """No level, no free feet, no hand-over given: all of it has to be found out anew."""
    story = second_begun()
    assert ((), (), ()) == (story.state.levels, story.state.tapes, story.state.outside_m)
    with pytest.raises(EstimateError, match="level"):
        left_to_take_out(story.scene())
    said = handover_words(story.scene()).lower()
    assert "answering not known" in said
    assert "no line recorded" in said
    assert "feeling not asked" in said


def test_entry_is_approved_anew() -> None:
    """Whoever went out may not go in to the second person before the gate is passed again."""
    story = first_is_out().say_all(("rescuer one is out", "another person is trapped", AFFIRM))
    assert story.heard("rescuer one going in") is None
    said = sentences(story.do(cmd.MoveRescuer(story.now, origin_of(cmd.Role.OUTSIDE), 1, inside=True)))
    assert ["Rescuer one, do not enter: command has not approved entry."] == said


def test_held_since_the_first_call() -> None:
    """The second has been held all the while: the medics are told after the hour even if the first was out by then."""
    story = second_begun()
    assert 60 * 60_000 > story.now
    story.wait(60 * 60_000)
    assert any(said.startswith("Held for one hour.") for said in sentences(story.events))


def test_an_emergency_in_the_second_round_leads_back_to_where_it_was_raised() -> None:
    """The first round's entry gate is no reason to go ahead of the second's."""
    story = second_begun()
    story.say("person in plain sight")
    story.say(AFFIRM)
    story.read(Gas.OXYGEN, "18", "hatch")
    empty_the_bin(story)
    read_all(story)
    story.say_all(("nobody left in bad air", "fresh air readings are in"))
    assert "next_depth" == story.step


def test_what_the_first_brought_out_cannot_be_taken_back() -> None:
    """Going back and correction end where the second person begins."""
    story = second_begun()
    assert ["This is the first step."] == sentences(story.say("go back one step"))
    assert ["There is nothing to take back."] == sentences(story.say("correction"))


def test_a_covered_second_person_goes_through_the_openings() -> None:
    """The second question leads to the covered branch, and from there on as with the first."""
    story = second_begun().say_all(("covered by the grain", AFFIRM))
    assert "mark_point" == story.step
    assert "number is unknown" == COVERED[0]


# ------------------------------------------------------------------------------------------ a second person who is covered

TO_OPENINGS = COVERED[COVERED.index("last seen point is marked") : COVERED.index("chest deep in the grain")]
SHOWN = ("chest deep in the grain", "no sign of breathing", "nothing comes back")
STILL_LOCKED = (
    "level surface all round", "start buttons tried and dead", AFFIRM, "sentry at the control panel", "trucks parked clear of bin",
    "leave the fan running",
)  # fmt: skip


def second_shows() -> Story:
    """The second one was covered, the openings are shut, and the person shows."""
    return second_begun().say_all(("covered by the grain", AFFIRM, *TO_OPENINGS))


def visited(story: Story, since: int) -> list[str]:
    """Steps entered since that event."""
    return [event.step for event in only(story.events[since:], ev.StepEntered)]


def test_a_covered_second_person_is_not_led_through_the_whole_stop_flow_part_again() -> None:
    """After the person: grain above, lockout tried, guard, vehicles, fan; then the meter. Nothing else comes twice."""
    story = second_shows()
    since = len(story.events)
    story.say_all((*SHOWN, *STILL_LOCKED))
    assert ["breathing", "answering", "uphill", "tried", "guard", "vehicles", "fan", "meter"] == visited(story, since)


def test_a_covered_second_person_is_led_out() -> None:
    """From the meter on as ever, phosphine with it where nobody knows about fumigant, to the end of the incident."""
    story = second_shows().say_all((*SHOWN, *STILL_LOCKED))
    start, end = COVERED.index("gas meter bump tested"), COVERED.index("nobody else is trapped")
    story.say_all(("rescuer one is out", "rescuer two is out", *COVERED[start:end]))
    assert "anybody_else" == story.step
    story.say_all(("nobody else is trapped", AFFIRM, *TO_THE_END))
    assert story.state.closed


def test_a_covered_second_person_cannot_be_reached_before_the_lockout_is_tried_again() -> None:
    """The try is read back; a no leaves it where it is, and the meter is not offered before it."""
    story = second_shows().say_all((*SHOWN, "level surface all round"))
    assert "tried" == story.step
    assert story.heard("gas meter bump tested") is None
    story.say_all(("start buttons tried and dead", "negative"))
    assert "tried" == story.step


def test_going_back_over_the_short_way_leads_back_the_same_way() -> None:
    """From the lockout to the grain above, from there to the person, and forward again as before."""
    story = second_shows().say_all((*SHOWN, "level surface all round"))
    story.say_all(("go back one step", "go back one step"))
    assert "answering" == story.step
    story.say_all((SHOWN[-1], "level surface all round"))
    assert "tried" == story.step


def test_a_covered_first_person_is_led_through_all_of_it() -> None:
    """Nothing was locked before: the whole part comes, calls and all, also when several are trapped."""
    story = Story(BOOK).say_all(COVERED[: COVERED.index("gas meter bump tested")])
    steps = visited(story, 0)
    assert {"grain_kind", "fumigated", "cause", "flow_off", "locked", "tried", "medics_called", "command"} <= set(steps)


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ('to = "anybody_else" }]', 'to = "nowhere" }]', "'nowhere', which is not a step"),
        ('begins_again = "yes"', 'begins_again = "maybe"', "'maybe' is none of its answers"),
    ],
)
def test_a_detour_is_checked(old: str, new: str, why: str) -> None:
    """A detour to nowhere and an answer that nobody can give are errors at load, with the place."""
    texts = {name: text.replace(old, new) for name, text in shipped_texts().items()}
    with pytest.raises(TableError, match=why):
        load_procedure("partial_entrapment", texts)


def test_an_override_takes_the_detour_too() -> None:
    """Passing the last panel by override with several trapped still asks for the others."""
    story = Story(BOOK).say_all(FIRST[:-1])
    story.do(override_of(story))
    assert "anybody_else" == story.step


def override_of(story: Story) -> cmd.Override:
    """The officer passes the step."""
    return cmd.Override(story.now, origin_of(cmd.Role.OUTSIDE), story.step, "panel is buried")
