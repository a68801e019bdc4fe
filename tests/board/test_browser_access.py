"""Read in sun and in rain, with gloves, by screen reader: measured in the browser.

Contrast and the rest by axe-core, its strictest contrast rule (7:1, WCAG 2.2 success criterion 1.4.6) included.
Sizes: 18 pixels of text; 12 mm of target on the two screens this is made for, ten-inch 1280 by 800 (149 pixels an inch,
computed from its diagonal) and six-inch 390 by 844 (152): 72 pixels are 12.0 and 12.3 mm.
"""

import math
import re
from collections.abc import Callable
from importlib.resources import files
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]

from protocol import commands as cmd
from tests.board.chromium import TALL, THEMES, WIDE, Tablet
from tests.board.rig import Rig
from tests.drills import VISIBLE

pytestmark = pytest.mark.browser

MakeTablet = Callable[..., Tablet]
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag2aaa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]},
         "rules": {"color-contrast-enhanced": {"enabled": True}, "target-size": {"enabled": True}}}  # fmt: skip
SCREENS_INCH = {WIDE: 10.1, TALL: 6.1}
TARGET_MM = 12.0

SMALL_TEXT = """() => { const found = []; const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) { const node = walk.currentNode; const host = node.parentElement;
  if (!node.textContent.trim() || !host.checkVisibility() || host.closest("noscript, .unseen, script")) continue;
  const size = parseFloat(getComputedStyle(host).fontSize);
  if (size < 18) found.push([node.textContent.trim().slice(0, 40), size]); } return found; }"""
SMALL_TARGETS = """() => [...document.querySelectorAll("button, input, textarea, label.pick, a")]
  .filter((item) => item.checkVisibility() && !item.closest(".pick") || item.matches?.(".pick"))
  .filter((item) => item.checkVisibility())
  .map((item) => [item.textContent || item.id, item.getBoundingClientRect()])
  .filter(([, box]) => box.width > 0).map(([words, box]) => [words, box.width, box.height])"""


def violations(one: Tablet) -> list[str]:
    """What axe-core finds wrong, one line each."""
    result = Axe().run(one.page, options=RULES).response
    found: list[dict[str, Any]] = result["violations"]
    assert {"color-contrast-enhanced", "button-name"} <= {row["id"] for row in result["passes"]}
    return [f"{row['id']}: {node['target']} {node.get('failureSummary', '')}" for row in found for node in row["nodes"]]


def in_trouble(rig: Rig) -> None:
    """Bring everything onto the page that can be there: people, lines, grain, an alarm, things overdue, old and bad air."""
    rig.say_until(VISIBLE, "to_knees")
    for slot in (1, 2):
        rig.order(cmd.RecordLine(rig.clock.now_ms(), cmd.PROGRAM, slot, str(slot), ("Ashby",)))
    rig.wait(25)
    rig.say("carbon monoxide six zero at the person")


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("size", [WIDE, TALL], ids=["wide", "tall"])
@pytest.mark.parametrize("stage", ["people", "grain_kind", "air_hatch", "panel_set", "to_knees", "trouble"])
def test_axe_finds_nothing_at_any_stage(
    rig: Rig, tablet: MakeTablet, stage: str, size: tuple[int, int], theme: str
) -> None:
    """No violation on either screen in either theme, text no smaller than 18 pixels, nothing wider than the screen."""
    in_trouble(rig) if stage == "trouble" else rig.say_until(VISIBLE, stage)
    one = tablet(size, signed_in=True)
    one.theme(theme)
    one.waits_for_record(len(rig.records))
    assert [] == violations(one)
    assert [] == one.ask(SMALL_TEXT)
    assert size[0] >= one.ask("document.documentElement.scrollWidth")


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("size", [WIDE, TALL], ids=["wide", "tall"])
def test_axe_finds_nothing_in_any_form(rig: Rig, tablet: MakeTablet, size: tuple[int, int], theme: str) -> None:
    """Every form of the officer: no violation, big text, and every target at least 12 mm high and wide."""
    rig.say_until(VISIBLE, "to_hips")
    rig.order(cmd.RecordLine(rig.clock.now_ms(), cmd.PROGRAM, 1, "2", ("Ashby", "Renn")))
    one = tablet(size)
    one.theme(theme)
    one.press("pin")
    forms = [("sign-in", check(one, size))]
    one.page.keyboard.press("Escape")
    one.sign_in()
    for does in ("step", "air", "grain", "crew", "more", "emergency"):
        one.press(does)
        forms.append((does, check(one, size)))
        if does == "step":
            one.choose("Pass it with a reason")
            forms.append(("override", check(one, size)))
        if does == "crew":
            one.choose("Rescuer 1: line 2")
            forms.append(("line", check(one, size)))
        one.page.keyboard.press("Escape")
    assert [(name, []) for name, _found in forms] == forms


def test_axe_would_find_what_is_wrong(rig: Rig, tablet: MakeTablet) -> None:
    """Grey text of 4.6:1, a nameless button and small print put into the page are all found: the checks can fail."""
    one = tablet()
    one.ask(
        """(() => { const text = document.createElement("p"); text.textContent = "pale"; text.id = "pale";
        text.setAttribute("class", "small"); text.style.color = "#767676"; text.style.background = "#fff";
        text.style.fontSize = "12px"; document.querySelector("#step").append(text, document.createElement("button")); return 0; })()"""
    )
    rules = {line.split(":")[0] for line in violations(one)}
    assert {"color-contrast-enhanced", "button-name"} <= rules
    assert [["pale", 12]] == one.ask(SMALL_TEXT)
    assert rig.records


