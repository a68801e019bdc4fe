"""A whole rehearsal watched in a browser, and everything an officer can do, in a browser."""

from collections.abc import Callable

import pytest

from protocol import commands as cmd
from protocol.air import Gas
from protocol.events import StepConfirmed
from tests.board.chromium import TALL, WIDE, Tablet
from tests.board.rig import Rig
from tests.drills import COVERED, VISIBLE

pytestmark = pytest.mark.browser

FOCUSED = "document.activeElement === document.body ? '' : document.activeElement.textContent || document.activeElement.id"
MakeTablet = Callable[..., Tablet]


def _ends_the_work(one: Tablet, reason: str) -> None:
    one.press("more")
    one.choose("End the work")
    one.page.fill("#reason", reason)
    one.choose("End the work: stand down")


@pytest.mark.parametrize("drill", [VISIBLE, COVERED], ids=["visible", "covered"])
def test_a_whole_rehearsal_is_watched_step_by_step(rig: Rig, tablet: MakeTablet, drill: tuple[str, ...]) -> None:
    """At every record of a whole drill a tablet and a phone name the step that stands, without an error, to the end."""
    wide, tall = tablet(WIDE), tablet(TALL)
    for words in drill:
        rig.say(words)
        n = len(rig.records)
        for one in (wide, tall):
            one.waits_for_record(n)
            title = rig.incident.session.book.procedure.step(rig.state.step).title
            assert title == one.page.inner_text("#step-title")
    for one in (wide, tall):
        one.waits_for("#link-words", "Closed")
        assert [] == one.troubles


def test_an_officer_confirms_answers_and_affirms(rig: Rig, tablet: MakeTablet) -> None:
    """A question, a critical question with its read-back and a plain step, confirmed on the board alone."""
    one = tablet(signed_in=True)
    one.press("step")
    one.choose("one person trapped")
    assert "On record as" in one.answer()
    one.waits_for("#step-title", "Is the person visible")
    one.press("step")
    one.choose("person in plain sight")
    one.page.wait_for_selector("[data-does=affirm]")
    assert "visible" == rig.state.step
    assert "Read back, not done yet" in one.page.inner_text("#step")
    one.press("affirm")
    one.waits_for("#step-title", "How deep is the person")
    confirmed = [event for record in rig.records for event in record.events if isinstance(event, StepConfirmed)]
    assert [("people", "board 1", "one"), ("visible", "board 1", "yes")] == [(row.step, row.by, row.answer) for row in confirmed]
    assert [] == one.troubles


@pytest.mark.parametrize("size", [WIDE, TALL], ids=["wide", "tall"])
def test_an_officer_types_readings_counts_and_levels(rig: Rig, tablet: MakeTablet, size: tuple[int, int]) -> None:
    """A reading with its read-back, a canister, a level and its correction, typed with the crew silent."""
    rig.say_until(VISIBLE, "chest_clear")
    one = tablet(size, signed_in=True)
    one.waits_for("#step-title", "Chest clear")
    one.press("air")
    one.page.click("dialog label:has-text('Carbon monoxide')")
    one.page.fill("#reading", "40")
    one.choose("Enter the reading")
    one.press("affirm")
    one.page.wait_for_selector(".cell.is-caution")
    assert (Gas.CARBON_MONOXIDE, "40", "person") == (
        rig.state.readings[-1].gas, format(rig.state.readings[-1].value, "f"), rig.state.readings[-1].place,
    )  # fmt: skip
    one.press("grain")
    one.choose("Canister 1 is full")
    one.waits_for("#grain", "1 canister out so far")
    one.press("grain")
    one.choose("Grain at knees")
    one.waits_for("#grain", "Called at the knees")
    one.press("grain")
    one.choose("Grain outside a panel")
    one.page.click("dialog label:has-text('Panel 3')")
    one.page.fill("#length", "14")
    one.choose("Enter the length")
    one.waits_for("#events", "outside panel three 14")
    one.press("grain")
    one.choose("Corner, rim to grain")
    one.page.fill("#length", "31.5")
    one.choose("Enter the length")
    one.waits_for("#events", "corner one 31.5")
    for entry in ("corner one", "grain at knees"):
        one.press("more")
        one.choose(f"Take back: {entry}")
        one.waits_for("#events", f"Taken back, kept in the record: {entry}")
    assert (1, ()) == (len(rig.state.canisters_ms), rig.state.levels)
    assert "Called at the knees" not in one.page.inner_text("#grain")
    assert [] == one.troubles


