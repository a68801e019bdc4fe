"""Questions change nothing; failed parts are said once; time never runs back; a closed incident takes nothing."""

from dataclasses import replace
from decimal import Decimal
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas
from protocol.delivery import Link
from protocol.events import Urgency
from protocol.history import fold
from protocol.rules import decide
from protocol.state import State
from tests.books import shipped_book
from tests.drills import VISIBLE
from tests.story import MINUTE, Story, kinds, only, origin_of, sentences, walked_to

BOOK = shipped_book()
INSIDE, OUTSIDE, BOTH = cmd.Role.INSIDE, cmd.Role.OUTSIDE, cmd.Role.BOTH
ALLOWED_AFTER = (
    cmd.Note, cmd.Ask, cmd.ReportPart, cmd.Tick, cmd.TrainerNote, cmd.ReportStation, cmd.BeginHearing, cmd.TakeLead,
)  # fmt: skip


# -------------------------------------------------------------------------------------------------------- questions


@pytest.mark.parametrize(
    ("words", "answer"),
    [
        ("time check", "Five minutes since the first call. Person last checked three minutes ago."),
        ("crew status", "Two inside: rescuer one, one minute; rescuer two, one minute."),
        ("what comes next", "Next: At the person."),
        ("read the choices", "Say, walkway boards are laid."),
        ("radio check", "Loud and clear."),
        ("grain remaining", "No grain level has been called. Say, grain at, and the mark."),
    ],
)
def test_a_question_is_answered_to_whoever_asked(words: str, answer: str) -> None:
    """The answer goes to the asking side alone, and nothing but the last words changes."""
    story = walked_to(BOOK, VISIBLE, "boards")
    timers = tuple(
        replace(row, started_ms=2 * MINUTE) if row.timer == "person_check" else row for row in story.state.timers
    )
    crew = tuple(replace(one, entered_ms=4 * MINUTE) for one in story.state.crew)
    before = story.state = replace(story.state, timers=timers, crew=crew)
    events = story.say(words, at=5 * MINUTE + 1, role=INSIDE)
    assert [("inside", Urgency.ANSWER, answer)] == [(one.to, one.urgency, one.text) for one in only(events, ev.Said)]
    assert replace(before, last_said=(), at_ms=0) == replace(story.state, last_said=(), at_ms=0)


def test_say_again_repeats_the_prompt_of_the_step() -> None:
    """Whoever missed it hears the step again with the words for it."""
    story = walked_to(BOOK, VISIBLE, "guard")
    prompt = sentences(story.events)[-1]
    assert [prompt] == sentences(story.say("say again"))


def test_the_choices_of_a_question_are_all_read() -> None:
    """Every answer that is in force is in the list."""
    story = walked_to(BOOK, VISIBLE, "depth")
    said = sentences(story.say("read the choices"))[0]
    assert all(answer.say[0] in said for answer in story.scene().step.answers)


