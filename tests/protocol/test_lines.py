"""Lifelines of the people inside: recorded, changed, never two on one, and never in the way of the head count."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol import commands as cmd
from protocol import events as ev
from protocol.errors import HistoryError
from protocol.history import fold
from protocol.lines import (
    HOLD_A_LINE,
    fault,
    lacks,
    on_line,
    spoken,
    tidy_line,
    tidy_tenders,
    written,
)
from protocol.names import LINE_CHARS, MAX_TENDERS
from protocol.state import Rescuer
from protocol.wire import command_from, event_from, to_plain
from tests.books import shipped_book
from tests.drills import AFFIRM, VISIBLE
from tests.protocol.emergencies import empty_the_bin
from tests.story import MINUTE, Story, only, origin_of, sentences, walked_to

BOOK = shipped_book()
OFFICER = origin_of(cmd.Role.OUTSIDE)
PAIR = ("Ashby", "Renn")
OTHERS = ("Cole", "Dorsey")


def at_entry() -> Story:
    """The gate is passed; nobody is in yet."""
    return walked_to(BOOK, VISIBLE, "rescuers_in")


def goes_in(story: Story, slot: int, line: str = "", tenders: tuple[str, ...] = ()) -> list[str]:
    """One goes in on a line; what was said to the outside."""
    return sentences(story.do(cmd.MoveRescuer(story.now, OFFICER, slot, True, line, tenders)), "outside")


def recorded(story: Story, slot: int, line: str, tenders: tuple[str, ...] = ()) -> list[str]:
    """The officer writes a line down; what was said to the outside."""
    return sentences(story.do(cmd.RecordLine(story.now, OFFICER, slot, line, tenders)), "outside")


def on_record(story: Story) -> dict[int, tuple[str, tuple[str, ...]]]:
    """Line and tenders of everybody inside."""
    return {one.slot: (one.line, one.tenders) for one in story.state.inside}


def crew_status(story: Story) -> str:
    """The spoken answer to who is in."""
    return sentences(story.do(cmd.Ask(story.now, OFFICER, cmd.Query.CREW)))[-1]


def test_a_line_and_its_tenders_go_in_with_the_rescuer() -> None:
    """Both are on record, and said back in a few words."""
    story = at_entry()
    assert ["Rescuer one is in, line two, tenders Ashby and Renn. One inside: rescuer one."] == goes_in(story, 1, "2", PAIR)
    assert {1: ("2", PAIR)} == on_record(story)


def test_the_spoken_roll_names_line_and_tenders_once_any_is_recorded() -> None:
    """Without a line it is as it was; with one, each says their own or that none is recorded."""
    story = at_entry()
    goes_in(story, 1)
    goes_in(story, 2)
    story.tick(story.now + 12 * MINUTE)
    assert "Two inside: rescuer one, twelve minutes; rescuer two, twelve minutes." == crew_status(story)
    recorded(story, 2, "A7", ("Ashby", "Renn", "Cole"))
    assert (
        "Two inside: rescuer one, twelve minutes, no line recorded; rescuer two, twelve minutes, line A7, three tenders."
    ) == crew_status(story)


def test_a_line_is_changed_later() -> None:
    """What was on record is replaced, the time inside is not."""
    story = at_entry()
    goes_in(story, 1, "2", PAIR)
    entered_ms = story.state.inside[0].entered_ms
    story.tick(story.now + MINUTE)
    assert ["Rescuer one: line three, tenders Cole and Dorsey."] == recorded(story, 1, "3", OTHERS)
    assert {1: ("3", OTHERS)} == on_record(story)
    assert entered_ms == story.state.inside[0].entered_ms
    assert ["Rescuer one: no line recorded."] == recorded(story, 1, "")


@pytest.mark.parametrize("same", ["2", " 2 ", "a 7", "A7"])
def test_one_line_is_never_written_down_for_two(same: str) -> None:
    """The second is counted in all the same, without a line, and the officer is asked which it is."""
    story = at_entry()
    goes_in(story, 1, "A7" if "7" in same else "2", PAIR)
    said = goes_in(story, 2, same, OTHERS)
    assert {2: ("", ())} == {2: on_record(story)[2]}
    assert "Rescuer two is in. Two inside: rescuer one and rescuer two." == said[0]
    assert said[1].startswith("The line was not written down: line ")
    assert said[1].endswith("is rescuer one's. Which line is rescuer two on?")


def test_a_change_to_a_line_in_use_is_refused() -> None:
    """With whose it is; what was on record stays."""
    story = at_entry()
    goes_in(story, 1, "1", PAIR)
    goes_in(story, 2, "2", OTHERS)
    events = story.do(cmd.RecordLine(story.now, OFFICER, 2, "1", OTHERS))
    assert ["Not written down: line one is rescuer one's."] == sentences(events)
    assert ["Line one is rescuer one's."] == [one.reason for one in only(events, ev.CommandRefused)]
    assert ("2", OTHERS) == on_record(story)[2]


def test_only_who_is_inside_has_a_line() -> None:
    """A line for somebody outside is refused by name."""
    story = at_entry()
    goes_in(story, 1, "1", PAIR)
    assert ["Not written down: rescuer three is not inside."] == recorded(story, 3, "3")


@pytest.mark.parametrize(
    ("line", "tenders", "why"),
    [
        ("x" * (LINE_CHARS + 1), PAIR, "characters"),
        ("2", ("A", "B", "C", "D", "E"), "at most four tenders"),
        ("2", ("n" * 81,), "characters"),
        ("2\u202e", PAIR, "only letters"),
        ("2", ("Ash\x00by",), "only letters"),
    ],
)
def test_what_cannot_be_written_down_never_stops_the_count(line: str, tenders: tuple[str, ...], why: str) -> None:
    """The rescuer is in; the reason is said; a change with it is refused."""
    story = at_entry()
    assert why in goes_in(story, 1, line, tenders)[1]
    assert {1: ("", ())} == on_record(story)
    assert why in recorded(story, 1, line, tenders)[0]
    assert {1: ("", ())} == on_record(story)


def test_a_line_stays_with_the_one_who_came_out_and_is_free_for_the_relief() -> None:
    """The relief may go in on the same line; without one said, it is asked for, and nothing is taken over by itself."""
    story = at_entry()
    goes_in(story, 1, "1", PAIR)
    goes_in(story, 2, "2", OTHERS)
    story.say("rescuer one is out")
    assert "Which line is rescuer three on?" == goes_in(story, 3)[-1]
    assert ("", ()) == on_record(story)[3]
    assert ["Rescuer three: line one, tenders Ashby and Renn."] == recorded(story, 3, "1", PAIR)
    assert [("1", PAIR)] == [(one.line, one.tenders) for one in story.state.crew if not one.inside]


def test_nobody_asks_for_lines_while_none_was_ever_recorded() -> None:
    """A crew that does not use them hears what it always heard."""
    story = at_entry()
    assert ["Rescuer one is in. One inside: rescuer one."] == sentences(story.say("rescuer one going in"))
    assert ["Rescuer two is in. Two inside: rescuer one and rescuer two."] == sentences(story.say("rescuer two going in"))


def test_one_who_goes_in_again_starts_without_a_line() -> None:
    """What was true of the last stay is not taken for this one."""
    story = at_entry()
    goes_in(story, 1, "1", PAIR)
    story.say_all(("rescuer one is out", "rescuer one going in"))
    assert {1: ("", ())} == on_record(story)


def test_a_count_taken_back_keeps_the_line_unless_it_was_given_away() -> None:
    """Still inside: with his line, or, when the relief has it by now, without one and with the question."""
    story = at_entry()
    goes_in(story, 1, "1", PAIR)
    story.say_all(("rescuer one is out", "correction"))
    assert ("1", PAIR) == on_record(story)[1]
    story.say("rescuer one is out")
    goes_in(story, 3, "1", OTHERS)
    said = sentences(story.say("correction"), "outside")
    assert {1: ("", ()), 3: ("1", OTHERS)} == on_record(story)
    assert "Line one was given to rescuer three meanwhile. Which line is rescuer one on?" == said[-1]


def test_lines_are_recorded_in_an_emergency_and_while_work_is_held() -> None:
    """Nothing is refused for either, and an emergency asks nothing about lines."""
    story = at_entry()
    goes_in(story, 1)
    story.raise_emergency("mayday")
    recorded(story, 1, "4", PAIR)
    assert {1: ("4", PAIR)} == on_record(story)
    story.say("hold all work")
    recorded(story, 1, "5", PAIR)
    assert (True, {1: ("5", PAIR)}) == (story.state.held, on_record(story))


@pytest.mark.parametrize("kind", [row.id for row in BOOK.procedure.interruptions])
def test_no_line_blocks_no_emergency(kind: str) -> None:
    """Two inside without a line: every emergency is taken as ever, and the bin can be emptied."""
    story = at_entry()
    goes_in(story, 1)
    goes_in(story, 2)
    assert only(story.raise_emergency(kind), ev.EmergencyRaised)
    empty_the_bin(story)
    assert () == story.state.inside


def test_stand_down_waits_for_everyone_whatever_their_line() -> None:
    """A third rescuer counted in on a line keeps the bin from being called empty until counted out."""
    story = walked_to(BOOK, VISIBLE, "boards")
    goes_in(story, 3, "3", PAIR)
    rest = VISIBLE[VISIBLE.index("walkway boards are laid") : VISIBLE.index("bin is empty of people")]
    story.say_all(rest)
    assert {3: ("3", PAIR)} == on_record(story)
    step = story.step
    story.say("bin is empty of people")
    assert (step, True) == (story.step, "inside" in sentences(story.events)[-1])
    story.say_all(("rescuer three is out", "bin is empty of people", AFFIRM))
    assert step != story.step


# ---------------------------------------------------------------------------------------------- cautions, words, records


def test_what_is_missing_is_a_caution() -> None:
    """No line; fewer tenders than two (UMaine Extension 2352; NASD 1144); nothing when both are there."""
    one, two, three = Rescuer(1, 0), Rescuer(2, 0, line="2", tenders=("Cole",)), Rescuer(3, 0, line="3", tenders=PAIR)
    assert 2 == HOLD_A_LINE
    assert [((1,), "no line recorded"), ((2,), "only one tender recorded, two hold a line")] == [
        (lack.slots, lack.words) for lack in lacks((three, two, one))
    ]
    assert () == lacks((three,))
    assert ["no tenders recorded, two hold a line"] == [lack.words for lack in lacks((replace(two, tenders=()),))]


def test_one_tender_with_two_lines_is_a_caution() -> None:
    """One line each: common practice, no source."""
    rows = (Rescuer(1, 0, line="1", tenders=("Cole", "Renn")), Rescuer(2, 0, line="2", tenders=("cole", "Ashby")))
    (lack,) = lacks(rows)
    assert ((1, 2), "cole is tender for rescuer one and rescuer two: one line each") == (lack.slots, lack.words)
    assert "common practice, no source" == lack.source


def test_a_record_with_one_line_for_two_is_told() -> None:
    """This program never writes it, another one may have."""
    rows = (Rescuer(1, 0, line="a 1", tenders=PAIR), Rescuer(2, 0, line="A1", tenders=OTHERS))
    assert ["Line a 1 is recorded for rescuer one and rescuer two"] == [lack.words for lack in lacks(rows)]


def test_words() -> None:
    """Spoken short, written in full, empty when nothing is known."""
    assert ("", "") == (spoken("", ()), written("", ()))
    assert "line twelve, tender Ashby" == spoken("12", ("Ashby",))
    assert "no line recorded, tenders Ashby and Renn" == spoken("", PAIR)
    assert "line 12, no tenders recorded" == written("12", ())
    assert "line 12, tenders Ashby, Renn" == written("12", PAIR)
    assert "line 12, tender Ashby" == written("12", ("Ashby",))


def test_tidying() -> None:
    """Spaces, empty names and repetitions go; the order stays."""
    assert "A 7" == tidy_line("  A  7 ")
    assert PAIR == tidy_tenders((" Ashby", "", "Renn ", "ashby"))


@given(line=st.text(max_size=20), tenders=st.lists(st.text(max_size=90), max_size=6))
def test_what_is_written_down_is_short_and_plain(line: str, tenders: list[str]) -> None:
    """Whatever arrives: what passes has a bounded length and holds no control character."""
    clean, names = tidy_line(line), tidy_tenders(tenders)
    if not fault(clean, names):
        assert len(clean) <= LINE_CHARS
        assert len(names) <= MAX_TENDERS
        assert "".join((clean, *names)).isprintable()
    story = at_entry()
    goes_in(story, 1, line, tuple(tenders))
    assert 1 == len(story.state.inside)


@given(st.lists(st.tuples(st.integers(1, 4), st.sampled_from(["in", "out", "line", "back"]), st.sampled_from(["", "1", "2", " 1"])), max_size=25))
def test_whatever_is_told_in_whatever_order_no_line_holds_two(told: list[tuple[int, str, str]]) -> None:
    """In, out, lines written down and counts taken back, at random: never one line for two inside."""
    story = at_entry()
    for slot, what, line in told:
        if what in {"in", "out"}:
            story.do(cmd.MoveRescuer(story.now, OFFICER, slot, what == "in", line, PAIR))
        elif what == "line":
            story.do(cmd.RecordLine(story.now, OFFICER, slot, line, PAIR))
        else:
            story.do(cmd.Correct(story.now, OFFICER))
        lines = [one.line for one in story.state.inside if one.line]
        assert len(set(lines)) == len(lines)
        assert all(on_line(story.state.inside, one.line, one.slot) is None for one in story.state.inside)


def test_a_record_from_before_lines_is_read() -> None:
    """An entry without the fields is an entry without a line; the same record says the same again."""
    command = {"is": "MoveRescuer", "at_ms": 5, "origin": {"station": "crew", "role": "both", "how": "voice"}, "slot": 2, "inside": True}
    event = {"is": "RescuerEntered", "at_ms": 5, "slot": 2}
    read = command_from(command)
    assert isinstance(read, cmd.MoveRescuer)
    assert (("", ()), ev.RescuerEntered(5, 2)) == ((read.line, read.tenders), event_from(event))
    assert {"line": "", "tenders": []}.items() <= to_plain(ev.RescuerEntered(5, 2)).items()
    state = fold((ev.IncidentOpened(0, "drill", "x"), ev.RescuerEntered(5, 2)))
    assert (Rescuer(2, 5),) == state.inside


def test_a_line_with_the_wrong_kind_of_value_is_refused() -> None:
    """Tenders are a list of words, not one word."""
    with pytest.raises(HistoryError, match="tenders"):
        event_from({"is": "RescuerEntered", "at_ms": 5, "slot": 2, "line": "1", "tenders": "Ashby"})
