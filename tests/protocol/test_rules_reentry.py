"""Back in after everyone was out: what has to be read again, and what may be cut."""

import pytest

from protocol import commands as cmd
from protocol.air import Gas
from tests.books import shipped_book
from tests.drills import AFFIRM, COVERED, VISIBLE
from tests.protocol.emergencies import empty_the_bin, read_all
from tests.story import MINUTE, origin_of, sentences, walked_to

BOOK = shipped_book()


@pytest.mark.parametrize("gas", [Gas.CARBON_DIOXIDE, Gas.NITROGEN_DIOXIDE])
def test_a_gas_that_need_not_be_read_but_was_bad_has_to_be_read_again(gas: Gas) -> None:
    """Good oxygen says nothing about the gas that drove everyone out (and a four-gas meter does not read it)."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.read(gas, "9000" if gas is Gas.CARBON_DIOXIDE else "15", "hatch")
    empty_the_bin(story)
    read_all(story)
    story.say("nobody left in bad air")
    said = sentences(story.say("fresh air readings are in"))
    assert [f"Not yet: {gas.spoken} was bad at the hatch and is bad there."] == said
    story.read(gas, "0", "person")
    assert "bad_air_cleared" == story.step
    story.say("fresh air readings are in")
    assert "bad_air_cleared" == story.step, "read at another place"
    story.read(gas, "0", "hatch")
    story.say("fresh air readings are in")
    assert "harness" == story.step


def test_readings_from_before_everyone_left_let_nobody_in() -> None:
    """However young: after an evacuation the air is read anew, and the refusal says why."""
    story = walked_to(BOOK, VISIBLE, "boards")
    story.say("emergency everyone out")
    empty_the_bin(story)
    story.say("nobody left in the bin")
    events = story.say_all(["command allows a return"]).say(AFFIRM)
    assert any("entry starts anew" in text and "panel again" in text for text in sentences(events))
    story.say_all(["harness and anchor inspected", "two tenders every lifeline", "goggles and dust masks fitted",
                   "loud and clear both ways"])  # fmt: skip
    refused = "Not yet: oxygen is from before everyone was ordered out, test again at the hatch."
    assert [refused] == sentences(story.say("entry approved by command"))
    read_all(story)
    story.say_all(["entry approved by command", AFFIRM])
    assert "rescuers_in" == story.step


def test_an_evacuation_taken_back_leaves_the_readings_as_they_were() -> None:
    """A misheard order that nobody followed costs nothing; once somebody left, the air is read anew."""
    story = walked_to(BOOK, VISIBLE, "boards")
    story.say_all(["emergency everyone out", "disregard emergency", "walkway boards are laid"])
    assert "beside" == story.step
    story.say_all(["emergency everyone out", "rescuer one is out", "disregard emergency"])
    assert "from before everyone was ordered out" in sentences(story.say("kneeling by the person"))[0]


def test_nobody_cuts_over_flammable_gas_that_is_unread_bad_or_old() -> None:
    """The covered branch asks for it before the saw, and no override passes it."""
    story = walked_to(BOOK, COVERED, "cutting_gas")
    assert ["Not yet: no cutting, flammable gas is unread."] == sentences(story.say("gas measured for cutting"))
    story.do(cmd.Override(story.now, origin_of(cmd.Role.OUTSIDE), "cutting_gas", "no meter"))
    assert "cutting_gas" == story.step
    story.read(Gas.FLAMMABLE, "2")
    story.wait(story.now + 10 * MINUTE)
    assert "too old" in sentences(story.say("gas measured for cutting"))[0]
    story.read(Gas.FLAMMABLE, "2")
    story.say("gas measured for cutting")
    assert "cutting_dust" == story.step