def test_the_grain_that_is_left_has_a_range() -> None:
    """Once a level was called the answer gives an amount between two bounds (volumes: tests/protocol/estimates)."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("grain at chest")
    answer = sentences(story.say("grain remaining"))[0]
    assert "between" in answer
    assert "bushels" in answer


def test_nobody_inside_is_said_so() -> None:
    """The crew status of an empty bin is not a list."""
    assert ["Nobody inside."] == sentences(walked_to(BOOK, VISIBLE, "harness").say("crew status"))


@pytest.mark.parametrize("query", list(cmd.Query))
@pytest.mark.parametrize("step", ["people", "depth", "panel_set", "to_hips", "bad_air_out", "mayday_over"])
def test_every_question_is_answered_in_every_kind_of_step(step: str, query: cmd.Query) -> None:
    """Questions, repeats, counts and emergencies: each has an answer for each question."""
    state = replace(State(opened=True), step=step)
    events = decide(BOOK, state, cmd.Ask(MINUTE, origin_of(BOTH), query))
    assert set(kinds(events)) == {"Said"}
    assert all(sentences(events))


@pytest.mark.parametrize("query", list(cmd.Query))
def test_no_question_crashes_a_closed_incident(query: cmd.Query) -> None:
    """After the end questions are answered or pass in silence."""
    story = Story(BOOK).say_all(VISIBLE)
    events = story.do(cmd.Ask(story.now, origin_of(BOTH), query))
    assert set(kinds(events)) <= {"Said"}


# ---------------------------------------------------------------------------------------------------- failing parts


def test_a_lost_part_is_said_once_and_its_return_once() -> None:
    """A microphone that fails again and again does not talk the crew to death."""
    story = walked_to(BOOK, VISIBLE, "boards")

    def report(*, works: bool) -> list[str]:
        detail = "Plug it in again."
        return sentences(story.do(cmd.ReportPart(story.now, cmd.PROGRAM, "microphone", works, detail)))

    assert [] == report(works=True)
    assert ["Microphone lost. Plug it in again."] == report(works=False)
    assert [] == report(works=False)
    assert ["microphone"] == list(story.state.failed_parts)
    assert ["Microphone works again."] == report(works=True)
    assert [] == report(works=True)
    assert [] == list(story.state.failed_parts)


def test_a_note_is_kept_word_for_word() -> None:
    """Words for the record are on record, with who said them."""
    story = walked_to(BOOK, VISIBLE, "boards")
    events = story.do(cmd.Note(story.now, origin_of(OUTSIDE), "second vacuum arrived"))
    assert [("outside", "second vacuum arrived")] == [(event.by, event.text) for event in only(events, ev.NoteTaken)]
    assert ["Noted."] == sentences(events, "outside")
    assert [] == sentences(events, "inside")


# ------------------------------------------------------------------------------------- before, after, out of order


def _any_command(at_ms: int) -> list[cmd.Command]:
    origin = origin_of(BOTH)
    made: list[cmd.Command] = [
        cmd.OpenIncident(at_ms, origin, "drill", ""), cmd.Advance(at_ms, origin, "people", "one"),
        cmd.ReportAir(at_ms, origin, Gas.OXYGEN, Decimal(18)),
        cmd.CallLevel(at_ms, origin, "knees"), cmd.MoveRescuer(at_ms, origin, 1, inside=True), cmd.RecordLine(at_ms, origin, 1, "2", ()),
        cmd.RaiseEmergency(at_ms, origin, "mayday"), cmd.Ask(at_ms, origin, cmd.Query.TIME),
        cmd.Override(at_ms, origin, "people", "why not", "one"), cmd.Note(at_ms, origin, "a note"),
        cmd.EndWork(at_ms, origin, "enough"),
        cmd.TapeCorner(at_ms, origin, 1, Decimal(12)), cmd.CallOutside(at_ms, origin, 1, Decimal(12)),
        cmd.ReportPart(at_ms, origin, "speaker", works=False, detail="Gone."), cmd.Tick(at_ms),
        cmd.BeginDrill(at_ms, origin, "none", "None"), cmd.EndDrill(at_ms, origin, "enough"),
        cmd.GiveInject(at_ms, origin, "x", "both", "It rains."),
        cmd.PauseDrill(at_ms, origin, paused=True), cmd.RewindDrill(at_ms, origin, "people"),
        cmd.TrainerNote(at_ms, origin, "Slow."), cmd.KeepAudio(at_ms, origin, "crew", "incident.crew-1.flac"),
        cmd.ReportStation(at_ms, origin, "hatch", BOTH, Link.UP), cmd.TakeLead(at_ms, origin, "post", 2, "it went dark"),
        cmd.BeginHearing(at_ms, origin),
    ]  # fmt: skip
    plain = (cmd.Affirm, cmd.Negate, cmd.CountCanister, cmd.CheckPerson, cmd.AnswerRollCall, cmd.StepBack, cmd.Correct,
             cmd.Hold, cmd.Resume, cmd.WithdrawEmergency)  # fmt: skip
    made += [kind(at_ms, origin) for kind in plain]
    assert {type(command) for command in made} == set(get_args(cmd.Command))
    return made


@pytest.mark.parametrize("command", _any_command(0), ids=lambda command: type(command).__name__)
def test_nothing_happens_before_the_incident_is_opened(command: cmd.Command) -> None:
    """Every command but opening is refused on record, and time passes in silence."""
    events = decide(BOOK, State(), command)
    if isinstance(command, cmd.OpenIncident):
        assert "IncidentOpened" == kinds(events)[0]
    elif isinstance(command, cmd.Tick):
        assert () == events
    else:
        assert [(type(command).__name__, "The incident has not been opened.")] == [
            (event.command, event.reason) for event in only(events, ev.CommandRefused)
        ]
    assert isinstance(command, cmd.OpenIncident) == fold(events).opened


@pytest.mark.parametrize("command", _any_command(10**9), ids=lambda command: type(command).__name__)
def test_a_closed_incident_takes_nothing(command: cmd.Command) -> None:
    """After stand-down only notes, questions, failing parts, headsets and stations are taken; no step, count or reading changes."""
    story = Story(BOOK).say_all(VISIBLE)
    before = story.state
    events = story.do(command)
    if isinstance(command, ALLOWED_AFTER):
        assert not only(events, ev.CommandRefused)
    else:
        assert ["CommandRefused"] == kinds(events)
    cleared = {"at_ms": 0, "last_said": (), "failed_parts": (), "stations": State().stations}
    assert replace(before, **cleared) == replace(story.state, **cleared)  # type: ignore[arg-type]


@pytest.mark.parametrize("command", _any_command(0), ids=lambda command: type(command).__name__)
@pytest.mark.parametrize("early_ms", [1, 60_000])
def test_an_earlier_command_is_refused_on_record(command: cmd.Command, early_ms: int) -> None:
    """Time never runs back: what is dated before the last event changes nothing and leaves one line."""
    story = walked_to(BOOK, VISIBLE, "boards")
    before = story.state
    events = story.do(replace(command, at_ms=before.at_ms - early_ms))
    assert [type(command).__name__] == [event.command for event in only(events, ev.CommandRefused)]
    assert [before.at_ms] == [event.at_ms for event in events]
    assert before == story.state


@given(st.integers(0, 10**9), st.sampled_from(range(len(_any_command(0)))))
def test_a_decision_never_raises(at_ms: int, index: int) -> None:
    """A command that cannot be taken is answered by an event, never by an exception."""
    for state in (State(), replace(State(opened=True), step="panel_set"), replace(State(opened=True), step="mayday_over")):
        events = decide(BOOK, state, _any_command(at_ms)[index])
        assert fold(events, state).at_ms <= max(at_ms, 0)


# ------------------------------------------------------------------------------------------- cautions and directions


@pytest.mark.parametrize("step", ["tried", "entry_go", "visible"])
def test_the_caution_is_spoken_when_it_is_asked_for(step: str) -> None:
    """By its own question in every step, and after "say again" in a step that is read back; never unasked."""
    story = walked_to(BOOK, VISIBLE, step)
    caution = BOOK.procedure.step(step).caution
    assert caution
    assert caution not in sentences(story.events)
    assert [caution] == sentences(story.say("what is the danger"))
    assert caution == sentences(story.say("say again"))[-1]


@pytest.mark.parametrize(
    ("step", "words", "direction"),
    [
        ("breathing", "no sign of breathing", "Tell the medics and command now: no sign of breathing."),
        ("answering", "nothing comes back", "Tell the medics and command now: the person does not answer."),
    ],
)
def test_the_worst_answers_lead_to_a_direction_that_defers_to_the_medics(step: str, words: str, direction: str) -> None:
    """No sign of breathing is acted on by the medics' and command's word, and that is said at once."""
    story = walked_to(BOOK, VISIBLE, step)
    said = sentences(story.say(words), "outside")[0]
    assert f"{words.capitalize()}. {direction} Their word comes first." == said


def test_not_knowing_whether_the_person_answers_is_told_to_the_medics() -> None:
    """Not known is acted on, not passed over."""
    said = sentences(walked_to(BOOK, VISIBLE, "answering").say("answer not known yet"), "outside")[0]
    assert "Answer not known yet. Tell the medics and command: it is not known whether the person answers. Call again." == said


def test_keeping_sound_is_said_to_the_headset_it_concerns() -> None:
    """The record names the file, and that station alone is told; the others hear nothing of it."""
    story = Story(shipped_book())
    events = story.do(cmd.KeepAudio(story.now, cmd.PROGRAM, "hatch", "incident.hatch-1.flac"))
    kept, said = events
    assert ev.AudioKept(story.now, "hatch", "incident.hatch-1.flac") == kept
    assert isinstance(said, ev.Said)
    assert ("hatch", "What this headset hears is kept from now on.") == (said.station, said.text)
