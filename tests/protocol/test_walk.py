"""Walks over the shipped procedure: whole drills by voice, and laws that hold on every random walk."""

import json
from dataclasses import replace
from decimal import Decimal
from functools import cache

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas, Verdict, judge, required_gases
from protocol.history import apply, fold
from protocol.phrases import NUMBER_SLOT, interpret, meanings
from protocol.rules import decide
from protocol.scene import Scene
from protocol.state import State
from protocol.wire import command_from, event_from, to_plain
from tests.books import shipped_book, shipped_procedure
from tests.drills import COVERED, VISIBLE
from tests.story import MINUTE, Story, kinds, only, origin_of

BOOK = shipped_book()
PROCEDURE = shipped_procedure()
ROLES = (cmd.Role.INSIDE, cmd.Role.OUTSIDE, cmd.Role.BOTH)
MAX_AGE_MS = round(BOOK.house.air_max_age_min * MINUTE)
NUMBERS = ("zero", "one two", "two zero decimal niner", "one niner decimal four", "five thousand", "three five")


# ---------------------------------------------------------------------------------------------------- whole drills


@pytest.mark.parametrize("lines", [VISIBLE, COVERED], ids=["visible", "covered"])
def test_a_whole_drill_runs_by_voice_from_the_first_call_to_stand_down(lines: tuple[str, ...]) -> None:
    """Every line is understood, nothing is refused, and the incident ends closed with nobody inside."""
    story = Story(BOOK).say_all(lines)
    assert story.state.closed
    assert "closed" == story.step
    assert () == story.state.inside
    assert not only(story.events, ev.AdvanceRefused)
    assert not only(story.events, ev.CommandRefused)


def test_the_visible_drill_confirms_every_step_of_the_main_procedure() -> None:
    """No step of the visible way is passed over."""
    story = Story(BOOK).say_all(VISIBLE)
    confirmed = {event.step for event in only(story.events, ev.StepConfirmed)}
    assert confirmed == {step.id for step in PROCEDURE.steps[: PROCEDURE.main] if not step.final}


def test_the_covered_drill_joins_in_at_the_questions_about_the_person() -> None:
    """The covered branch is worked from end to end and leads back to depth, breathing and answering."""
    story = Story(BOOK).say_all(COVERED)
    order = [event.step for event in only(story.events, ev.StepEntered)]
    branch = [step.id for step in PROCEDURE.steps if step.stage == "covered"]
    start = order.index(branch[0])
    assert [*branch, "depth"] == order[start : start + len(branch) + 1]


def test_two_headsets_carry_a_drill_as_well_as_one() -> None:
    """Each line is said on the headset of the side that confirms it, and the drill ends the same way."""
    one, two = Story(BOOK).say_all(VISIBLE), Story(BOOK)
    for words in VISIBLE:
        role = next(role for role in (cmd.Role.INSIDE, cmd.Role.OUTSIDE) if _may_say(two, words, role))
        two.say(words, role=role)
    assert one.step == two.step
    assert one.state.facts == two.state.facts


def _may_say(story: Story, words: str, role: cmd.Role) -> bool:
    step = story.scene().step
    pending = story.state.pending
    if words == "affirmative" and pending and pending.what == "step":
        return role.covers(step.confirmed_by)
    return story.heard(words, role=role) is not None


def test_a_drill_is_the_same_drill_every_time() -> None:
    """The same words at the same moments give the same events, to the letter."""
    assert Story(BOOK).say_all(VISIBLE).events == Story(BOOK).say_all(VISIBLE).events


# ------------------------------------------------------------------------------------------------ laws, everywhere


@cache
def _visited(lines: tuple[str, ...]) -> tuple[Story, ...]:
    """One story for each line, told up to there."""
    told: list[Story] = []
    for count in range(len(lines) + 1):
        story = Story(BOOK, opened=False)
        if told:
            story.state, story.events = told[-1].state, list(told[-1].events)
            story.commands = list(told[-1].commands)
            story.say(lines[count - 1])
        else:
            story.do(cmd.OpenIncident(0, cmd.PROGRAM, "drill", BOOK.digest))
        told.append(story)
    return tuple(told)


def _open_moments() -> list[Story]:
    return [story for lines in (VISIBLE, COVERED) for story in _visited(lines) if not story.state.closed]


