"""Air by voice: read back, bad means leave, stale blocks, corrections, and what is never said."""

from dataclasses import replace
from decimal import Decimal

import pytest

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas, Reading
from protocol.events import Urgency
from protocol.house import House
from tests.books import book_with, shipped_book
from tests.drills import AFFIRM, COVERED, VISIBLE, readings
from tests.protocol.emergencies import empty_the_bin, read_all
from tests.story import MINUTE, Story, kinds, only, origin_of, sentences, walked_to

BOOK = shipped_book()
NOT_SAFE = "That is what was read, not that the air is safe."

BAD_ONES = [
    # one bad value of each gas, and the words for the limit that it crosses (limits: test_air.py)
    ("oxygen one niner decimal four", "Oxygen one niner decimal four at the person: oxygen too low."),
    ("oxygen two tree decimal six", "Oxygen two three decimal six at the person: oxygen too high, fire risk."),
    ("flammable gas one one", "Flammable gas one one at the person: flammable gas over ten percent of the limit."),
    ("carbon monoxide five one", "Carbon monoxide five one at the person: over the permitted limit."),
    ("hydrogen sulfide one zero", "Hydrogen sulfide one zero at the person: over the recommended ceiling."),
    ("phosphine zero decimal tree one", "Phosphine zero decimal three one at the person: over the permitted limit."),
    ("carbon dioxide five thousand one", "Carbon dioxide five zero zero one at the person: over the permitted limit."),
    ("nitrogen dioxide one tree", "Nitrogen dioxide one three at the person: immediately dangerous to life."),
]


# ------------------------------------------------------------------------------------------------- good readings


def test_a_good_reading_is_read_back_and_counts_only_after_affirmative() -> None:
    """Gas, figures and place are read back digit by digit; without yes there is no reading."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    assert ["oxygen two zero decimal niner at the hatch. Say, affirmative."] == sentences(
        story.say("oxygen twenty point nine")
    )
    assert () == story.state.readings
    events = story.say(AFFIRM)
    assert [("20.9", "hatch", "good")] == [(str(e.value), e.place, e.verdict) for e in only(events, ev.AirRead)]
    assert "oxygen recorded." == sentences(events)[0]


def test_negative_leaves_no_reading() -> None:
    """A misheard number is not recorded."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    story.say("oxygen two zero decimal fife")
    story.say("negative")
    assert () == story.state.readings


def test_a_reading_over_advice_is_recorded_with_a_caution() -> None:
    """36 ppm carbon monoxide is over the NIOSH REL of 35 and under the PEL of 50: work goes on, and all know it."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("carbon monoxide tree six")
    events = story.say(AFFIRM)
    assert "carbon monoxide recorded. Caution: over the recommended limit." == sentences(events)[0]
    assert ["caution"] == [event.verdict for event in only(events, ev.AirLimitCrossed)]
    assert "chest_clear" == story.step


@pytest.mark.parametrize("value", ["209", "-1", "-0", "1E+400", "Infinity", "NaN"])
def test_a_number_that_no_meter_shows_is_refused_and_not_recorded(value: str) -> None:
    """Percent and parts per million are not mixed up, and no number crashes the program."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    events = story.do(cmd.ReportAir(story.now, origin_of(cmd.Role.OUTSIDE), Gas.OXYGEN, Decimal(value)))
    assert ["oxygen: no meter shows that number. Say it again."] == sentences(events)
    assert (None, ()) == (story.state.pending, story.state.readings)


