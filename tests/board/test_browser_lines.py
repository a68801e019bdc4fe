"""Lifelines and tenders on the board, in a browser, as the officer outside uses it."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from assistant.library import source_for
from protocol import commands as cmd
from protocol.site import read_site
from tests.board.chromium import TALL, WIDE, Tablet
from tests.board.rig import Rig
from tests.drills import VISIBLE

pytestmark = pytest.mark.browser

MakeTablet = Callable[..., Tablet]
OFFICER = cmd.Origin("officer", cmd.Role.OUTSIDE, "keyboard")
CARD = """
[department]
name = "Hollow Creek Fire District"

[[crew]]
name = "R. Alder"
role = "rescuer"
line = "A1"
tenders = ["Ashby", "Renn"]

[[crew]]
name = "B. Holt"
role = "rescuer"

[[crew]]
name = "Dorsey"
role = "tender"

[[crew]]
name = "Cole"
role = "tender"
"""


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    """An incident of a department whose card plans one line."""
    with Rig(tmp_path, source=source_for(site=read_site(CARD, "card"))) as made:
        yield made


@pytest.mark.parametrize("size", [WIDE, TALL], ids=["wide", "tall"])
def test_an_officer_counts_in_on_a_line_and_changes_it(rig: Rig, tablet: MakeTablet, size: tuple[int, int]) -> None:
    """The form begins with the card's plan; one without a line is a caution; written down later, the caution goes."""
    rig.say_until(VISIBLE, "rescuers_in")
    one = tablet(size, signed_in=True)
    one.press("crew")
    one.choose("Rescuer 1 going in")
    assert "A1" == one.page.input_value("#line")
    assert ["Ashby", "Renn"] == one.ask("[...document.querySelectorAll('[name=tender]:checked')].map((box) => box.value)")
    one.choose("Count rescuer 1 in")
    one.waits_for("#crew", "Line A1: Ashby, Renn")
    rig.say("rescuer two going in")
    one.waits_for("#crew .lack", "No line recorded")
    assert [("A1", ("Ashby", "Renn")), ("", ())] == [(row.line, row.tenders) for row in rig.state.inside]
    one.press("crew")
    one.choose("Rescuer 2: no line recorded")
    one.page.fill("#line", "B2")
    one.page.click("dialog label:has-text('Dorsey')")
    one.page.fill("#others", "Yarrow <b>Lee</b>")
    one.choose("Write it down")
    one.waits_for("#crew", "Line B2: Dorsey, Yarrow <b>Lee</b>")
    assert 0 == one.page.locator("#crew .lack").count()
    assert ("B2", ("Dorsey", "Yarrow <b>Lee</b>")) == (rig.state.inside[1].line, rig.state.inside[1].tenders)
    one.waits_for("#events", "Rescuer two, line B2, tenders Dorsey, Yarrow <b>Lee</b>")
    assert [] == one.troubles


def test_a_line_in_use_is_refused_in_words(rig: Rig, tablet: MakeTablet) -> None:
    """For a change: refused, with whose it is; for one going in: counted in, the line not written down."""
    rig.say_until(VISIBLE, "rescuers_in")
    rig.order(cmd.MoveRescuer(rig.clock.now_ms(), OFFICER, 1, True, "A1", ("Ashby", "Renn")))
    one = tablet(signed_in=True)
    one.press("crew")
    one.choose("Rescuer 2 going in")
    one.page.fill("#line", "a1")
    one.choose("Count rescuer 2 in")
    assert "The line was not written down: line A1 is rescuer one's." in one.answer()
    assert [("A1", 1), ("", 2)] == [(row.line, row.slot) for row in rig.state.inside]
    one.press("crew")
    one.choose("Rescuer 2: no line recorded")
    one.page.fill("#line", "A1")
    one.choose("Write it down")
    one.waits_for("#answer.refused", "Line A1 is rescuer one's.")
    assert "" == rig.state.inside[1].line


def test_a_relief_takes_over_the_line(rig: Rig, tablet: MakeTablet) -> None:
    """The one who comes out keeps it on record; the relief goes in on it, and a tender of two lines is a caution."""
    rig.say_until(VISIBLE, "rescuers_in")
    rig.order(cmd.MoveRescuer(rig.clock.now_ms(), OFFICER, 1, True, "A1", ("Ashby", "Renn")))
    rig.order(cmd.MoveRescuer(rig.clock.now_ms(), OFFICER, 2, True, "B2", ("Cole", "Dorsey")))
    one = tablet(signed_in=True)
    one.press("crew")
    one.choose("Rescuer 1 is out")
    one.waits_for("#crew", "Out again: Rescuer one, line A1")
    one.press("crew")
    one.choose("Rescuer 3 going in")
    one.page.fill("#line", "A1")
    for name in ("Ashby", "Cole"):
        one.page.click(f"dialog label:has-text('{name}')")
    one.choose("Count rescuer 3 in")
    one.waits_for("#crew", "Line A1: Cole, Ashby")
    one.waits_for("#crew .lack", "Cole is tender for rescuer two and rescuer three: one line each")


def test_more_than_four_tenders_are_not_sent(rig: Rig, tablet: MakeTablet) -> None:
    """The form says so and stays as it is."""
    rig.say_until(VISIBLE, "rescuers_in")
    before = len(rig.records)
    one = tablet(signed_in=True)
    one.press("crew")
    one.choose("Rescuer 1 going in")
    one.page.fill("#others", "A, B, C")
    one.choose("Count rescuer 1 in")
    one.waits_for("dialog .error", "At most 4 tenders for one line. Chosen: 5.")
    assert ("A, B, C", before) == (one.page.input_value("#others"), len(rig.records))
