"""Taped corners by voice: the leak detector reaches its figure, warns once, and starts anew when the leak is closed."""

from dataclasses import replace
from decimal import Decimal
from random import Random

import pytest

from protocol import commands as cmd
from protocol import events as ev
from protocol.balance import balance_answer, leak, taped_levels
from protocol.estimates.body import MARK_FRACTIONS, Mark
from protocol.estimates.leak_balance import FILL_CREW_SD, FILL_EACH_SD, SCALE_SD
from protocol.house import House
from protocol.scene import Book, Scene
from protocol.state import Level, State, Tape
from tests.books import book_with, shipped_book
from tests.drills import VISIBLE
from tests.protocol.estimates.crews import Crew, Habits, crew, tape_log
from tests.story import MINUTE, SECOND, Story, only, origin_of, sentences, walked_to

BOOK = shipped_book()
HONEST = Habits(fill_crew_sd=FILL_CREW_SD, fill_each_sd=FILL_EACH_SD, scale_sd=SCALE_SD, pause_share=0.45)
"""As for the detector itself: drums of 16 gallons, the vacuum still for 45 % of every cycle, canisters miscounted."""
CREWS = 1000
INCH_M = 0.0254
READ_TO_INCH = 0.25
"""Crews read a tape to the quarter inch."""


def at_the_vacuum(book: Book = BOOK) -> Story:
    """The drill up to the running vacuum, grain at the chest."""
    return Story(book).say_all(VISIBLE[: VISIBLE.index("vacuum hose is ready") + 2])


def tape(story: Story, words: str, unit: str = "inches") -> tuple[ev.Event, ...]:
    """Every corner read the same; gives what the last one caused."""
    events: tuple[ev.Event, ...] = ()
    for corner in ("one", "two", "three", "four"):
        events = story.say(f"corner {corner} {words} {unit}")
    return events


# -------------------------------------------------------------------------------------------- spoken


def test_a_corner_is_read_back_and_a_set_asks_for_the_second_one() -> None:
    """Each corner is named with its figures; after the last the crew hears that a second set is wanted."""
    story = at_the_vacuum()
    assert ["Corner one, one two decimal five."] == sentences(story.say("corner one one two decimal five inches"))
    assert pytest.approx(12.5 * INCH_M) == only(story.events, ev.CornerTaped)[0].down_m  # 25.4 mm by definition
    story.say("corner two one two inches")
    story.say("corner three one two inches")
    said = sentences(story.say("corner four one two inches"))
    assert "All corners taped. Tape them again before the vacuum starts." == said[-1]
    assert "No leak seen." in " ".join(sentences(tape(story, "one two"))) or "Cannot tell" in sentences(story.events)[-1]


def test_corners_are_taped_only_once_there_is_a_level_and_a_vacuum() -> None:
    """Before the vacuum the words mean nothing; without a level the crew is told to call it."""
    story = walked_to(BOOK, VISIBLE, "panel_set")
    assert story.heard("corner one one two inches") is None
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    assert "Call the grain level" in sentences(story.say("corner one one two inches"))[0]
    assert () == story.state.tapes


@pytest.mark.parametrize(("corner", "inches"), [(5, "12"), (0, "12"), (1, "80")])
def test_what_cannot_be_is_not_taken(corner: int, inches: str) -> None:
    """A corner that the ring has not, or a length beyond the panel."""
    story = at_the_vacuum()
    events = story.do(cmd.TapeCorner(story.now, origin_of(cmd.Role.BOTH), corner, Decimal(inches)))
    assert "that cannot be" in sentences(events)[0]
    assert () == story.state.tapes


def test_correction_takes_the_last_corner_back() -> None:
    """And the next one said takes its place."""
    story = at_the_vacuum()
    story.say_all(["corner one one two inches", "corner two five zero inches"])
    assert ["Taken back: corner two."] == sentences(story.say("correction"))
    story.say("corner two one two inches")
    assert [1, 2] == [corner for corner, _down in story.state.tapes[-1].down_m]
    assert 1 == len(story.state.tapes)


def test_a_metric_department_says_centimeters() -> None:
    """The words and the size follow the house rules."""
    story = at_the_vacuum(book_with(House(units="metric")))
    story.say("corner one three zero centimeters")
    assert pytest.approx(0.3) == story.state.tapes[0].down_m[0][1]
    assert story.heard("corner two one two inches") is None


# ------------------------------------------------------------------------------------------ the warning


def leaking_job() -> Story:
    """Canisters come out, the level falls by a third of what they hold, and rises while the vacuum is stopped."""
    story = at_the_vacuum()
    tape(story, "one two")
    for first, again in (("one four", "one three"), ("one five", "one four"), ("one six", "one five")):
        story.do(cmd.CountCanister(story.now + 2 * MINUTE, origin_of(cmd.Role.BOTH)))
        tape(story, first)
        story.tick(story.now + MINUTE)
        tape(story, again)
    return story


