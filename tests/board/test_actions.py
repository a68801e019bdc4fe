"""Every action: what it becomes, whose words stand in the record, and when a page is too old for it."""

import json
from dataclasses import replace
from typing import Any

import pytest

from assistant.board.action_table import ACTIONS, BadActionError, read_action
from assistant.board.step_card import lacking
from protocol import commands as cmd
from protocol import events as ev
from protocol.commands import Origin, Role
from protocol.phrases import interpret
from protocol.wire import command_from, to_plain
from tests.board.tellings import Told, told_to
from tests.drills import VISIBLE

ORIGIN = Origin("board 1", Role.OUTSIDE, "board", "words")
EXAMPLES: dict[str, tuple[dict[str, Any], type]] = {
    "confirm": ({"step": "boards"}, cmd.Advance),
    "relay": ({"step": "boards", "reason": "headset failed, heard by radio"}, cmd.Advance),
    "refuse": ({"step": "boards", "reason": "boards are too short"}, cmd.Note),
    "affirm": ({"asked_ms": 5}, cmd.Affirm),
    "negate": ({"asked_ms": 5}, cmd.Negate),
    "override": ({"step": "boards", "reason": "ordered by command", "without": []}, cmd.Override),
    "end_work": ({"reason": "ordered by command"}, cmd.EndWork),
    "step_back": ({"step": "boards"}, cmd.StepBack),
    "air": ({"gas": "oxygen", "value": "20.9", "place": "hatch"}, cmd.ReportAir),
    "canister": ({"number": 1}, cmd.CountCanister),
    "level": ({"mark": "waist"}, cmd.CallLevel),
    "corner": ({"corner": 2, "down": "31.5"}, cmd.TapeCorner),
    "outside": ({"panel": 3, "higher": "14"}, cmd.CallOutside),
    "move": ({"slot": 1, "inside": True, "line": "2", "tenders": ["Ashby", "Renn"]}, cmd.MoveRescuer),
    "line": ({"slot": 1, "line": "2", "tenders": ["Ashby", "Renn"]}, cmd.RecordLine),
    "roll_call": ({}, cmd.AnswerRollCall),
    "person": ({}, cmd.CheckPerson),
    "hold": ({}, cmd.Hold),
    "resume": ({}, cmd.Resume),
    "say_again": ({}, cmd.Ask),
    "raise": ({"kind": "mayday"}, cmd.RaiseEmergency),
    "withdraw": ({"kind": "mayday"}, cmd.WithdrawEmergency),
    "correct": ({"entries": 0}, cmd.Correct),
    "note": ({"text": "wind is rising"}, cmd.Note),
}


def body(**fields: Any) -> bytes:
    """A request body."""
    return json.dumps({"id": "abcdefgh", **fields}).encode()


def test_every_action_has_an_example() -> None:
    """No action is without a test of what it becomes."""
    assert set(ACTIONS) == set(EXAMPLES)


@pytest.mark.parametrize("name", list(EXAMPLES))
def test_an_action_becomes_its_command_and_the_record_can_hold_it(name: str) -> None:
    """Each action makes one kind of command, with the officer's origin, that survives the record's format."""
    fields, kind = EXAMPLES[name]
    command = read_action(name, body(**fields)).command(ORIGIN)
    assert kind is type(command)
    assert (0, ORIGIN) == (command.at_ms, command.origin)
    assert command == command_from(json.loads(json.dumps(to_plain(command))))


@pytest.mark.parametrize(
    ("name", "step"),
    [("canister", "chest_clear"), ("level", "chest_clear"), ("roll_call", "boards"), ("person", "boards"),
     ("hold", "boards"), ("resume", "boards"), ("raise", "boards"), ("say_again", "boards"), ("correct", "boards"),
     ("step_back", "boards")],
)  # fmt: skip
def test_a_press_is_recorded_in_the_words_of_the_voice(name: str, step: str) -> None:
    """Where a voice could have said it, the words in the record are those that mean the same command when spoken."""
    story = told_to(VISIBLE, step)
    action = read_action(name, body(**EXAMPLES[name][0]))
    spoken = interpret(story.book, story.state, action.words(story.scene()), 0, ORIGIN)
    assert action.command(ORIGIN) == spoken


def test_confirming_is_recorded_in_the_steps_own_phrase() -> None:
    """Plain, answered and numbered steps each give their phrase."""
    scene = told_to(VISIBLE, "boards").scene()
    assert "walkway boards are laid" == read_action("confirm", body(step="boards")).words(scene)
    assert "chest deep in the grain" == read_action("confirm", body(step="depth", answer="chest")).words(scene)
    assert "panel two standing" == read_action("confirm", body(step="panel_set", number=2)).words(scene)
    assert "confirm nothing_here" == read_action("confirm", body(step="nothing_here")).words(scene)


def test_a_late_press_does_not_hit_something_else() -> None:
    """Read-backs, corrections, counts, steps and emergencies are refused when the page they were pressed on is old."""
    story = told_to(VISIBLE, "chest_clear")
    fresh: dict[str, dict[str, Any]] = {
        "canister": {"number": 1},
        "correct": {"entries": len(story.state.entries)},
        "step_back": {"step": "chest_clear"},
    }
    assert [""] * 3 == [outdated(story, name, **fields) for name, fields in fresh.items()]
    story.say("canister is full")
    story.say("grain is off the chest")
    assert all(outdated(story, name, **fields) for name, fields in fresh.items())
    assert outdated(story, "affirm", asked_ms=story.now)
    story.say("oxygen two zero decimal niner")
    assert story.state.pending is not None
    assert "" == outdated(story, "affirm", asked_ms=story.state.pending.asked_ms)
    assert outdated(story, "negate", asked_ms=story.state.pending.asked_ms - 1)
    assert outdated(story, "correct", entries=len(story.state.entries))
    story.raise_emergency("mayday")
    assert "" == outdated(story, "withdraw", kind="mayday")
    story.raise_emergency("line_slack")
    assert outdated(story, "withdraw", kind="mayday")


