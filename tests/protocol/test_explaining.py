"""Every number that was estimated and spoken can be asked for: inputs, method, range, source."""

from protocol import commands as cmd
from protocol import events as ev
from protocol.explaining import EXPLANATIONS, NOTHING_SPOKEN
from protocol.history import fold
from protocol.told import KINDS
from protocol.wire import event_from, to_plain
from tests.drills import VISIBLE
from tests.protocol.test_balance import WHO, at_the_vacuum, work
from tests.protocol.test_outside import BOOK, CALLED, at_the_panels
from tests.story import Story, only, sentences, walked_to

READ_BACK = "read back the estimate"


def read_back(story: Story) -> str:
    """What is answered to "read back the estimate"."""
    return sentences(story.say(READ_BACK))[0]


def test_every_kind_of_estimate_is_explained() -> None:
    """No kind without inputs, method, range and source."""
    assert set(KINDS) == set(EXPLANATIONS)
    assert all(row.inputs and row.method and row.range and row.source for row in EXPLANATIONS.values())


def test_before_any_estimate_there_is_nothing_to_explain() -> None:
    """Nothing is made up for the question."""
    assert NOTHING_SPOKEN == read_back(walked_to(BOOK, VISIBLE, "chest_clear"))


def test_the_canisters_to_come_are_explained_with_the_mark_they_came_from() -> None:
    """After a level was called it is the grain estimate, in the words in which it was said."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    said = sentences(story.say("grain at chest"))[0]
    told = read_back(story)
    assert said in told
    assert "From grain at chest and a ring of four panels. Ring area times height, less the body." in told


def test_the_time_left_is_explained_with_the_calls_it_was_learned_from() -> None:
    """The answer spoke grain and time: both are explained, with the calls made until then and none after."""
    story = at_the_vacuum()
    work(story, 2, "waist")
    said = sentences(story.say("grain remaining"))[0]
    story.do(cmd.CountCanister(story.now + 1000, WHO))
    told = read_back(story)
    assert said in told
    assert "From two canisters called and " in told
    assert EXPLANATIONS["grain"].method in told
    assert EXPLANATIONS["time_left"].method in told


def test_a_leak_warning_is_explained_by_the_balance() -> None:
    """The alarm that came after the level is the last number spoken."""
    story = at_the_vacuum()
    while story.state.fact("leak") != "warned":
        assert len(story.state.canisters_ms) < 12, "no leak was told"
        work(story, 2, "chest")
    told = read_back(story)
    assert "Warning." in told
    assert EXPLANATIONS["leak"].method in told


def test_the_refill_and_the_order_are_explained() -> None:
    """Panel by panel first, then the order, then the next panel with what it lets in."""
    story = at_the_panels()
    story.say(CALLED[0])
    told = read_back(story)
    assert "From one level called outside" in told
    assert EXPLANATIONS["refill"].method in told
    story.say_all(CALLED[1:])
    assert "Take panel two first, then three, one, four. From four levels called outside." in read_back(story)
    story.say("panel two recovered")
    told = read_back(story)
    assert "Next is panel three." in told
    assert EXPLANATIONS["order"].method in told
    assert EXPLANATIONS["refill"].method in told


def test_asking_twice_gives_the_same_answer() -> None:
    """The explanation does not explain itself."""
    story = at_the_vacuum()
    work(story, 2, "waist")
    assert read_back(story) == read_back(story)


def test_an_estimate_whose_entry_was_taken_back_does_not_stand() -> None:
    """A level called by mistake takes its estimate with it."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("grain at chest")
    story.say("correction")
    assert NOTHING_SPOKEN == read_back(story)


def test_a_record_from_before_the_field_still_loads() -> None:
    """A sentence without the kinds of its estimates is a sentence that speaks none."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("grain at chest")
    assert [("grain",)] == [said.estimates for said in only(story.events, ev.Said) if said.estimates]
    plain = [to_plain(event) for event in story.events]
    old = fold(event_from({key: value for key, value in row.items() if key != "estimates"}) for row in plain)
    assert old.estimate is None
    assert story.state.levels == old.levels