def test_a_leak_is_warned_of_once_and_the_warning_stands() -> None:
    """One alarm; after it every set and "grain remaining" say that it is not closed."""
    story = leaking_job()
    alarms = [said for said in only(story.events, ev.Said) if said.about == "leak"]
    assert 1 == len(alarms)
    assert ev.Urgency.ALARM is alarms[0].urgency
    assert alarms[0].text.startswith("Warning.")
    assert "warned" == story.state.fact("leak")
    assert "not closed" in sentences(story.say("grain remaining"))[0]
    assert "not yet closed" in sentences(tape(story, "one five"))[-1]


def test_a_closed_leak_starts_the_balance_anew() -> None:
    """What came in before the leak was closed is no leak now."""
    story = leaking_job()
    story.say_all(["the ring is leaking", "leaking corner closed"])
    assert "closed" == story.state.fact("leak")
    assert "" == " ".join(text for text in sentences(story.say("grain remaining")) if "Leak warned" in text)
    tape(story, "one five")
    events = tape(story, "one five")
    assert not [said for said in only(events, ev.Said) if said.about == "leak"]
    assert "leak" != leak(story.scene()).verdict


def test_a_warning_that_rested_on_a_wrong_entry_is_withdrawn() -> None:
    """Corners taken back until nothing shows a leak: that is said too."""
    story = leaking_job()
    while story.state.fact("leak") == "warned":
        assert story.state.entries, "every entry taken back and the warning still stands"
        story.say("correction")
    assert "The warning of a leak is withdrawn." == sentences(story.events)[-1]


def test_a_set_lower_than_the_one_before_it_without_a_canister_is_not_weighed() -> None:
    """The vacuum ran, or a canister was not called: nothing about a leak follows from it."""
    story = at_the_vacuum()
    tape(story, "one two")
    tape(story, "one two")
    tape(story, "one four")
    tape(story, "one three")
    assert 2 == len(taped_levels(story.scene()))


def test_check_the_balance_says_how_to_tape() -> None:
    """Asked for, the crew hears what is known and how it gets sharper."""
    story = at_the_vacuum()
    said = sentences(story.say("check the balance"))[0]
    assert said.startswith("Cannot tell yet whether the ring leaks.")
    assert "tape every corner twice" in said
    assert balance_answer(story.scene()).text == said


# ------------------------------------------------------------------------------------------- simulated crews


def _told(job: Crew, random: Random) -> list[State]:
    """The states after each taped set of a crew, as the incident keeps them: what was called, nothing that is true."""
    height = 1.75
    rim = MARK_FRACTIONS[Mark.CHEST] * height + 0.3
    knees = MARK_FRACTIONS[Mark.KNEES] * job.stature_m
    log = tape_log(random, job, knees)
    facts = {"facts": (("vacuum", "on"),), "fact_times_ms": (("vacuum", 0),)}
    state = State(opened=True, step="to_hips", levels=(Level("chest", 0),), canisters_ms=tuple(round(at * SECOND) for at in log.canisters_s))
    state = replace(state, **facts)  # type: ignore[arg-type]
    told = []
    for level in log.levels:
        down = tuple((one, _as_read(rim - high)) for one, high in enumerate(level.corners_m, start=1))
        state = replace(state, tapes=(*state.tapes, Tape(round(level.at_s * SECOND), down)))
        counted = tuple(at for at in state.canisters_ms if at <= round(level.at_s * SECOND))
        told.append(replace(state, canisters_ms=counted))
    return told


def _as_read(down_m: float) -> float:
    return round(down_m / INCH_M / READ_TO_INCH) * READ_TO_INCH * INCH_M


def _share_warned(habits: Habits, seed: int, count: int) -> float:
    """Share of crews warned: within three canisters of the leak opening, or ever when nothing leaks."""
    random = Random(seed)
    warned = 0
    for index in range(count):
        mine = replace(habits, leak_after=index % 3)
        job = crew(random, mine, known_person=False)
        until_s = job.cycles[mine.leak_after + 2].restart_s if mine.leak_share else job.cycles[-1].restart_s
        for state in _told(job, random)[2:]:
            at_ms = state.tapes[-1].at_ms
            if at_ms <= until_s * SECOND and leak(Scene(BOOK, state, at_ms)).verdict == "leak":
                warned += 1
                break
    return warned / count


def test_by_taped_corners_a_leak_of_a_fifth_is_found_within_three_canisters() -> None:
    """Of 1000 crews as they speak to the program (quarter inches, a person nobody measured), 95 % are warned."""
    assert 0.95 <= _share_warned(replace(HONEST, leak_share=0.2), 301, CREWS)


def test_by_taped_corners_a_tight_ring_raises_few_false_alarms() -> None:
    """Of 1000 crews without a leak, over the whole job from chest to knees, fewer than 2 % are warned."""
    assert _share_warned(HONEST, 302, CREWS) < 0.02
