"""Step, alarms, clocks, people and the story: what each card says at a moment."""

import pytest

from assistant.board.entry_actions import Line
from assistant.board.past import LAST_LINES
from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas
from protocol.house import House, PlannedLine
from protocol.rules import decide
from tests.board.tellings import Told, told_to
from tests.books import book_with
from tests.drills import AFFIRM, VISIBLE
from tests.story import MINUTE, origin_of


def titles(story: Told) -> list[str]:
    """Titles of the alarms shown."""
    return [row.title for row in story.shown.alarms]


def test_a_plain_step_names_its_words_and_who_says_them() -> None:
    """Step, confirmer and phrase are those of the procedure."""
    card = told_to(VISIBLE, "boards").shown.step
    assert ("Boards down", "inside", "walkway boards are laid") == (card.title, card.confirmed_by, card.choices[0].say)
    assert ("At the person", "Face and airway free", "Which way the legs lie") == card.following


def test_a_question_lists_every_answer() -> None:
    """All phrases that would be accepted stand on the card, each with its answer."""
    card = told_to(VISIBLE, "depth").shown.step
    assert card.question
    assert 8 == len(card.choices)
    assert ("buried to the knees", "knees") == (card.choices[0].say, card.choices[0].answer)


def test_an_ordered_repeat_shows_the_next_number_only() -> None:
    """After panel one the card waits for panel two, and shows one of four on record."""
    story = told_to(VISIBLE, "panel_set")
    story.say("panel one standing")
    card = story.shown.step
    assert ((1,), 4, ["panel two standing"]) == (card.done, card.total, [choice.say for choice in card.choices])


def test_a_repeat_in_any_order_shows_all_that_are_left() -> None:
    """Panels come out in any order: the card offers those still in."""
    story = told_to(VISIBLE, "panel_out")
    story.say("panel two recovered")
    assert [1, 3, 4] == [choice.number for choice in story.shown.step.choices]


def test_a_read_back_is_not_shown_as_done() -> None:
    """What waits for "affirmative" is on the card as waiting, and the step has not moved."""
    story = told_to(VISIBLE, "tried")
    story.say("start buttons tried and dead")
    card = story.shown.step
    assert card.readback is not None
    assert ("tried", "start buttons tried and dead") == (card.id, card.readback.text)
    assert story.state.pending is not None
    assert story.state.pending.asked_ms == card.readback.asked_ms
    story.say(AFFIRM)
    assert story.shown.step.readback is None


def test_a_reading_read_back_shows_figures_and_words() -> None:
    """The officer can compare the number with the meter before saying yes."""
    story = told_to(VISIBLE, "air_hatch")
    story.say("oxygen two zero decimal niner")
    assert story.shown.step.readback is not None
    assert "oxygen 20.9 at the hatch (two zero decimal niner)" == story.shown.step.readback.text


def test_an_emergency_shows_its_order_first() -> None:
    """The first alarm row is the order itself, and the card is the emergency's own step."""
    story = told_to(VISIBLE, "boards")
    story.raise_emergency("everyone_out_now")
    first = story.shown.alarms[0]
    assert ("alarm", "All rescuers leave the bin now.", "Emergency: Everyone out") == (
        first.grade, first.title, first.text,
    )  # fmt: skip
    assert "Everyone out, counted" == story.shown.step.title


def test_a_way_back_names_the_step_that_was_interrupted() -> None:
    """An emergency step that returns says where to."""
    story = told_to(VISIBLE, "boards")
    story.raise_emergency("line_slack")
    assert ("Back to: Boards down",) == story.shown.step.following


def test_bad_air_stays_an_alarm_until_it_is_read_again_there() -> None:
    """The row names gas, number, unit and place, and goes when that place is read good."""
    story = told_to(VISIBLE, "boards")
    story.read(Gas.HYDROGEN_SULFIDE, "15", "person")
    assert "Bad air: hydrogen sulfide 15 ppm at the person" in titles(story)
    story.read(Gas.HYDROGEN_SULFIDE, "0", "hatch")
    assert "Bad air: hydrogen sulfide 15 ppm at the person" in titles(story)
    story.read(Gas.HYDROGEN_SULFIDE, "0", "person")
    assert "Bad air: hydrogen sulfide 15 ppm at the person" not in titles(story)


