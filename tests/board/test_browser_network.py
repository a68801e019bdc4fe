"""When the connection goes: said at once, nothing pretended, and caught up by number."""

from collections.abc import Callable

import pytest

from tests.board.cable import Cable
from tests.board.chromium import TALL, Tablet
from tests.board.rig import Rig
from tests.drills import VISIBLE

pytestmark = pytest.mark.browser

MakeTablet = Callable[..., Tablet]


def lost_after_ms(one: Tablet) -> float:
    """How long the page takes to say that it is out of date."""
    return float(
        one.page.evaluate(
            """async () => { const from = performance.now();
            while (document.body.dataset.link !== "lost") await new Promise((done) => setTimeout(done, 20));
            return performance.now() - from; }"""
        )
    )


def test_a_connection_that_ends_is_told_within_a_second(rig: Rig, tablet: MakeTablet) -> None:
    """The moment the connection ends, the page says out of date and last seen when; then it catches up by number."""
    rig.say_until(VISIBLE, "locked")
    with Cable(rig.address) as cable:
        one = tablet(address=cable.address)
        seen = len(rig.records)
        one.waits_for_record(seen)
        cable.cut()
        assert lost_after_ms(one) < 1000
        one.waits_for("#stale", "OUT OF DATE: connection lost. Last seen at 0:")
        rig.say("padlocks and tags applied", "start buttons tried and dead", "affirmative")
        assert "Locks and tags on" == one.page.inner_text("#step-title")
        cable.plug()
        one.page.wait_for_selector("[data-link=live]")
        one.waits_for_record(len(rig.records))
        one.waits_for("#answer", f"Caught up: 3 records, {seen + 1} to {seen + 3}")
        assert "Guard at the controls" == one.page.inner_text("#step-title")
        assert not one.page.is_visible("#stale")


def test_silence_is_told_within_four_seconds(rig: Rig, tablet: MakeTablet) -> None:
    """A tablet out of range hears nothing at all: three missed beats and the page says so."""
    with Cable(rig.address) as cable:
        one = tablet(TALL, address=cable.address)
        cable.pull()
        assert lost_after_ms(one) < 4000
        assert one.page.is_visible("#stale")
        cable.plug()
        one.page.wait_for_selector("[data-link=live]")


def test_a_press_while_the_connection_is_lost_counts_once(rig: Rig, tablet: MakeTablet) -> None:
    """A canister pressed into a dead connection is not shown as done; when the line is back it is counted once."""
    rig.say_until(VISIBLE, "chest_clear")
    with Cable(rig.address) as cable:
        one = tablet(address=cable.address, signed_in=True)
        cable.pull()
        one.press("grain")
        one.choose("Canister 1 is full")
        one.waits_for("#answer", "Not on record yet")
        one.page.wait_for_selector("[data-link=lost]")
        assert "0 canisters out so far" in one.page.inner_text("#grain")
        cable.plug()
        assert "On record as" in one.answer()
        one.waits_for("#grain", "1 canister out so far")
    assert 1 == len(rig.state.canisters_ms)


def test_a_press_whose_answer_is_lost_is_sent_again_and_counts_once(rig: Rig, tablet: MakeTablet) -> None:
    """The program has counted the canister but its answer never comes: the page asks again, and it stays one."""
    rig.say_until(VISIBLE, "chest_clear")
    with Cable(rig.address) as cable:
        one = tablet(address=cable.address, signed_in=True)
        cable.silence()
        one.press("grain")
        with one.page.expect_event("requestfailed", lambda request: "/actions/" in request.url):
            one.choose("Canister 1 is full")
            rig.until(lambda: len(rig.state.canisters_ms) == 1)
            assert "Not on record yet" in one.page.inner_text("#answer")
        cable.speak()
        assert "On record as" in one.answer()
    assert 1 == len(rig.state.canisters_ms)


def test_a_program_that_hangs_is_not_shown_as_live(rig: Rig, tablet: MakeTablet) -> None:
    """The board's own thread goes on when the incident's loop stands still: the page says that it is not answering."""
    one = tablet()
    rig.hang()
    one.page.wait_for_selector("[data-link=quiet]")
    one.waits_for("#stale", "the assistant program is not answering")
    rig.unhang()
    one.page.wait_for_selector("[data-link=live]")


def test_two_tablets_see_each_others_presses(rig: Rig, tablet: MakeTablet) -> None:
    """What one officer confirms, the other sees; both pressing for one canister count it once."""
    rig.say_until(VISIBLE, "chest_clear")
    one, two = tablet(signed_in=True), tablet(TALL, signed_in=True)
    one.press("grain")
    two.press("grain")
    one.choose("Canister 1 is full")
    two.waits_for("#grain", "1 canister out so far")
    two.waits_for("dialog", "Canister 2 is full")
    two.page.keyboard.press("Escape")
    two.press("crew")
    two.choose("Person is answering")
    one.waits_for("#events", "Board 2: person is answering")
    assert 1 == len(rig.state.canisters_ms)
    assert [[], []] == [one.troubles, two.troubles]


def test_a_viewer_without_the_pin_sees_what_the_officer_does_and_cannot_act(rig: Rig, tablet: MakeTablet) -> None:
    """The command post's page follows and has nothing to press but day and night."""
    officer, post = tablet(signed_in=True), tablet((1920, 1080), path="post")
    officer.press("step")
    officer.choose("one person trapped")
    post.waits_for("#step-title", "Is the person visible")
    assert ["theme"] == post.ask("[...document.querySelectorAll('button')].map((button) => button.id)")
    assert rig.state.step == "visible"


def test_paper_holds_everything_but_the_buttons(rig: Rig, tablet: MakeTablet) -> None:
    """Printed, the page has no bar, no shade and black text; the story and the drawing are on it."""
    rig.say_until(VISIBLE, "to_knees")
    one = tablet(signed_in=True)
    one.page.emulate_media(media="print")
    assert not one.page.is_visible("#bar")
    assert all(one.page.is_visible(part) for part in ("#step", "#air", "#section svg", "#plot svg", "#events"))
    colours = one.ask("['#step', '#air', '#events'].map((part) => getComputedStyle(document.querySelector(part)).color)")
    assert ["rgb(0, 0, 0)"] * 3 == colours
    assert one.page.pdf(format="A4").startswith(b"%PDF")
