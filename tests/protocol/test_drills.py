"""What only a drill has: its beginning, injects, pause, rewind, notes. None of it in an incident."""

from dataclasses import replace

import pytest

from protocol import commands as cmd
from protocol import events as ev
from protocol.errors import HistoryError
from protocol.history import apply, fold
from protocol.rules import DRILL_COMMANDS, decide
from protocol.rules.drills import moment_of
from protocol.state import State
from tests.books import shipped_book
from tests.drills import VISIBLE
from tests.story import MINUTE, SECOND, Story, kinds, only, origin_of, sentences, walked_to

BOOK = shipped_book()
TRAINER = cmd.Origin("trainer", cmd.Role.BOTH, "keyboard")


def drill_commands(at_ms: int) -> tuple[cmd.Command, ...]:
    """One of each."""
    return (
        cmd.BeginDrill(at_ms, TRAINER, "x", "X"), cmd.EndDrill(at_ms, TRAINER, "enough"),
        cmd.GiveInject(at_ms, TRAINER, "rain", "both", "It rains."), cmd.PauseDrill(at_ms, TRAINER, paused=True),
        cmd.RewindDrill(at_ms, TRAINER, "people"), cmd.TrainerNote(at_ms, TRAINER, "Slow."),
    )  # fmt: skip


def test_the_list_is_whole() -> None:
    """The tests below speak of every command that only a drill has."""
    assert set(DRILL_COMMANDS) == {type(command) for command in drill_commands(0)}


@pytest.mark.parametrize("kind", ["live", "rehearsal", ""])
@pytest.mark.parametrize("index", range(6))
def test_an_incident_takes_none_of_it(kind: str, index: int) -> None:
    """In anything but a drill each is refused on record and changes nothing, whoever asks."""
    story = Story(BOOK, kind=kind)
    story.say("one person trapped")
    before = story.state
    events = story.do(drill_commands(story.now)[index])
    assert ["CommandRefused"] == kinds(events)
    assert ["This is no drill."] == [event.reason for event in only(events, ev.CommandRefused)]
    assert before == story.state
    assert () == story.state.moments


def test_a_forged_rewind_cannot_be_replayed() -> None:
    """A record that puts an incident back contradicts itself: nothing to go back to is kept."""
    story = Story(BOOK, kind="live")
    with pytest.raises(HistoryError, match="never stood there"):
        apply(story.state, ev.DrillRewound(story.now, "people", "people", 0))


def test_it_is_said_to_be_a_drill() -> None:
    """The crew hears that it is a drill, what they find, the step, and the caution."""
    story = Story(BOOK)
    events = story.do(cmd.BeginDrill(story.now, cmd.PROGRAM, "x", "Waist deep", "One person."))
    said = sentences(events)
    assert ["This is a drill. Waist deep.", "One person."] == said[:2]
    assert BOOK.procedure.heading.caution in said
    assert "How many people" in " ".join(said)


def test_an_inject_is_told_and_on_record() -> None:
    """The sentence goes to the side it is for, urgent ones as an alarm."""
    story = Story(BOOK)
    events = story.do(cmd.GiveInject(story.now, TRAINER, "rain", "inside", "It rains.", True, ("hold",), 5.0))
    (inject,) = only(events, ev.InjectGiven)
    assert ("rain", ("hold",), 5.0) == (inject.inject, inject.expects, inject.within_s)
    (said,) = only(events, ev.Said)
    assert ("inside", ev.Urgency.ALARM, "It rains.") == (said.to, said.urgency, said.text)


def test_a_paused_drill_stands_still() -> None:
    """Nothing advances while it is paused; the same words are taken once it goes on."""
    story = walked_to(BOOK, VISIBLE, "boards")
    story.do(cmd.PauseDrill(story.now, TRAINER, paused=True))
    refused = story.say("walkway boards are laid", at=story.now)
    assert ["The drill is paused."] == [event.reason for event in only(refused, ev.CommandRefused)]
    assert "boards" == story.step
    story.do(cmd.PauseDrill(story.now, TRAINER, paused=False))
    story.say("walkway boards are laid", at=story.now)
    assert "beside" == story.step


def test_an_emergency_is_taken_in_a_pause() -> None:
    """It may be a real one."""
    story = walked_to(BOOK, VISIBLE, "boards")
    story.do(cmd.PauseDrill(story.now, TRAINER, paused=True))
    assert only(story.raise_emergency("mayday"), ev.EmergencyRaised)