@pytest.mark.parametrize(
    ("minutes", "expected"),
    [
        (2, []),
        (4, ["Talk to the person"]),
        (9, ["Test the air again", "Talk to the person"]),
        (16, ["Test the air again", "Roll call overdue", "Talk to the person"]),
        (21, ["Test the air again", "Relief overdue: Rescuer one", "Relief overdue: Rescuer two",
              "Roll call overdue", "Talk to the person"]),
        (61, ["Held a long time", "Test the air again", "Relief overdue: Rescuer one", "Relief overdue: Rescuer two",
              "Roll call overdue", "Talk to the person"]),
    ],
)  # fmt: skip
def test_what_is_overdue_is_a_warning(minutes: int, expected: list[str]) -> None:
    """House intervals of 3, 10, 15, 20 and 60 minutes each bring their own warning, and nothing comes early."""
    story = told_to(VISIBLE, "boards")
    story.say("person is answering")
    story.wait(story.now + minutes * MINUTE)
    assert sorted(expected) == sorted(titles(story))


def test_a_hold_is_an_alarm_with_its_own_clock() -> None:
    """All work held, since when, and how to go on."""
    story = told_to(VISIBLE, "boards")
    story.do(cmd.Hold(story.now + MINUTE, origin_of(cmd.Role.OUTSIDE)))
    row = story.shown.alarms[0]
    assert ("All work is held", story.now) == (row.title, row.since_ms)
    story.do(cmd.Resume(story.now + MINUTE, origin_of(cmd.Role.OUTSIDE)))
    assert () == story.shown.alarms
    assert (((story.now - MINUTE, story.now),), None) == (story.past.holds_ms, story.past.held_since_ms)


def test_a_lost_part_is_a_warning_until_it_is_back() -> None:
    """A microphone that fails stands on the board, not only in a log."""
    story = told_to(VISIBLE, "boards")
    story.do(cmd.ReportPart(story.now, cmd.PROGRAM, "microphone", works=False, detail="unplugged"))
    assert ["Microphone lost"] == titles(story)
    story.do(cmd.ReportPart(story.now, cmd.PROGRAM, "microphone", works=True, detail="back"))
    assert [] == titles(story)


def test_clocks_start_and_stop_with_what_they_measure() -> None:
    """Roll call runs only while somebody is inside; the person's clock stops when the person is free."""
    before = {tile.key for tile in told_to(VISIBLE, "rescuers_in").shown.clocks}
    story = told_to(VISIBLE, "boards")
    during = {tile.key: tile for tile in story.shown.clocks}
    assert ("roll_call" in before, "roll_call" in during) == (False, True)
    assert story.state.crew[0].entered_ms + 15 * MINUTE == during["roll_call"].due_ms
    freed = {tile.key: tile for tile in told_to(VISIBLE, "person_out").shown.clocks}
    assert freed["held"].stopped_ms is not None


def test_the_air_clock_counts_from_the_oldest_required_reading() -> None:
    """The next test is due ten minutes after the first of the newest required readings."""
    story = told_to(VISIBLE, "boards")
    oldest = min(reading.at_ms for reading in story.state.readings[-4:])
    tile = next(tile for tile in story.shown.clocks if tile.key == "air")
    assert (oldest, oldest + 10 * MINUTE) == (tile.since_ms, tile.due_ms)


def test_people_inside_carry_their_own_work_period() -> None:
    """Each rescuer has a relief time of 20 minutes after going in; one who left is listed as out."""
    story = told_to(VISIBLE, "boards")
    one, two = story.shown.crew.inside
    assert (one.entered_ms + 20 * MINUTE, two.entered_ms + 20 * MINUTE) == (one.relief_ms, two.relief_ms)
    story.say("rescuer two is out")
    crew = story.shown.crew
    assert (["Rescuer one"], ["Rescuer two"]) == ([row.name for row in crew.inside], [row.name for row in crew.out])


def test_the_story_keeps_the_last_lines_and_says_who() -> None:
    """Twenty lines, newest last, each with its record, its source and its time."""
    story = told_to(VISIBLE, "boards")
    lines = story.view.lines
    assert LAST_LINES == len(lines)
    assert [line.n for line in lines] == sorted(line.n for line in lines)
    assert ("Both typed", "team is in the bin") in {(line.who, line.text) for line in lines}


def test_an_entry_taken_back_stays_in_the_story() -> None:
    """The board says that the entry was taken back and that the record keeps it."""
    story = told_to(VISIBLE, "chest_clear")
    story.say("canister is full")
    assert "canister one" == story.shown.entries.last_entry
    story.say("correction")
    assert "Taken back, kept in the record: canister one" in {line.text for line in story.view.lines}
    assert 0 == len(story.shown.grain.canisters_ms)


def test_the_button_that_takes_back_names_what_it_takes_back() -> None:
    """After a count, a level and a rescuer told out, the last entry is named as the record will name it."""
    story = told_to(VISIBLE, "to_hips")
    for words, named in (("canister is full", "canister two"), ("grain at waist", "grain at waist"),
                         ("rescuer two is out", "rescuer two is out")):  # fmt: skip
        story.say(words)
        assert named == story.shown.entries.last_entry
        taken = decide(story.book, story.state, cmd.Correct(story.now, origin_of(cmd.Role.OUTSIDE)))
        assert named == next(event.detail for event in taken if isinstance(event, ev.EntryTakenBack))