def _way_to_the_end(state: State) -> State:
    """What an officer outside can order from any state: resume, count everyone out, end the work, pass the rest."""
    officer = origin_of(cmd.Role.OUTSIDE)
    for one in state.inside:
        state = fold(decide(BOOK, state, cmd.MoveRescuer(state.at_ms, officer, one.slot, inside=False)), state)
    state = fold(decide(BOOK, state, cmd.EndWork(state.at_ms, officer, "ordered by command")), state)
    for _ in range(200):
        if state.closed:
            break
        step = PROCEDURE.step(state.step)
        answer = step.answers[0].value if step.answers else None
        order: cmd.Command = cmd.Override(state.at_ms, officer, step.id, "ordered by command", answer)
        if state.held:
            order = cmd.Resume(state.at_ms, officer)
        state = fold(decide(BOOK, state, order), state)
    return state


def test_every_emergency_is_taken_at_every_moment_of_both_drills() -> None:
    """Law: an emergency is accepted in every step, and its order is the first thing that is said."""
    for story in _open_moments():
        for row in PROCEDURE.interruptions:
            _assert_taken(story.state, row.id, row.first)


def test_at_every_moment_of_both_drills_somebody_can_order_a_stop_and_the_end() -> None:
    """Law: hold is in force in every step, and the officer outside can bring every state to stand-down."""
    seen: set[str] = set()
    for story in _open_moments():
        _assert_can_be_stopped(story.state)
        if story.step not in seen:
            seen.add(story.step)
            assert _way_to_the_end(story.state).closed


def _assert_taken(state: State, kind: str, first: str) -> None:
    events = decide(BOOK, state, cmd.RaiseEmergency(state.at_ms, origin_of(cmd.Role.INSIDE), kind))
    said = only(events, ev.Said)
    assert said[0].text.startswith(first)
    assert "both" == said[0].to
    assert kind in [one.kind for one in fold(events, state).emergencies]


def _assert_can_be_stopped(state: State) -> None:
    scene = Scene(BOOK, state, state.at_ms)
    for role in ROLES:
        found = meanings(scene, role)
        assert "hold all work" in found
        assert all(phrase in found for row in PROCEDURE.interruptions for phrase in row.say)
    held = fold(decide(BOOK, state, cmd.Hold(state.at_ms, origin_of(cmd.Role.INSIDE))), state)
    assert held.held


def _air_is_bad(state: State, at_ms: int) -> str:
    """Why work inside must not go on, worked out from the readings alone."""
    for gas in required_gases(state.fact("fumigated")):
        ages = [at_ms - reading.at_ms for reading in state.readings if reading.gas is gas]
        if not ages:
            return f"{gas} unread"
        if min(ages) >= MAX_AGE_MS:
            return f"{gas} stale"
    newest = {(reading.gas, reading.place): reading.value for reading in state.readings}
    bad = [key for key, value in newest.items() if judge(key[0], value) is Verdict.BAD]
    return f"{bad} bad" if bad else ""


def _told_again(commands: list[cmd.Command]) -> list[tuple[ev.Event, ...]]:
    """What each command causes, from the beginning."""
    state, told = State(), []
    for command in commands:
        told.append(decide(BOOK, state, command))
        state = fold(told[-1], state)
    return told