def check(one: Tablet, size: tuple[int, int]) -> list[Any]:
    """Everything wrong with the page as it stands."""
    per_mm = math.hypot(*size) / SCREENS_INCH[size] / 25.4
    small = [row for row in one.ask(SMALL_TARGETS) if min(row[1], row[2]) / per_mm < TARGET_MM - 0.05]
    return [*violations(one), *one.ask(SMALL_TEXT), *small]


@pytest.mark.parametrize("size", [(360, 740), (600, 960), (820, 1180), (1024, 768), (1920, 1080)])
@pytest.mark.parametrize("path", ["", "post"])
def test_other_screens_hold_everything_too(rig: Rig, tablet: MakeTablet, size: tuple[int, int], path: str) -> None:
    """On small and large screens, upright and lying, nothing is wider than the screen and no text is small."""
    in_trouble(rig)
    one = tablet(size, path=path)
    one.waits_for_record(len(rig.records))
    assert size[0] >= one.ask("document.documentElement.scrollWidth")
    assert [] == one.ask(SMALL_TEXT)


@pytest.mark.parametrize("theme", THEMES)
def test_axe_finds_nothing_when_out_of_date(rig: Rig, tablet: MakeTablet, theme: str) -> None:
    """The page that says it is out of date is as readable as the live one."""
    in_trouble(rig)
    one = tablet()
    one.theme(theme)
    rig.board.close()
    one.page.wait_for_selector("#stale:visible")
    assert [] == violations(one)


def test_nothing_flashes(rig: Rig, tablet: MakeTablet) -> None:
    """No animation runs on the page with every alarm open; no style sheet declares one."""
    in_trouble(rig)
    one = tablet()
    assert 0 == one.ask("document.getAnimations().filter((item) => item.effect.getTiming().iterations === Infinity).length")
    for entry in (files("assistant.board") / "page").iterdir():
        if entry.name.endswith(".css"):
            assert "@keyframes" not in entry.read_text(encoding="utf-8")


def test_a_screen_reader_meets_alarms_step_and_air_in_that_order(rig: Rig, tablet: MakeTablet) -> None:
    """The order in the document is the order of weight, each part is named, alarms interrupt and ticking clocks do not."""
    in_trouble(rig)
    one = tablet()
    order = one.ask("[...document.querySelectorAll('main > section')].map((part) => part.id)")
    assert ["alarms", "step", "clocks", "crew", "air", "grain", "plot", "events"] == order
    assert ("assertive", "polite") == tuple(
        one.ask("['alarms', 'step'].map((id) => document.getElementById(id).getAttribute('aria-live'))")
    )
    counting = "document.querySelectorAll('#alarms [data-clock], #step [data-clock]')"
    assert one.ask(f"{counting}.length") > 3
    assert {"off"} == set(one.ask(f"[...{counting}].map((node) => node.getAttribute('aria-live'))"))


def test_an_alarm_that_stays_is_not_read_out_again(rig: Rig, tablet: MakeTablet) -> None:
    """When a second alarm comes, the first one's element is the same as before, so only the new one is announced."""
    rig.say_until(VISIBLE, "boards")
    rig.say("hold all work")
    one = tablet()
    one.ask("window.first = document.querySelector('#alarms .alarm'), 0")
    rig.say("lifeline has gone slack")
    one.waits_for("#alarms", "Line slack")
    assert 2 == one.ask("document.querySelectorAll('#alarms .alarm').length")
    assert one.ask("window.first.isConnected && window.first.textContent.includes('All work is held')")


def test_every_verdict_and_state_has_words_and_a_shape(rig: Rig, tablet: MakeTablet) -> None:
    """Without colour: each verdict has a word and a mark of its own shape; each alarm says its grade."""
    in_trouble(rig)
    one = tablet()
    cells = one.ask(
        "[...document.querySelectorAll('.cell')].map((cell) => [cell.className, cell.querySelector('.verdict').textContent,"
        " cell.querySelector('.verdict svg').innerHTML])"
    )
    by_kind = {(kind, words, shape) for kind, words, shape in cells}
    kinds = {kind for kind, _words, _shape in by_kind}
    assert {"cell is-bad", "cell is-stale"} <= kinds
    assert len(kinds) == len({words for _kind, words, _shape in by_kind}) == len({shape for _k, _w, shape in by_kind})
    grades = one.ask("[...document.querySelectorAll('#alarms .alarm')].map((row) => row.textContent.split(':')[0])")
    assert {"ALARM", "WARNING"} == set(grades)


def test_every_pair_of_colours_that_carries_text_is_seven_to_one() -> None:
    """The two palettes, pair by pair, by the formula of WCAG 2.2 (relative luminance)."""
    css = (files("assistant.board") / "page" / "board.css").read_text(encoding="utf-8")
    day, night = (dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", part)) for part in css.split('data-theme="night"')[:2])
    pairs = [("ink", "ground"), ("ink", "page"), ("soft", "ground"), ("say-ink", "say"), ("key-ink", "key"), ("ink", "plain-key"),
             ("alarm-ink", "alarm"), ("warn-ink", "warn"), ("good", "ground"), ("care", "ground"), ("bad", "ground"),
             ("ink", "bed")]  # fmt: skip
    low = [(name, pair, round(_ratio(palette[pair[0]], palette[pair[1]]), 2))
           for name, palette in (("day", day), ("night", night)) for pair in pairs
           if _ratio(palette[pair[0]], palette[pair[1]]) < 7.0]  # fmt: skip
    assert [] == low


def _ratio(one: str, two: str) -> float:
    light, dark = sorted((_luminance(one), _luminance(two)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