def test_an_officer_holds_resumes_raises_and_withdraws(rig: Rig, tablet: MakeTablet) -> None:
    """Hold with one press, resume with two; an emergency with two, taken back with two."""
    rig.say_until(VISIBLE, "boards")
    one = tablet(signed_in=True)
    one.press("hold")
    one.waits_for("#alarms", "All work is held")
    one.press("hold")
    assert rig.state.held
    one.choose("Resume all work")
    one.page.wait_for_selector("[data-does=hold]:has-text('Hold all work')")
    assert not rig.state.held
    one.press("emergency")
    one.choose("Line slack")
    one.waits_for("#alarms", "Line slack. Tenders, take it in, do not pull.")
    assert ["line_slack"] == [row.kind for row in rig.state.emergencies]
    one.press("emergency")
    one.choose("Withdraw: Line slack")
    one.waits_for("#step-title", "Boards down")
    assert () == rig.state.emergencies


def test_an_officer_tells_people_in_and_out_and_calls_the_roll(rig: Rig, tablet: MakeTablet) -> None:
    """Entry, roll call, the person's answer and the way out, each from the board, each on record as the board's."""
    rig.say_until(VISIBLE, "rescuers_in")
    one = tablet(signed_in=True)
    for words in ("Rescuer 1 going in", "Rescuer 2 going in", "Roll call: all accounted for", "Person is answering", "Rescuer 2 is out"):
        before = len(rig.records)
        one.press("crew")
        one.choose(words)
        if "going in" in words:
            one.choose(words.replace("Rescuer", "Count rescuer").replace("going in", "in"))
        one.waits_for_record(before + 1)
    assert [1] == [row.slot for row in rig.state.inside]
    one.waits_for("#crew", "Out again: Rescuer two")
    assert ["board"] * 5 == [record.command.origin.how for record in rig.records[-5:]]


def test_an_officer_passes_a_step_with_a_reason_and_cannot_without(rig: Rig, tablet: MakeTablet) -> None:
    """The crew's step takes no confirmation outside; a written reason passes it, and an empty one is not sent."""
    rig.say_until(VISIBLE, "boards")
    one = tablet(signed_in=True)
    before = len(rig.records)
    one.press("step")
    assert "The crew inside confirms this step" in one.page.inner_text("dialog")
    one.choose("Pass it with a reason")
    one.choose("Pass “Boards down”")
    assert before == len(rig.records)
    one.page.fill("#reason", "Headset failed; <b>Rescuer one</b> by radio")
    one.choose("Pass “Boards down”")
    one.waits_for("#step-title", "At the person")
    one.waits_for("#events", "Headset failed; <b>Rescuer one</b> by radio")
    assert isinstance(rig.records[-1].command, cmd.Override)
    assert [] == one.troubles


def test_an_officer_confirms_for_a_crew_whose_headset_failed(rig: Rig, tablet: MakeTablet) -> None:
    """Panel by panel and through a read-back, with how the officer knows; on record as the board's, nothing skipped."""
    rig.say_until(VISIBLE, "panel_set")
    rig.say("panel one standing")
    one = tablet(signed_in=True)
    one.press("step")
    one.choose("For the crew: “panel two standing”")
    one.choose("Headset failed, heard by radio")
    one.choose("Confirm it for the crew")
    one.waits_for("#step", "2 of 4 on record")
    one.waits_for("#events", "panel two standing (for the crew: Headset failed, heard by radio)")
    rig.say("panel three standing", "panel four standing", "every joint is fastened", "the ring is driven down")
    one.waits_for("#step-title", "Ring below the knees")
    one.press("step")
    one.choose("For the crew: “well below the kneecaps”")
    one.choose("Headset failed, seen from the hatch")
    one.choose("Confirm it for the crew")
    one.press("affirm")
    one.waits_for("#step-title", "Gap closed")
    confirmed = [event for record in rig.records for event in record.events if isinstance(event, StepConfirmed)]
    assert ("reach", "board 1", "below", False) == (confirmed[-1].step, confirmed[-1].by, confirmed[-1].answer, confirmed[-1].skipped)
    assert [] == one.troubles