class Walk(RuleBasedStateMachine):
    """Anybody says or does anything, at any time, from any moment of a drill on."""

    def __init__(self) -> None:
        super().__init__()
        self.state = State()
        self.events: list[ev.Event] = []
        self.commands: list[cmd.Command] = []
        self.at_ms = 0
        self.checked_step = ""

    @initialize(lines=st.sampled_from([VISIBLE, COVERED]), data=st.data())
    def start_somewhere(self, lines: tuple[str, ...], data: st.DataObject) -> None:
        """A drill, told up to any of its lines."""
        told = _visited(lines)
        story = told[data.draw(st.integers(0, len(told) - 1), label="lines told")]
        self.state, self.events, self.commands = story.state, list(story.events), list(story.commands)
        self.at_ms = story.now

    def _do(self, command: cmd.Command) -> tuple[ev.Event, ...]:
        before = self.state
        events = decide(BOOK, before, command)
        assert events == decide(BOOK, before, command), "law: the same command gives the same events"
        for event in events:
            assert event == event_from(json.loads(json.dumps(to_plain(event)))), "law: events survive JSON"
            assert event.at_ms >= self.state.at_ms, "law: time never runs back"
            self.state = apply(self.state, event)
            self._check_air(event, before, command.at_ms)
        assert command == command_from(json.loads(json.dumps(to_plain(command)))), "law: commands survive JSON"
        self.commands.append(command)
        self.events.extend(events)
        self.at_ms = max(self.at_ms, command.at_ms)
        return events

    @staticmethod
    def _check_air(event: ev.Event, before: State, at_ms: int) -> None:
        if not isinstance(event, ev.StepConfirmed | ev.RepeatConfirmed) or getattr(event, "skipped", False):
            return
        step = PROCEDURE.step(event.step)
        if PROCEDURE.stage_of(step).inside_bin and not step.leaving:
            assert "" == _air_is_bad(before, at_ms), "law: nothing inside goes on over bad, stale or unread air"

    def _origin(self, data: st.DataObject, words: str = "") -> cmd.Origin:
        return origin_of(data.draw(st.sampled_from(ROLES), label="role"), words)

    @rule(data=st.data(), wait_ms=st.integers(0, 30_000))
    def say_something_that_means_something(self, data: st.DataObject, wait_ms: int) -> None:
        """Any phrase in force for any headset."""
        origin = self._origin(data)
        scene = Scene(BOOK, self.state, self.at_ms)
        words = data.draw(st.sampled_from(sorted(meanings(scene, origin.role))), label="words")
        words = words.replace(NUMBER_SLOT, data.draw(st.sampled_from(NUMBERS), label="number"))
        command = interpret(BOOK, self.state, words, self.at_ms + wait_ms, replace(origin, heard=words))
        assert command is not None
        self._do(command)

    @precondition(lambda self: self.state.opened and not self.state.closed)
    @rule(data=st.data(), wait_ms=st.integers(0, 20_000))
    def confirm_the_step(self, data: st.DataObject, wait_ms: int) -> None:
        """The words of the present step, affirmed if they are read back: this is what gets a walk forward."""
        step = PROCEDURE.step(self.state.step)
        answer = data.draw(st.sampled_from([row.value for row in step.answers]), label="answer") if step.answers else None
        number = data.draw(st.integers(0, BOOK.house.panels + 1), label="number") if step.repeat else None
        role = cmd.Role.BOTH if data.draw(st.booleans(), label="right headset") else cmd.Role.INSIDE
        self._do(cmd.Advance(self.at_ms + wait_ms, origin_of(role), step.id, answer, number))
        if self.state.pending is not None:
            self._do(cmd.Affirm(self.at_ms + wait_ms, origin_of(role)))

    @rule(gas=st.sampled_from(Gas), value=st.integers(0, 400), place=st.sampled_from([None, "hatch", "person"]),
          wait_ms=st.integers(0, 10_000))  # fmt: skip
    def read_a_gas(self, gas: Gas, value: int, place: str | None, wait_ms: int) -> None:
        """Any reading, good or bad, affirmed if it is read back."""
        self._do(cmd.ReportAir(self.at_ms + wait_ms, origin_of(cmd.Role.BOTH), gas, Decimal(value) / 10, place))
        if self.state.pending is not None:
            self._do(cmd.Affirm(self.at_ms, origin_of(cmd.Role.BOTH)))

    @rule(wait_ms=st.integers(0, 1_000))
    def read_every_gas_well(self, wait_ms: int) -> None:
        """All gases good at both places: work may go on."""
        for place in ("hatch", "person"):
            for gas in Gas:
                value = Decimal("20.9") if gas is Gas.OXYGEN else Decimal(0)
                self._do(cmd.ReportAir(self.at_ms + wait_ms, origin_of(cmd.Role.BOTH), gas, value, place))
                self._do(cmd.Affirm(self.at_ms, origin_of(cmd.Role.BOTH)))

    @rule(slot=st.integers(1, 3), inside=st.booleans(), line=st.sampled_from(["", "1", "2"]))
    def move_a_rescuer(self, slot: int, inside: bool, line: str) -> None:
        """Somebody goes in, perhaps on a line, or comes out."""
        self._do(cmd.MoveRescuer(self.at_ms, origin_of(cmd.Role.BOTH), slot, inside, line, ("Ashby",) if line else ()))

    @rule(slot=st.integers(1, 3), line=st.sampled_from(["", "1", "2"]))
    def record_a_line(self, slot: int, line: str) -> None:
        """The officer writes down a line, of somebody who may not be inside."""
        self._do(cmd.RecordLine(self.at_ms, origin_of(cmd.Role.OUTSIDE), slot, line, ("Renn",)))

    @rule(mark=st.sampled_from(["feet", "knees", "hips", "chest"]))
    def call_a_level(self, mark: str) -> None:
        """A grain level."""
        self._do(cmd.CallLevel(self.at_ms, origin_of(cmd.Role.BOTH), mark))

    @rule(kind=st.sampled_from([row.id for row in PROCEDURE.interruptions]))
    def raise_an_emergency(self, kind: str) -> None:
        """Any emergency."""
        self._do(cmd.RaiseEmergency(self.at_ms, origin_of(cmd.Role.INSIDE), kind))

    @rule(data=st.data(), reason=st.sampled_from(["", "ordered"]))
    def override_something(self, data: st.DataObject, reason: str) -> None:
        """An override by anyone, with or without a reason."""
        self._do(cmd.Override(self.at_ms, self._origin(data), self.state.step, reason, None))

    @rule(wait_ms=st.sampled_from([0, 1, 1_000, 60_000, 200_000, 900_000]))
    def let_time_pass(self, wait_ms: int) -> None:
        """A tick, sometimes a long one."""
        self._do(cmd.Tick(self.at_ms + wait_ms))
        self.at_ms += wait_ms

    @precondition(lambda self: self.state.at_ms > 0)
    @rule(data=st.data())
    def say_something_too_early(self, data: st.DataObject) -> None:
        """A command that is dated before the last event is refused, recorded, and changes nothing."""
        before = self.state
        at_ms = data.draw(st.integers(0, before.at_ms - 1), label="too early")
        origin = origin_of(cmd.Role.BOTH)
        late: list[cmd.Command] = [cmd.Hold(at_ms, origin), cmd.Affirm(at_ms, origin), cmd.RaiseEmergency(at_ms, origin, "mayday")]
        assert ["CommandRefused"] == kinds(self._do(data.draw(st.sampled_from(late), label="command")))
        assert before == self.state

    @invariant()
    def every_emergency_and_a_stop_are_open_to_everyone(self) -> None:
        """Checked once for each step that the walk comes to."""
        if not self.state.opened or self.state.closed or self.state.step == self.checked_step:
            return
        self.checked_step = self.state.step
        _assert_can_be_stopped(self.state)
        for row in PROCEDURE.interruptions:
            _assert_taken(self.state, row.id, row.first)

    @invariant()
    def the_state_is_whole(self) -> None:
        """A step that exists, nobody inside twice, no line for two, no clock twice, a way back for every emergency."""
        if not self.state.opened:
            return
        step = PROCEDURE.step(self.state.step)
        slots = [one.slot for one in self.state.inside]
        clocks = [(row.timer, row.key) for row in self.state.timers]
        lines = [one.line for one in self.state.inside if one.line]
        assert len(set(slots)) == len(slots)
        assert len(set(lines)) == len(lines)
        assert len(set(clocks)) == len(clocks)
        assert bool(self.state.emergencies) == PROCEDURE.stage_of(step).emergency
        if self.state.emergencies:
            home = PROCEDURE.step(self.state.emergencies[0].return_to)
            assert not PROCEDURE.stage_of(home).emergency
        assert not (self.state.held and self.state.pending and self.state.pending.what == "step") or (
            PROCEDURE.stage_of(step).emergency
        )

    def teardown(self) -> None:
        """Laws over the whole walk: the fold is the state, ticks without effect may be dropped, the end is in reach."""
        assert self.state == fold(self.events), "law: the fold of the events is the live state"
        again = _told_again(self.commands)
        assert self.events == [event for events in again for event in events], "law: same commands, same events"
        kept = [command for command, events in zip(self.commands, again, strict=True) if events]
        assert [events for events in again if events] == _told_again(kept), "law: commands without events change nothing"
        if self.state.opened:
            assert _way_to_the_end(self.state).closed, "law: an officer can bring every state to stand-down"


TestWalk = Walk.TestCase
TestWalk.settings = settings(
    max_examples=40, stateful_step_count=40, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