@pytest.mark.parametrize(
    ("name", "fields"),
    [
        ("air", {"gas": "oxygen", "value": "-1", "place": "hatch"}),
        ("air", {"gas": "oxygen", "value": "1e3", "place": "hatch"}),
        ("air", {"gas": "oxygen", "value": "NaN", "place": "hatch"}),
        ("air", {"gas": "oxygen", "value": 20.9, "place": "hatch"}),
        ("air", {"gas": "oxygen", "value": "20.9\n", "place": "hatch"}),
        ("air", {"gas": "argon", "value": "20.9", "place": "hatch"}),
        ("air", {"gas": "oxygen", "value": "20.9", "place": "moon"}),
        ("note", {"text": "a\x1b[2Jb"}),
        ("note", {"text": "abc\u202edef"}),
        ("note", {"text": "  a "}),
        ("note", {"text": "x" * 301}),
        ("note", {"text": "abc\ud800"}),
        ("override", {"step": "boards", "reason": ""}),
        ("move", {"slot": 0, "inside": True}),
        ("level", {"mark": "moon"}),
        ("hold", {"more": 1}),
        ("confirm", {"step": "../etc"}),
    ],
)
def test_what_is_not_that_action_is_refused(name: str, fields: dict[str, Any]) -> None:
    """Wrong kinds, control characters, turned writing, too long or too short: refused with the field's name."""
    with pytest.raises(BadActionError):
        read_action(name, body(**fields))


@pytest.mark.parametrize("raw", [b"", b"{", b"[]", b"null", b"\xff\xfe", b'{"id":"abcdefgh"}x', b'{"id":"short"}', b"[" * 5000])
def test_what_is_not_json_is_refused(raw: bytes) -> None:
    """Broken, deep or foreign bodies are refused, never an error of the program."""
    with pytest.raises(BadActionError):
        read_action("hold", raw)


def outdated(story: Told, name: str, **fields: Any) -> str:
    """Why an action comes too late."""
    return read_action(name, body(**fields)).outdated(story.scene())


def test_a_relayed_step_is_recorded_as_the_boards_and_keeps_every_precondition() -> None:
    """For the crew inside the officer confirms with the crew's phrase and how he knows; a missing level still refuses."""
    story = told_to(VISIBLE, "to_knees")
    action = read_action("relay", body(step="to_knees", reason="heard by radio"))
    words = action.words(story.scene())
    assert "both knees are showing (for the crew: heard by radio)" == words
    origin = Origin("board 1", action.role(story.scene()), "board", words)
    refused = story.do(replace(action.command(origin), at_ms=story.now))
    assert [ev.AdvanceRefused] == [type(event) for event in refused if not isinstance(event, ev.Said)]
    story.say("grain at knees")
    done = story.do(replace(action.command(origin), at_ms=story.now))
    confirmed = next(event for event in done if isinstance(event, ev.StepConfirmed))
    assert ("to_knees", "board 1", words, False) == (confirmed.step, confirmed.by, confirmed.heard, confirmed.skipped)


def test_a_relayed_read_back_is_affirmed_by_the_board_and_the_crews_own_is_not() -> None:
    """Who relayed a critical step affirms it; what the crew said itself stays with the crew."""
    for station, stands in (("board 1", "gap"), ("crew", "reach")):
        story = told_to(VISIBLE, "reach")
        story.do(cmd.Advance(story.now, Origin(station, Role.BOTH, "board", "well below"), "reach", "below"))
        affirm = read_action("affirm", body(asked_ms=story.now))
        story.do(replace(affirm.command(Origin("board 1", affirm.role(story.scene()), "board", "")), at_ms=story.now))
        assert stands == story.step


def test_an_override_says_on_record_what_was_missing() -> None:
    """What the officer passed without stands in the record; with nothing missing it says that."""
    story = told_to(VISIBLE, "to_knees")
    without = lacking(story.scene())
    assert without == ("The grain was last called at the hips",)
    action = read_action("override", body(step="to_knees", reason="knees seen.", without=list(without)))
    assert "" == action.outdated(story.scene())
    events = story.do(replace(action.command(ORIGIN), at_ms=story.now))
    note = next(event for event in events if isinstance(event, ev.NoteTaken))
    assert note.text.endswith("knees seen. Passed without: The grain was last called at the hips.")
    plain = read_action("override", body(step="feet_free", reason="knees seen", answer="held", without=[])).command(ORIGIN)
    assert isinstance(plain, cmd.Override)
    assert "knees seen. Nothing was missing." == plain.reason


def test_an_override_of_what_the_officer_has_not_seen_is_out_of_date() -> None:
    """When something else is missing than the page named, the press is not put."""
    scene = told_to(VISIBLE, "to_knees").scene()
    assert read_action("override", body(step="to_knees", reason="knees seen", without=[])).outdated(scene)


def test_passing_a_counted_step_names_the_numbers_that_nobody_confirmed() -> None:
    """Of four panels with two confirmed, an override passes without the other two, and says which."""
    story = told_to(VISIBLE, "panel_set")
    story.say("panel one standing")
    story.say("panel two standing")
    assert ("Panel three standing: not confirmed", "Panel four standing: not confirmed") == lacking(story.scene())
    assert () == lacking(told_to(VISIBLE, "joined").scene())
