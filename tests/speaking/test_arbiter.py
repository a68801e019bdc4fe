"""Laws of who speaks next, held over random histories, and the named cases one by one."""

from collections import Counter

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from assistant.speaking.arbiter import (
    PAUSE_MS,
    STALE_AFTER_MS,
    Arbiter,
    CutOff,
    Dropped,
    Finished,
    Priority,
    SpeechEvent,
    Started,
    Utterance,
)

LIMIT = 6


class ArbiterLaws(RuleBasedStateMachine):
    """One station's speech under random use."""

    def __init__(self) -> None:
        super().__init__()
        self.arbiter = Arbiter(limit=LIMIT)
        self.at_ms = 0
        self.given: dict[str, tuple[int, int, int | None]] = {}
        self.arrivals = 0
        self.events: list[SpeechEvent] = []

    def settle(self) -> None:
        """Ask who speaks, and hold the choice against the rules."""
        before = self.arbiter.waiting
        quiet = self.arbiter.speaking is None
        speaking, events = self.arbiter.next(self.at_ms)
        self.events += events
        for event in events:
            if isinstance(event, Started):
                self.check_choice(event.utterance, before, events)
        if quiet and speaking is None:
            assert all(u.priority is not Priority.ALARM for u in self.arbiter.waiting)

    def check_choice(self, chosen: Utterance, before: tuple[Utterance, ...], events: tuple[SpeechEvent, ...]) -> None:
        """The most urgent, then the newest, then the order within one arrival; never one that is stale."""
        dropped = {event.utterance.id for event in events if isinstance(event, Dropped)}
        others = [u for u in before if u.id not in dropped]
        arrival, place, expires = self.given[chosen.id]
        assert expires is None or self.at_ms < expires
        for other in others:
            rank = (other.priority, self.given[other.id][0], -self.given[other.id][1])
            assert rank <= (chosen.priority, arrival, -place)

    @rule(
        priorities=st.lists(st.sampled_from(Priority), min_size=1, max_size=3),
        kind=st.sampled_from(["", "step", "gas"]),
        lasts_ms=st.one_of(st.none(), st.integers(0, 3000)),
        interruptible=st.booleans(),
    )
    def say(self, priorities: list[Priority], kind: str, lasts_ms: int | None, interruptible: bool) -> None:
        """Hand over one to three utterances in one call."""
        self.arrivals += 1
        batch = []
        for place, priority in enumerate(priorities):
            expires = None if lasts_ms is None else self.at_ms + lasts_ms
            name = f"{self.arrivals}.{place}"
            batch.append(Utterance(name, name, priority, "inside", interruptible, expires, kind))
            default = STALE_AFTER_MS.get(int(priority))
            self.given[name] = (
                self.arrivals,
                place,
                expires if default is None or expires is not None else self.at_ms + default,
            )
        self.events += self.arbiter.say(*batch, at_ms=self.at_ms)
        self.settle()

    @rule(ms=st.integers(1, 4000))
    def time_passes(self, ms: int) -> None:
        """Nothing but time."""
        self.at_ms += ms
        self.settle()

    @rule()
    def comes_to_its_end(self) -> None:
        """The player has said it all."""
        self.events += self.arbiter.finished(self.at_ms)
        self.settle()

    @rule(kind=st.sampled_from(["step", "gas"]))
    def cancel(self, kind: str) -> None:
        """The session takes back a kind."""
        self.events += self.arbiter.cancel(kind, self.at_ms)
        speaking = self.arbiter.speaking
        assert all(u.kind != kind for u in self.arbiter.waiting)
        assert speaking is None or speaking.kind != kind or not speaking.interruptible
        self.settle()

    @rule()
    def device_goes(self) -> None:
        """What is being said can no longer be heard."""
        self.events += self.arbiter.interrupt("device lost", self.at_ms)

    @invariant()
    def an_alarm_is_never_kept_waiting_by_less(self) -> None:
        """While an alarm waits, only an alarm speaks: the cut comes in the same call, so within 0 ms here."""
        speaking = self.arbiter.speaking
        if speaking is not None and any(u.priority is Priority.ALARM for u in self.arbiter.waiting):
            assert speaking.priority is Priority.ALARM

    @invariant()
    def the_queue_is_bounded(self) -> None:
        """A cut-off prompt may come on top of the limit, nothing else."""
        assert len(self.arbiter.waiting) <= LIMIT + 1

    @invariant()
    def nothing_is_said_twice_unless_cut_off(self) -> None:
        """Each start but the first needs a cut that promised to say it again."""
        started = Counter(e.utterance.id for e in self.events if isinstance(e, Started))
        again = Counter(e.utterance.id for e in self.events if isinstance(e, CutOff) and e.again)
        assert all(count <= 1 + again[name] for name, count in started.items())

    @invariant()
    def only_alarms_and_prompts_are_said_again(self) -> None:
        """A cut answer is gone."""
        cuts = [e for e in self.events if isinstance(e, CutOff)]
        assert all(e.utterance.priority >= Priority.PROMPT for e in cuts if e.again)
        assert all(e.utterance.priority is not Priority.ALARM for e in cuts if e.reason == "alarm")

    def teardown(self) -> None:
        """Every utterance ever given has exactly one end."""
        self.events += self.arbiter.clear(self.at_ms)
        ends = Counter(
            e.utterance.id
            for e in self.events
            if isinstance(e, Finished | Dropped) or (isinstance(e, CutOff) and not e.again)
        )
        assert dict.fromkeys(self.given, 1) == dict(ends)


