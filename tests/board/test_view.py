"""The view as a whole, over two whole drills."""

import json
import re
from collections.abc import Iterable
from dataclasses import FrozenInstanceError, fields, is_dataclass
from typing import Any

import pytest

from assistant.board.view import plain, view
from protocol import commands as cmd
from protocol.events import AdvanceRefused
from protocol.rules import decide
from protocol.scene import Scene
from protocol.state import State
from tests.board.tellings import Told, told_to
from tests.books import shipped_book
from tests.drills import COVERED, VISIBLE
from tests.story import MINUTE, origin_of


def words_in(value: Any) -> Iterable[str]:
    """Every text in a view."""
    if is_dataclass(value):
        for field in fields(value):
            yield from words_in(getattr(value, field.name))
    elif isinstance(value, tuple):
        for item in value:
            yield from words_in(item)
    elif isinstance(value, str):
        yield value


@pytest.mark.parametrize("drill", [VISIBLE, COVERED], ids=["visible", "covered"])
def test_every_moment_of_a_drill_can_be_shown_and_survives_json(drill: tuple[str, ...]) -> None:
    """At every record of a whole drill the view names the step of the state and is plain JSON."""
    story = Told()
    for words in drill:
        story.say(words)
        seen = json.loads(json.dumps(plain(story.view)))
        assert (story.step, story.past.n) == (seen["board"]["step"]["id"], seen["n"])
    assert story.view.closed


@pytest.mark.parametrize("drill", [VISIBLE, COVERED], ids=["visible", "covered"])
def test_what_is_missing_is_what_the_rules_refuse(drill: tuple[str, ...]) -> None:
    """The card lists something missing exactly when a confirmation would be refused, in the same words."""
    story = Told()
    compared = 0
    for words in drill:
        story.say(words)
        card = story.shown.step
        if card.final:
            continue
        choice = card.choices[0]
        command = cmd.Advance(story.now, origin_of(cmd.Role.BOTH), card.id, choice.answer, choice.number)
        refused = [event for event in decide(story.book, story.state, command) if isinstance(event, AdvanceRefused)]
        assert bool(card.missing) == bool(refused), card.id
        if refused:
            assert refused[0].reason.lower() == card.missing[0].lower()
            compared += 1
    assert compared > 10


def test_no_sentence_says_that_air_is_safe() -> None:
    """Nothing that is shown in a whole drill calls air, a place or a person safe, but the caution that denies it."""
    story = Told()
    found = set()
    for words in VISIBLE:
        story.say(words)
        found |= {text for text in words_in(story.view) if re.search(r"\bsafe\b", text.lower())}
    assert all("never says that air is safe" in text or "not that the air is safe" in text for text in found), found


def test_before_the_incident_is_open_there_is_a_view() -> None:
    """A board that is started first has something to show."""
    seen = view(Scene(shipped_book(), State(), 0))
    assert (False, None) == (seen.opened, seen.board)
    assert "incident commander decides" in seen.caution


def test_a_view_cannot_be_changed() -> None:
    """A view is frozen, so that one viewer cannot change what another sees."""
    seen = Told().view
    with pytest.raises(FrozenInstanceError):
        seen.n = 3  # type: ignore[misc]


def test_the_same_moment_gives_the_same_view() -> None:
    """Nothing but scene and past goes into a view."""
    story = told_to(VISIBLE, "to_hips")
    assert plain(story.view) == plain(story.view)


def test_time_alone_moves_only_what_hangs_on_time() -> None:
    """Five minutes later the step, the crew and the readings are the same."""
    story = told_to(VISIBLE, "to_hips")
    later = view(Scene(story.book, story.state, story.now + 5 * MINUTE), story.past)
    assert later.board is not None
    assert (story.shown.step, story.shown.crew.inside) == (later.board.step, later.board.crew.inside)


def test_stages_show_how_far_the_job_is() -> None:
    """Stages before the current one are done, later ones ahead; the emergency stage is not one of them."""
    stages = told_to(VISIBLE, "vacuum_ready").shown.stages
    places = [stage.place for stage in stages]
    assert ["done"] * 9 + ["now"] + ["ahead"] * 5 == places
    assert "Vacuum" == stages[9].title


def test_an_emergency_does_not_lose_the_stage() -> None:
    """While an emergency is answered, the stage that it interrupted is still the one shown."""
    story = told_to(VISIBLE, "vacuum_ready")
    story.raise_emergency("mayday")
    assert "Vacuum" == next(stage.title for stage in story.shown.stages if stage.place == "now")
    assert story.shown.step.emergency


def test_off_the_straight_way_the_title_is_the_branchs_own() -> None:
    """A covered person is not announced as visible; back on the straight way the procedure's title stands again."""
    story = told_to(COVERED, "openings_cut")
    assert "Covered person" == story.view.title
    assert story.book.procedure.heading.title == told_to(VISIBLE, "depth").view.title


def test_what_the_crew_said_the_crew_affirms() -> None:
    """A read-back of the crew's own step is not the officer's to answer; of his own question it is."""
    crews, officers = told_to(VISIBLE, "reach"), told_to(VISIBLE, "visible")
    crews.say("well below the kneecaps")
    officers.say("person in plain sight")
    found = [story.shown.step.readback for story in (crews, officers)]
    assert [False, True] == [row.may_affirm for row in found if row]