def test_oxygen_is_asked_for_first() -> None:
    """OSHA 29 CFR 1910.146(d)(5)(iii): a toxic reading before oxygen is taken, and oxygen is asked for at once."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    story.say("carbon monoxide zero")
    assert "carbon monoxide recorded. Oxygen comes first: read it now." == sentences(story.say(AFFIRM))[0]
    assert ["Not yet: oxygen is unread at the hatch."] == sentences(story.say("hatch readings finished"))


@pytest.mark.parametrize(("step", "place"), [("air_hatch", "hatch"), ("air_person", "person"), ("chest_clear", "person")])
def test_a_reading_belongs_to_where_the_step_is(step: str, place: str) -> None:
    """The place need not be said: it is the step's, or the person's while rescuers are inside."""
    story = walked_to(BOOK, VISIBLE, step)
    story.say("oxygen two one")
    story.say(AFFIRM)
    assert place == story.state.readings[-1].place


def test_a_place_that_is_said_wins() -> None:
    """Before entry both places are read again, in any step."""
    story = walked_to(BOOK, VISIBLE, "entry_go")
    for place in ("hatch", "person"):
        story.say(f"oxygen two one at the {place}")
        story.say(AFFIRM)
        assert place == story.state.readings[-1].place


def test_the_entry_gate_can_be_passed_by_voice_after_a_long_wait() -> None:
    """Readings that grew old at the gate are taken again on the spot, hatch and person, without going back."""
    story = walked_to(BOOK, VISIBLE, "entry_go")
    story.wait(story.now + 30 * MINUTE)
    assert ["Not yet: oxygen is too old, test again at the hatch."] == sentences(story.say("entry approved by command"))
    for place in ("hatch", "person"):
        story.say_all(words if words == AFFIRM else f"{words} at the {place}" for words in readings())
    story.say_all(["entry approved by command", AFFIRM])
    assert "rescuers_in" == story.step


# ---------------------------------------------------------------------------------------------------- bad means out


@pytest.mark.parametrize(("words", "reason"), BAD_ONES, ids=[row[0].replace(" ", "-") for row in BAD_ONES])
def test_a_bad_reading_orders_everyone_out_first_and_explains_second(words: str, reason: str) -> None:
    """No affirmative is waited for: the order is the first sentence, the number and its limit the second."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    events = story.say(words)
    order, explanation = only(events, ev.Said)[:2]
    assert "All rescuers leave the bin now. All rescuers leave the bin now." == order.text
    assert reason == explanation.text
    assert {("both", Urgency.ALARM)} == {(said.to, said.urgency) for said in (order, explanation)}
    assert ["bad_air"] == [one.kind for one in story.state.emergencies]
    assert "bad_air_out" == story.step
    assert ["bad"] == [event.verdict for event in only(events, ev.AirRead)]


@pytest.mark.parametrize("step", ["people", "air_hatch", "entry_go", "panel_set", "climbing", "panel_out", "locks_stay"])
def test_bad_air_is_ordered_out_in_every_step(step: str) -> None:
    """Wherever the procedure stands, a bad reading counts at once."""
    story = walked_to(BOOK, VISIBLE, step)
    assert "All rescuers leave the bin now." in sentences(story.say("oxygen one eight"))[0]


def test_a_bad_reading_overtakes_what_was_read_back() -> None:
    """Nothing else can be affirmed by the yes that was on somebody's lips."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    story.say("oxygen two zero decimal niner")
    story.say("hydrogen sulfide one zero zero")
    assert story.state.pending is None
    assert [Gas.HYDROGEN_SULFIDE] == [reading.gas for reading in story.state.readings]


def test_a_second_bad_reading_repeats_the_order() -> None:
    """The order is said again; the emergency stays one."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("oxygen one eight")
    events = story.say("oxygen one seven")
    assert sentences(events)[0].startswith("All rescuers leave the bin now.")
    assert 1 == len(story.state.emergencies)


def test_disregard_does_not_withdraw_the_order_while_the_bad_reading_stands() -> None:
    """A bad number is ended by reading again or by correction, not by a phrase against false alarms."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("oxygen one eight")
    said = only(story.say("disregard emergency"), ev.Said)
    text = "The order stands: oxygen one eight at the person. Read it again, or say, correction."
    assert [("both", Urgency.ALARM, text)] == [(one.to, one.urgency, one.text) for one in said]
    assert "bad_air_out" == story.step
    story.say_all(["oxygen two one at the person", AFFIRM, "disregard emergency"])
    assert "chest_clear" == story.step


def test_clean_air_at_the_hatch_does_not_clear_bad_air_at_the_person() -> None:
    """The grain surface and the hatch are different air (1910.146 App. B(4))."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("oxygen one eight")
    empty_the_bin(story)
    story.say("nobody left in bad air")
    story.say_all(words if words == AFFIRM else f"{words} at the hatch" for words in readings())
    assert ["Not yet: oxygen is bad at the person."] == sentences(story.say("fresh air readings are in"))


@pytest.mark.parametrize("gas", [Gas.OXYGEN, Gas.CARBON_DIOXIDE], ids=lambda gas: gas.value)
def test_work_inside_stops_on_any_bad_reading_that_stands(gas: Gas) -> None:
    """A newer good reading elsewhere does not hide it, nor does it matter whether that gas had to be read."""
    story = walked_to(BOOK, VISIBLE, "boards")
    bad = Reading(gas, Decimal(18) if gas is Gas.OXYGEN else Decimal(6000), "person", story.now)
    story.state = replace(story.state, readings=(*story.state.readings, bad))
    story.read(gas, "20.9" if gas is Gas.OXYGEN else "400", "hatch", at=story.now + 1)
    assert [f"Not yet: {gas.spoken} is bad at the person."] == sentences(story.say("walkway boards are laid"))