@pytest.mark.parametrize("paused", [True, False])
def test_pausing_twice_says_nothing(paused: bool) -> None:
    """Asked for what already is, nothing happens."""
    story = Story(BOOK)
    story.do(cmd.PauseDrill(story.now, TRAINER, paused=paused))
    assert () == story.do(cmd.PauseDrill(story.now, TRAINER, paused=paused))


def test_the_trainers_note_is_not_heard() -> None:
    """On record for the debrief, and not a word to either side."""
    story = Story(BOOK)
    events = story.do(cmd.TrainerNote(story.now, TRAINER, "Good hands."))
    assert ["TrainerNoted"] == kinds(events)
    assert [] == sentences(events)


def test_the_end_closes_the_record() -> None:
    """Ended by its scenario or the trainer, a drill is closed and says so."""
    story = walked_to(BOOK, VISIBLE, "boards")
    events = story.do(cmd.EndDrill(story.now, TRAINER, "enough"))
    assert ["DrillEnded", "Said", "IncidentClosed"] == kinds(events)
    assert story.state.closed


# ------------------------------------------------------------------------------------------------------------ rewind


@pytest.mark.parametrize("to", ["harness", "air_hatch", "panel_set", "boards"])
def test_a_rewind_restores_the_step_as_it_was(to: str) -> None:
    """Facts, readings, crew, counts and clocks stand as they did when the step was entered, only later."""
    before = walked_to(BOOK, VISIBLE, to).state
    story = walked_to(BOOK, VISIBLE, "vacuum_ready")
    at_ms = story.now + 5 * MINUTE
    events = story.do(cmd.RewindDrill(at_ms, TRAINER, to))
    moment = moment_of(before, to)
    assert moment is not None
    by_ms = at_ms - moment.at_ms
    after = story.state
    assert (to, moment.facts, moment.trail, moment.repeats) == (after.step, after.facts, after.trail, after.repeats)
    assert [row.at_ms + by_ms for row in moment.readings] == [row.at_ms for row in after.readings]
    assert [one.entered_ms + by_ms for one in moment.crew] == [one.entered_ms for one in after.crew]
    waits = {(row.timer, row.key): row.due_ms for row in after.timers}
    assert {(row.timer, row.key): (row.due_ms or 0) + by_ms for row in moment.timers} == waits
    assert "put back to" in sentences(events)[0]


def test_a_drill_goes_on_from_where_it_was_put_back() -> None:
    """The rest of the drill can be worked again to the end, and the record folds to the same state."""
    story = walked_to(BOOK, VISIBLE, "vacuum_ready")
    story.do(cmd.RewindDrill(story.now, TRAINER, "panel_set"))
    story.say_all(VISIBLE[VISIBLE.index("panel one standing") :])
    assert story.state.closed
    assert story.state == fold(story.events)


def test_it_can_be_put_back_again_and_further() -> None:
    """Twice to the same step, then to an earlier one; what came after an earlier one is gone."""
    story = walked_to(BOOK, VISIBLE, "driven")
    for to in ("panel_set", "panel_set", "harness"):
        story.do(cmd.RewindDrill(story.now + SECOND, TRAINER, to))
        assert to == story.step
    refused = story.do(cmd.RewindDrill(story.now, TRAINER, "panel_set"))
    assert ["CommandRefused"] == kinds(refused)


def test_it_cannot_go_where_it_has_not_been() -> None:
    """A step that was never entered is refused, with its name."""
    story = walked_to(BOOK, VISIBLE, "boards")
    (refused,) = only(story.do(cmd.RewindDrill(story.now, TRAINER, "free")), ev.CommandRefused)
    assert "'free'" in refused.reason
    assert "boards" == story.step


def test_going_over_a_rewound_record_gives_the_same_events() -> None:
    """Deciding the commands again gives the record, to the letter: a rewind is no exception to a replay."""
    story = walked_to(BOOK, VISIBLE, "driven")
    story.do(cmd.RewindDrill(story.now, TRAINER, "harness"))
    story.say("harness and anchor inspected")
    again = State()
    for command in story.commands:
        again = fold(decide(BOOK, again, command), again)
    assert replace(story.state) == again
    assert origin_of(cmd.Role.BOTH).role is cmd.Role.BOTH