def test_a_reason_being_written_outlasts_what_changes_meanwhile(rig: Rig, tablet: MakeTablet) -> None:
    """A third panel is told while the officer writes: the form names only the fourth as missing and keeps the words."""
    rig.say_until(VISIBLE, "panel_set")
    rig.say("panel one standing", "panel two standing")
    one = tablet(signed_in=True)
    one.press("step")
    one.choose("Pass it with a reason")
    one.page.fill("#reason", "Ring is closed with a board")
    rig.say("panel three standing")
    one.page.wait_for_selector("dialog .missing:not(:has-text('Panel three'))")
    assert "Ring is closed with a board" == one.page.input_value("#reason")
    one.choose("Pass “Panel set”")
    one.waits_for("#events", "Ring is closed with a board. Passed without: Panel four standing: not confirmed.")


def test_an_officer_ends_the_work_with_a_reason_once_everyone_is_out(rig: Rig, tablet: MakeTablet) -> None:
    """Refused while somebody is inside; with the bin empty the same press leads to standing down."""
    rig.say_until(VISIBLE, "boards")
    one = tablet(signed_in=True)
    _ends_the_work(one, "Handed to the county team")
    assert one.answer().startswith("Refused")
    assert "boards" == rig.state.step
    rig.say("rescuer one is out", "rescuer two is out")
    _ends_the_work(one, "Handed to the county team")
    one.waits_for("#events", "Work ended: Handed to the county team")
    assert "stand_down" == rig.incident.session.book.procedure.step(rig.state.step).stage


def test_a_refused_press_says_why_and_nothing_moves(rig: Rig, tablet: MakeTablet) -> None:
    """A step confirmed too early is shown as refused, with the spoken reason and the record's number."""
    rig.say_until(VISIBLE, "entry_go")
    rig.wait(11)
    one = tablet(signed_in=True)
    one.press("step")
    one.choose("entry approved by command")
    assert one.answer().startswith(f"Refused (record {len(rig.records)}): Not yet: oxygen is too old")
    assert "Entry approved" == one.page.inner_text("#step-title")


def test_a_press_after_the_step_has_moved_does_nothing(rig: Rig, tablet: MakeTablet) -> None:
    """The crew confirms while the officer's form is open: the form follows to the step that stands."""
    rig.say_until(VISIBLE, "flow_off")
    one = tablet(signed_in=True)
    one.press("step")
    rig.say("unloading gear is off")
    one.waits_for("#sheet-title", "Locks and tags on")
    one.choose("padlocks and tags applied")
    one.waits_for("#step-title", "Lockout tried")
    assert "tried" == rig.state.step


def test_a_wrong_pin_is_refused_in_words(rig: Rig, tablet: MakeTablet) -> None:
    """The board says that the PIN is wrong and how many tries are left; there are no actions without it."""
    one = tablet()
    assert ["Officer: enter the PIN to act"] == one.ask("[...document.querySelectorAll('#bar button')].map((b) => b.textContent)")
    one.press("pin")
    one.page.fill("#pin", "111111")
    one.choose("Sign in")
    one.waits_for("dialog .error", "That is not the PIN. 4 more tries")
    assert 1 == len(rig.records)


def test_everything_can_be_done_by_keyboard(rig: Rig, tablet: MakeTablet) -> None:
    """Sign in, confirm a step and type a reading with Tab, Enter, arrows and digits only."""
    one = tablet()
    keys = one.page.keyboard

    def reach(words: str) -> None:
        for _ in range(40):
            if words in one.ask(FOCUSED):
                return
            keys.press("Tab")
        raise AssertionError(f"'{words}' is not reached by Tab.")

    reach("enter the PIN")
    keys.press("Enter")
    keys.type("246810")
    keys.press("Enter")
    one.page.wait_for_selector("[data-does=step]")
    reach("Confirm step")
    keys.press("Enter")
    reach("one person trapped")
    keys.press("Enter")
    one.waits_for("#step-title", "Is the person visible")
    reach("Air reading")
    keys.press("Enter")
    for _ in range(3):
        keys.press("Tab")
    reach("reading")
    keys.type("20.9")
    keys.press("Enter")
    one.page.wait_for_selector("[data-does=affirm]")
    assert rig.state.pending is not None
    assert "20.9" == format(rig.state.pending.value or 0, "f")