def test_bad_air_at_the_hatch_keeps_everyone_out_until_the_hatch_is_read_again() -> None:
    """Good readings at the person do not open the entry gate over a bad hatch."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say("oxygen one eight at the hatch")
    empty_the_bin(story)
    story.say_all(words if words == AFFIRM else f"{words} at the person" for words in readings())
    story.say("nobody left in bad air")
    assert ["Not yet: oxygen is bad at the hatch."] == sentences(story.say("fresh air readings are in"))
    assert "bad_air_cleared" == story.step
    read_all(story)
    story.say("fresh air readings are in")
    assert "harness" == story.step


# ------------------------------------------------------------------------------------------------------- correction


def test_correction_of_a_misheard_bad_reading_withdraws_the_order() -> None:
    """The record keeps it, the state does not, and the interrupted step comes again."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    before = story.state.readings
    story.say("oxygen one eight")
    events = story.say("correction")
    assert "Taken back: oxygen one eight at the person." == sentences(events)[0]
    assert "Bad air: withdrawn." in sentences(events, "inside")
    assert before == story.state.readings
    assert ("chest_clear", ()) == (story.step, story.state.emergencies)
    assert [("air", "oxygen one eight at the person")] == [(e.entry, e.detail) for e in only(events, ev.EntryTakenBack)]


def test_correction_does_not_withdraw_while_another_bad_reading_stands() -> None:
    """Taking one number back does not clean the air of another."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    story.say_all(["carbon monoxide five one", "oxygen one eight", "correction"])
    assert "bad_air_out" == story.step


def test_the_reading_before_the_correction_counts_again_with_its_own_age() -> None:
    """The older good reading grows stale when it would have, and that is said."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    taken = next(r.at_ms for r in story.state.readings if r.gas is Gas.OXYGEN and r.place == "person")
    story.say_all(["oxygen one eight", "correction"])
    events = story.wait(taken + 10 * MINUTE)
    assert ("oxygen", "person") in [(event.gas.value, event.place) for event in only(events, ev.AirWentStale)]


def test_correction_of_the_only_reading_leaves_the_gas_unread() -> None:
    """What was taken back does not count, and its clock stops."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    story.say_all([*readings(), "correction"])
    assert ["Not yet: hydrogen sulfide is unread at the hatch."] == sentences(story.say("hatch readings finished"))
    assert "hydrogen_sulfide@hatch" not in {timer.key for timer in story.state.timers}


def test_correction_drops_what_was_read_back_before_anything_else() -> None:
    """The first correction takes back the last words; the entry before them stays."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    story.say_all(["oxygen two one", AFFIRM, "flammable gas zero"])
    assert ["Disregarded. Say it again."] == sentences(story.say("correction"))
    assert 1 == len(story.state.readings)


def test_corrections_go_back_entry_by_entry() -> None:
    """Level, canister and reading are taken back newest first, each named; then there is nothing left."""
    story = Story(BOOK)
    story.read(Gas.OXYGEN, "20.9", "hatch")
    story.do(cmd.CountCanister(story.now, origin_of(cmd.Role.INSIDE)))
    story.do(cmd.CallLevel(story.now, origin_of(cmd.Role.INSIDE), "chest"))
    assert [
        "Taken back: grain at chest.",
        "Taken back: canister one.",
        "Taken back: oxygen two zero decimal niner at the hatch.",
        "There is nothing to take back.",
    ] == [sentences(story.say("correction"))[0] for _ in range(4)]
    assert ((), (), (), ()) == (story.state.entries, story.state.levels, story.state.canisters_ms, story.state.readings)


# ------------------------------------------------------------------------------------------------------------ stale


@pytest.mark.parametrize("early_ms", [1, 0])
@pytest.mark.parametrize("max_age_min", [10.0, 5.0])
def test_stale_air_stops_work_in_the_bin_to_the_millisecond(early_ms: int, max_age_min: float) -> None:
    """The step goes on one millisecond before the house rule's age, and not at it, whether or not a clock ticked."""
    story = walked_to(book_with(House(air_max_age_min=max_age_min)), VISIBLE, "boards")
    oldest = min(reading.at_ms for reading in story.state.readings if reading.place == "person")
    story.say("walkway boards are laid", at=oldest + round(max_age_min * MINUTE) - early_ms)
    assert ("beside" if early_ms else "boards") == story.step
    if not early_ms:
        assert "Not yet: oxygen is too old, test again." == sentences(story.events[-1:])[0]


def test_air_that_goes_stale_is_called_once_for_all_gases() -> None:
    """One sentence asks for a new test, at the moment when the first reading is too old, and again for the others."""
    story = Story(BOOK)
    story.read(Gas.OXYGEN, "20.9", "person", at=0)
    story.read(Gas.FLAMMABLE, "0", "person", at=0)
    assert [] == only(story.wait(10 * MINUTE - 1), ev.AirWentStale)
    events = story.tick(10 * MINUTE)
    assert 2 == len(only(events, ev.AirWentStale))
    assert "Test the air again: two gases older than ten minutes." in sentences(events)