ArbiterLaws.TestCase.settings = settings(max_examples=150, stateful_step_count=40, deadline=None)
TestArbiterLaws = ArbiterLaws.TestCase


def prompt(name: str, kind: str = "step", *, interruptible: bool = True) -> Utterance:
    """A step prompt."""
    return Utterance(name, name, Priority.PROMPT, kind=kind, interruptible=interruptible)


def alarm(name: str, text: str = "gas alarm", expires_at_ms: int | None = None) -> Utterance:
    """An alarm of the kind 'gas'."""
    return Utterance(name, text, Priority.ALARM, kind="gas", expires_at_ms=expires_at_ms)


def test_a_cut_off_prompt_is_said_again() -> None:
    """An alarm cuts the prompt in the same call; after the alarm and a pause the prompt starts anew."""
    arbiter = Arbiter()
    arbiter.say(prompt("p"), at_ms=0)
    arbiter.next(0)
    arbiter.say(alarm("a"), at_ms=500)
    speaking, events = arbiter.next(500)
    assert alarm("a") == speaking
    assert (CutOff(prompt("p"), 500, "alarm", again=True), Started(alarm("a"), 500)) == events
    arbiter.finished(2000)
    assert (None, ()) == arbiter.next(2000)
    assert (prompt("p"), (Started(prompt("p"), 2000 + PAUSE_MS),)) == arbiter.next(2000 + PAUSE_MS)


def test_a_cut_off_answer_is_dropped() -> None:
    """The answer to a question is not repeated after an alarm."""
    arbiter = Arbiter()
    answer = Utterance("t", "twelve minutes", Priority.ANSWER)
    arbiter.say(answer, at_ms=0)
    arbiter.next(0)
    arbiter.say(alarm("a"), at_ms=100)
    assert CutOff(answer, 100, "alarm", again=False) in arbiter.next(100)[1]
    assert () == arbiter.waiting


def test_the_same_alarm_is_stretched() -> None:
    """Raised again while it speaks or waits, an alarm neither restarts nor queues twice, but holds for longer."""
    arbiter = Arbiter()
    arbiter.say(alarm("first", "first"), at_ms=0)
    arbiter.next(0)
    arbiter.say(alarm("gas 1", expires_at_ms=1000), at_ms=100)
    again = alarm("gas 2", expires_at_ms=5000)
    assert (Dropped(again, 900, "same alarm"),) == arbiter.say(again, at_ms=900)
    arbiter.finished(2000)
    assert alarm("gas 1", expires_at_ms=1000) == arbiter.next(2000)[0]
    assert (Dropped(alarm("gas 3"), 2100, "same alarm"),) == arbiter.say(alarm("gas 3"), at_ms=2100)


def test_one_arrival_keeps_its_order() -> None:
    """An acknowledgement handed over with the next prompt is said before it."""
    arbiter = Arbiter()
    arbiter.say(prompt("old"), at_ms=0)
    arbiter.say(prompt("acknowledged"), prompt("next"), at_ms=1)
    assert ("acknowledged", "next", "old") == tuple(u.id for u in arbiter.waiting)


def test_what_may_not_be_interrupted_is_said_to_its_end() -> None:
    """`cancel` leaves it alone once it speaks; an alarm still cuts it."""
    arbiter = Arbiter()
    arbiter.say(prompt("caution", interruptible=False), at_ms=0)
    arbiter.next(0)
    assert () == arbiter.cancel("step", 10)
    assert "caution" == (arbiter.speaking and arbiter.speaking.id)
    arbiter.say(alarm("a"), at_ms=20)
    assert "a" == getattr(arbiter.next(20)[0], "id", None)


def test_answers_go_stale() -> None:
    """An answer that could not be said for eight seconds is dropped."""
    arbiter = Arbiter()
    answer = Utterance("t", "twelve minutes", Priority.ANSWER)
    arbiter.say(prompt("p"), at_ms=0)
    arbiter.next(0)
    arbiter.say(answer, at_ms=0)
    assert (Dropped(answer, 8000, "stale"),) == arbiter.next(8000)[1]


def test_a_full_queue_loses_the_least_urgent_and_oldest() -> None:
    """Crowding never costs an alarm while anything else waits."""
    arbiter = Arbiter(limit=2)
    arbiter.say(alarm("a"), at_ms=0)
    arbiter.say(prompt("old"), at_ms=1)
    assert (Dropped(prompt("old"), 2, "crowded out"),) == arbiter.say(prompt("new"), at_ms=2)


def test_nobody_overtakes_one_that_is_not_ready() -> None:
    """While the first in line has no clip yet, the prompt being said goes on and no lesser one starts."""
    arbiter = Arbiter()
    arbiter.say(prompt("p"), at_ms=0)
    arbiter.next(0)
    arbiter.say(alarm("a"), at_ms=10)
    assert (prompt("p"), ()) == arbiter.next(20, lambda u: u.priority is not Priority.ALARM)
    assert alarm("a") == arbiter.next(60)[0]