# ------------------------------------------------------------------------------------------------------------- lifelines

OFFICER = origin_of(cmd.Role.OUTSIDE)
PAIR = ("Ashby", "Renn")


def on_line(story: Told, slot: int, line: str, tenders: tuple[str, ...] = PAIR) -> None:
    """The officer writes it down."""
    story.do(cmd.RecordLine(story.now, OFFICER, slot, line, tenders))


def test_no_line_recorded_is_a_caution_on_the_card_and_no_alarm() -> None:
    """It stands beside the rescuer until a line and two tenders are recorded."""
    story = told_to(VISIBLE, "boards")
    assert [("no line recorded",)] * 2 == [row.lacks for row in story.shown.crew.inside]
    assert () == story.shown.alarms
    on_line(story, 1, "2", ("Ashby",))
    one, two = story.shown.crew.inside
    assert ("2", ("Ashby",), ("only one tender recorded, two hold a line",)) == (one.line, one.tenders, one.lacks)
    assert ("", (), ("no line recorded",)) == (two.line, two.tenders, two.lacks)
    on_line(story, 1, "2")
    assert () == story.shown.crew.inside[0].lacks


def test_a_tender_with_two_lines_is_a_caution_of_the_card() -> None:
    """Named with both rescuers, once."""
    story = told_to(VISIBLE, "boards")
    on_line(story, 1, "1")
    on_line(story, 2, "2", ("Renn", "Cole"))
    crew = story.shown.crew
    assert ("Renn is tender for rescuer one and rescuer two: one line each",) == crew.lacks
    assert [(), ()] == [row.lacks for row in crew.inside]


def test_who_came_out_keeps_the_line_and_the_relief_is_offered_none_that_is_in_use() -> None:
    """A form begins with what that rescuer had, unless another has the line by now."""
    story = told_to(VISIBLE, "boards")
    on_line(story, 1, "1")
    story.say("rescuer one is out")
    assert ["1"] == [row.line for row in story.shown.crew.out]
    forms = {form.slot: (form.line, form.tenders) for form in story.shown.crew.forms}
    assert {1: ("1", PAIR), 2: ("", ()), 3: ("", ()), 4: ("", ())} == forms
    story.do(cmd.MoveRescuer(story.now, OFFICER, 3, True, "1", ("Cole",)))
    assert ("", PAIR) == next((form.line, form.tenders) for form in story.shown.crew.forms if form.slot == 1)
    assert ("Ashby", "Renn", "Cole") == story.shown.crew.tenders


def test_forms_begin_with_the_plan_of_the_site_card() -> None:
    """A plan is offered and not recorded; what was recorded is offered before it."""
    plans = (PlannedLine(slot=1, line="A1", tenders=PAIR), PlannedLine(slot=3, line="A1", tenders=("Cole",)))
    story = told_to(VISIBLE, "boards")
    story.book = book_with(House(planned_lines=plans, tender_names=("Dorsey", "renn")))
    crew = story.shown.crew
    assert ("A1", PAIR) == (crew.forms[0].line, crew.forms[0].tenders)
    assert "" == crew.inside[0].line
    assert ("Dorsey", "renn", "Ashby", "Cole") == crew.tenders
    on_line(story, 1, "B2", ("Dorsey", "Cole"))
    assert [("B2", ("Dorsey", "Cole")), ("A1", ("Cole",))] == [
        (form.line, form.tenders) for form in story.shown.crew.forms if form.slot in {1, 3}
    ]


def test_the_story_tells_lines() -> None:
    """Going in on a line, a change, and a line that is not known any more."""
    story = told_to(VISIBLE, "boards")
    story.do(cmd.MoveRescuer(story.now, OFFICER, 3, True, "3", PAIR))
    on_line(story, 1, "1", ("Cole",))
    on_line(story, 1, "", ())
    told = [line.text for line in story.view.lines]
    for text in ("Rescuer three went in, line 3, tenders Ashby, Renn", "Rescuer one, line 1, tender Cole", "Rescuer one, no line recorded"):
        assert text in told


def test_a_line_for_one_who_came_out_is_out_of_date() -> None:
    """The press is answered and nothing is recorded."""
    story = told_to(VISIBLE, "boards")
    action = Line(id="abcdefgh", slot=2, line="2", tenders=PAIR)
    assert "" == action.outdated(story.scene())
    story.say("rescuer two is out")
    assert "Rescuer two is not inside any more." == action.outdated(story.scene())
