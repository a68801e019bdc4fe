"""The score: each fact is counted from the record, and nothing else is."""

from dataclasses import replace
from decimal import Decimal

import pytest

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas
from protocol.house import House
from protocol.score import Grade, Score, Tally, Targets, score
from tests.books import book_with, shipped_book
from tests.drills import COVERED, VISIBLE
from tests.story import MINUTE, PACE_MS, SECOND, Story, origin_of, walked_to

BOOK = shipped_book()
PROCEDURE = BOOK.procedure
OFFICER = origin_of(cmd.Role.OUTSIDE)
TRAINER = cmd.Origin("trainer", cmd.Role.BOTH, "keyboard")


def scored(story: Story, targets: Targets | None = None) -> Score:
    """The facts of a story."""
    return score(story.events, story.book.procedure, targets, story.commands)


@pytest.mark.parametrize("lines", [VISIBLE, COVERED], ids=["visible", "covered"])
def test_a_drill_without_a_fault_has_none(lines: tuple[str, ...]) -> None:
    """Every list of faults is empty, the counts are those of the lines, and the stages add up to the whole."""
    story = Story(BOOK).say_all(lines)
    found = scored(story)
    assert found.closed
    assert ((), (), (), (), ()) == (found.order_faults, found.refused, found.misheard, found.overrides, found.emergencies)
    assert lines.count("canister is full") == found.canisters
    assert lines.count("affirmative") == found.read_backs.asked == found.read_backs.affirmed
    assert story.now == found.duration_ms == sum(row.spent_ms for row in found.stages)
    assert story.state.steps_confirmed == found.steps_confirmed
    assert "" == found.grade


def test_time_in_a_stage_is_from_its_first_line_to_the_next_stages() -> None:
    """Stop-the-flow takes six steps, one of them read back: seven lines at the story's pace."""
    stages = {row.stage: row.spent_ms for row in scored(Story(BOOK).say_all(VISIBLE)).stages}
    assert 7 * PACE_MS == stages["stop_flow"]
    assert 3 * PACE_MS == stages["call"]


def test_every_event_can_be_counted() -> None:
    """No event makes the count fail, even out of all order: a record of any kind has a score."""
    story = Story(BOOK).say_all(VISIBLE)
    assert scored(story) == scored(story)
    tally = Tally(PROCEDURE)
    for event in story.events:
        tally.take((event,))
    assert replace(scored(story), said_again_ms=(), unsure=()) == tally.score()


# ------------------------------------------------------------------------------------------------------------ faults


def test_a_refused_advance_names_what_was_missing() -> None:
    """The guard and the reason stand in the list; it is no order fault."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    story.say("hatch readings finished")
    (row,) = scored(story).refused
    assert ("air_hatch", "air_good_at_hatch") == (row.step, row.guard)
    assert () == scored(story).order_faults


def test_a_step_before_its_turn_is_an_order_fault() -> None:
    """Panel two before panel one, and a step that is not the current one."""
    story = walked_to(BOOK, VISIBLE, "panel_set")
    story.say("panel two standing")
    story.do(cmd.Advance(story.now, OFFICER, "free"))
    assert ["panel one standing comes first", "the step now is Panel set"] == [row.what for row in scored(story).order_faults]
    assert () == scored(story).refused


@pytest.mark.parametrize(
    ("gases", "faults"),
    [
        ((Gas.OXYGEN, Gas.FLAMMABLE, Gas.CARBON_MONOXIDE), []),
        ((Gas.FLAMMABLE, Gas.OXYGEN), ["flammable gas before oxygen at the hatch"]),
        ((Gas.OXYGEN, Gas.CARBON_MONOXIDE, Gas.FLAMMABLE), ["carbon monoxide before flammable gas at the hatch"]),
        ((Gas.OXYGEN, Gas.FLAMMABLE, Gas.HYDROGEN_SULFIDE, Gas.CARBON_MONOXIDE), []),
        ((Gas.OXYGEN, Gas.FLAMMABLE, Gas.OXYGEN), []),
    ],
)
def test_air_is_read_oxygen_first_then_flammable_then_toxic(gases: tuple[Gas, ...], faults: list[str]) -> None:
    """OSHA 29 CFR 1910.146(d)(5)(iii): oxygen, flammable, toxic; among the toxic ones no order is asked."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    for gas in gases:
        story.read(gas, "20.9" if gas is Gas.OXYGEN else "0")
    assert faults == [row.what for row in scored(story).order_faults]


def test_what_was_misheard_is_listed() -> None:
    """A read-back refused, an entry taken back, an emergency withdrawn: each with its words."""
    story = Story(BOOK)
    story.say_all(["one person trapped", "person in plain sight", "negative", "person in plain sight", "affirmative"])
    story.say("say again")
    story.raise_emergency("leak")
    story.say("disregard emergency")
    found = scored(story)
    assert [("person in plain sight", "negative"), ("leak", "withdrawn")] == [(row.words, row.how) for row in found.misheard]
    assert (2, 1, 1) == (found.read_backs.asked, found.read_backs.affirmed, found.read_backs.negated)
    assert 1 == len(found.said_again_ms)