def test_a_new_reading_restarts_its_age() -> None:
    """A gas that was read again in time is not called stale."""
    story = Story(BOOK)
    story.read(Gas.OXYGEN, "20.9", "person", at=0)
    story.wait(9 * MINUTE)
    story.read(Gas.OXYGEN, "20.8", "person", at=9 * MINUTE)
    assert [] == only(story.wait(19 * MINUTE - 1), ev.AirWentStale)
    assert 1 == len(only(story.wait(19 * MINUTE), ev.AirWentStale))


@pytest.mark.parametrize(("words", "step"), [("climbing out on the panels", "climbing"), ("patient free of the grain", "free")])
def test_leaving_is_never_stopped_by_the_air(words: str, step: str) -> None:
    """A person who climbs out is not held in the bin by an old reading."""
    story = walked_to(BOOK, VISIBLE, step)
    story.say(words, at=story.now + 60 * MINUTE)
    assert step != story.step


def test_entry_on_stale_air_is_refused_aloud_to_both() -> None:
    """Relief does not go in on old readings, and tenders hear why."""
    story = walked_to(BOOK, VISIBLE, "rescuers_in")
    said = only(story.say("rescuer one going in", at=story.now + 11 * MINUTE), ev.Said)
    assert [("both", Urgency.ALARM, "Rescuer one, do not enter: oxygen is too old, test again.")] == [
        (one.to, one.urgency, one.text) for one in said
    ]
    assert () == story.state.inside


# ---------------------------------------------------------------------------------------------- what is never said


def test_unread_gases_are_named_when_the_air_is_passed() -> None:
    """A four-gas meter proves nothing about the other three, and the program says so unasked."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    story.say_all(readings())
    said = sentences(story.say("hatch readings finished"))[0]
    assert "Air at the hatch, confirmed. Not read: phosphine, carbon dioxide, nitrogen dioxide." == said


def test_good_four_gas_readings_are_never_called_safe() -> None:
    """Oxygen 19.6 %, nothing else on a four-gas meter: 14,000 ppm carbon dioxide may be there, unread."""
    story = walked_to(BOOK, VISIBLE, "air_hatch")
    story.say_all(["oxygen one niner decimal six", AFFIRM, *readings()[2:]])
    answer = sentences(story.say("air status"))[0]
    assert (
        "Four within limits, oldest less than a minute ago. Not read: phosphine, carbon dioxide, nitrogen dioxide. "
        f"{NOT_SAFE}" == answer
    )


@pytest.mark.parametrize(
    ("reading", "later_min", "words"),
    [
        (("oxygen", "18"), 0, "Oxygen is bad."),
        (("oxygen", "18"), 60, "Oxygen is bad."),
        (("oxygen", "20.9"), 10, "Oxygen is too old."),
        (("carbon_monoxide", "40"), 1, "Carbon monoxide is over advice."),
        (("oxygen", "20.9"), 3, "One within limits, oldest three minutes ago."),
    ],
)
def test_the_air_status_names_the_worst_first(reading: tuple[str, str], later_min: int, words: str) -> None:
    """Bad, stale and over advice come before what is within limits, and always with what was not read."""
    story = Story(BOOK)
    story.read(Gas(reading[0]), reading[1], "person")
    answer = sentences(story.say("air status", at=later_min * MINUTE))[0]
    assert answer.startswith(words)
    assert answer.endswith(NOT_SAFE)
    assert "Not read: " in answer


def test_the_air_status_before_any_reading_names_all_seven_gases() -> None:
    """Nothing read is nothing known."""
    answer = sentences(Story(BOOK).say("air status"))[0]
    assert all(gas.spoken in answer.lower() for gas in Gas)


def test_phosphine_is_needed_in_the_bin_when_nobody_knows() -> None:
    """On grain that may be fumigated stale phosphine stops the work like any other gas."""
    story = walked_to(BOOK, COVERED, "boards")
    story.wait(story.now + 9 * MINUTE)
    story.say_all(readings())
    events = story.say("walkway boards are laid", at=story.now + 5 * MINUTE)
    assert ["Not yet: phosphine is too old, test again."] == sentences(events)


def test_a_bad_reading_is_on_record_with_its_limit_and_source() -> None:
    """The journal says which published limit was crossed."""
    story = walked_to(BOOK, VISIBLE, "chest_clear")
    crossed = only(story.say("phosphine tree decimal six"), ev.AirLimitCrossed)[0]
    assert ("life-threatening within minutes", "bad") == (crossed.limit, crossed.verdict)
    assert "AEGL-3" in crossed.source
    assert "AirRead" in kinds(story.events)