def test_a_canister_taken_back_is_not_counted() -> None:
    """Three called, one taken back: two."""
    story = walked_to(BOOK, VISIBLE, "chest_clear").say_all(["canister is full"] * 3 + ["correction"])
    found = scored(story)
    assert 2 == found.canisters
    assert ["canister three"] == [row.words for row in found.misheard]


def test_unsure_phrases_are_listed_least_sure_first() -> None:
    """Only spoken ones under the limit, with their confidence."""
    commands = [
        cmd.CountCanister(1, cmd.Origin("crew", cmd.Role.BOTH, "voice", words, sure))
        for words, sure in (("a", 0.9), ("b", 0.7), ("c", 0.6), ("d", None))
    ]
    assert ["c", "b"] == [row.words for row in score((), PROCEDURE, commands=commands).unsure]


def test_an_override_keeps_its_reason() -> None:
    """The step that was passed, and why."""
    story = walked_to(BOOK, VISIBLE, "meter")
    story.do(cmd.Override(story.now, OFFICER, "meter", "no second meter here"))
    (row,) = scored(story).overrides
    assert ("meter", "no second meter here") == (row.step, row.reason)


def test_a_step_taken_back_counts() -> None:
    """Going back one step is counted and gives the time to the stage that is gone back to."""
    story = walked_to(BOOK, VISIBLE, "locked")
    story.say("go back one step")
    assert 1 == scored(story).steps_back


# ---------------------------------------------------------------------------------------------------------- air, calls


def test_the_age_of_the_air_at_a_step() -> None:
    """The oldest of the newest readings, at the place that the step asks for."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    start = story.now
    for second, gas in enumerate((Gas.OXYGEN, Gas.FLAMMABLE, Gas.CARBON_MONOXIDE, Gas.HYDROGEN_SULFIDE)):
        story.read(gas, "20.9" if gas is Gas.OXYGEN else "0", at=start + second * SECOND)
    story.read(Gas.OXYGEN, "20.8", at=start + 10 * SECOND)
    story.say("hatch readings finished", at=start + 60 * SECOND)
    (row,) = scored(story).air_ages
    assert ("air_hatch", 59 * SECOND, Gas.FLAMMABLE, ()) == (row.step, row.oldest_ms, row.gas, row.unread)
    assert 59 * SECOND == scored(story).oldest_air_ms


def test_air_that_nobody_read_is_named_as_unread() -> None:
    """A step passed by an override over unread gases says which."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    story.do(cmd.Override(story.now, OFFICER, "air_hatch", "no meter"))
    (row,) = scored(story).air_ages
    assert row.oldest_ms is None
    assert Gas.OXYGEN in row.unread


def test_roll_calls_are_missed_until_they_are_answered() -> None:
    """Asked at 15, 30 and 45 minutes; only the second is answered."""
    story = walked_to(book_with(House(air_max_age_min=120)), VISIBLE, "boards")
    entered = story.state.inside[0].entered_ms
    story.wait(entered + 20 * MINUTE)
    story.wait(entered + 30 * MINUTE)
    story.say("all accounted for", at=entered + 31 * MINUTE)
    story.wait(entered + 47 * MINUTE)
    found = scored(story)
    assert [None, 31 * MINUTE, None] == [
        None if call.answered_ms is None else call.answered_ms - entered for call in found.roll_calls
    ]
    assert 2 == found.missed_roll_calls


def test_a_person_check_in_time_is_not_missed() -> None:
    """Each time the program asks and somebody answers, the call is answered."""
    story = walked_to(BOOK, VISIBLE, "line_on")
    told = story.now
    story.wait(told + 3 * MINUTE)
    story.say("person is answering", at=told + 3 * MINUTE + SECOND)
    found = scored(story)
    assert [SECOND] == [(call.answered_ms or 0) - call.asked_ms for call in found.person_checks]
    assert 0 == found.missed_person_checks


# -------------------------------------------------------------------------------------------------- drills: injects etc.


def begun(lines: tuple[str, ...] = VISIBLE, step: str = "boards") -> Story:
    """A drill that the crew enters at a step."""
    story = walked_to(BOOK, lines, step)
    story.do(cmd.BeginDrill(story.now, cmd.PROGRAM, "x", "X", "", (("approach", 5_000),), (Grade("well", most_refused=0),)))
    return story


def test_what_was_prepared_is_not_counted() -> None:
    """Steps, times and read-backs count from the beginning of the drill; readings from before still have their age."""
    story = begun()
    start = story.now
    story.say("walkway boards are laid")
    found = scored(story)
    assert (1, 0, start, PACE_MS) == (found.steps_confirmed, found.read_backs.asked, found.begun_ms, found.duration_ms)
    assert (found.air_ages[0].oldest_ms or 0) > PACE_MS


def test_targets_and_grades_come_with_the_drill() -> None:
    """The drill's own stand on its record; a department's other ones can be put in their place."""
    story = begun().say_all(VISIBLE[VISIBLE.index("walkway boards are laid") :])
    found = scored(story)
    approach = next(row for row in found.stages if row.stage == "approach")
    assert (3 * PACE_MS, 5_000, 7_000) == (approach.spent_ms, approach.target_ms, approach.over_ms)
    assert "well" == found.grade
    assert "" == scored(story, Targets()).grade


@pytest.mark.parametrize(
    ("expects", "within_s", "words", "answered", "in_time"),
    [
        (("emergency leak",), 10.0, "the ring is leaking", True, True),
        (("emergency leak",), 3.0, "the ring is leaking", True, False),
        (("emergency leak", "hold"), 10.0, "hold all work", True, True),
        (("emergency leak",), 10.0, "hold all work", False, False),
        (("emergency leak",), None, "the ring is leaking", True, True),
        ((), None, "hold all work", False, True),
    ],
)
def test_injects_and_their_answers(
    expects: tuple[str, ...], within_s: float | None, words: str, answered: bool, in_time: bool
) -> None:
    """The first event that was expected answers; in time if a time was set; nothing expected is never late."""
    story = begun()
    story.do(cmd.GiveInject(story.now, TRAINER, "leak", "both", "Grain runs in.", False, expects, within_s))
    story.say(words)
    (row,) = scored(story).injects
    assert (PACE_MS if answered else None, in_time) == (row.took_ms, row.in_time)


def test_a_rewind_and_a_pause_are_told() -> None:
    """How often, and the time before the rewind stays counted in its stage."""
    story = begun()
    story.say("walkway boards are laid")
    story.do(cmd.PauseDrill(story.now, TRAINER, paused=True))
    story.do(cmd.PauseDrill(story.now, TRAINER, paused=False))
    story.do(cmd.RewindDrill(story.now, TRAINER, "boards"))
    story.say("walkway boards are laid")
    found = scored(story)
    assert (1, 1, 2) == (found.rewinds, found.pauses, found.steps_confirmed)
    assert 2 * PACE_MS == next(row.spent_ms for row in found.stages if row.stage == "approach")


def test_air_is_as_old_after_a_rewind_as_it_was() -> None:
    """Five minutes later but put back, the readings have the age that they had."""
    story = walked_to(BOOK, VISIBLE, "boards")
    story.say("walkway boards are laid")
    story.do(cmd.RewindDrill(story.now + 5 * MINUTE, TRAINER, "boards"))
    story.say("walkway boards are laid")
    first, again = (row.oldest_ms for row in scored(story).air_ages if row.step == "boards")
    assert first == again


@pytest.mark.parametrize(
    ("grade", "reached"),
    [
        (Grade("a"), True),
        (Grade("a", most_refused=1), True),
        (Grade("a", most_refused=0), False),
        (Grade("a", most_order_faults=0), True),
        (Grade("a", most_missed_calls=0), True),
        (Grade("a", most_late_answers=0), True),
        (Grade("a", longest_min=60), True),
        (Grade("a", longest_min=1), False),
    ],
)
def test_a_grade_is_reached_when_all_its_limits_hold(grade: Grade, reached: bool) -> None:
    """One refused advance in a drill of some minutes, against each limit."""
    at = VISIBLE.index("hatch readings finished")
    story = Story(BOOK).say_all([*VISIBLE[: at - 2], "hatch readings finished", *VISIBLE[at - 2 :]])
    assert 1 == len(scored(story).refused)
    assert ("a" if reached else "") == scored(story, Targets(grade=(grade,))).grade


def test_an_unfinished_drill_has_no_grade() -> None:
    """However few faults."""
    story = walked_to(BOOK, VISIBLE, "boards")
    assert "" == scored(story, Targets(grade=(Grade("a"),))).grade


def test_an_emergency_has_its_time() -> None:
    """From when it was raised to when it was over, and bad air is not lost when it comes from a reading."""
    story = walked_to(BOOK, VISIBLE, "beside")
    start = story.now
    story.do(cmd.ReportAir(start, OFFICER, Gas.OXYGEN, Decimal("19.1")))
    story.do(cmd.MoveRescuer(start, OFFICER, 1, inside=False))
    found = scored(story)
    assert [("bad_air", start, None)] == [(row.kind, row.raised_ms, row.ended_ms) for row in found.emergencies]
    assert ev.Urgency.ALARM in {event.urgency for event in story.events if isinstance(event, ev.Said)}
