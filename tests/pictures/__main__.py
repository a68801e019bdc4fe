"""Makes every picture of README.md again: `python -m tests.pictures`.

The debrief and the terminal are those of the shipped recording of one drill, heard by the real recogniser; the board
is a drill that is typed. A person looks at them afterwards; nothing is compared.
"""

import sys
import tempfile
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page

from assistant.board import Settings
from assistant.board.drawing import bin_shape
from assistant.card.content import card_of
from assistant.card.html import card_html
from assistant.cli import main as bin_rescue
from assistant.library import load_book
from tests.board.cable import NEAR
from tests.board.chromium import Tablet, chromium
from tests.board.rig import PIN, Rig
from tests.drills import VISIBLE
from tests.pictures.terminal import terminal_svg

FOLDER = Path(__file__).parent
DRILL = "chest_leak"
SHOWN_FROM, SHOWN_TO = "Drum full", "Leak closed, confirmed."
BOARD = (1280, 1000)
WHOLE_PX = 2300
"""High enough for all of the board."""
COLOURS = 96
"""So many are enough for what is shown, and make a small file."""
PAGE_PX = 900
AT_WORK = ("vacuum hose is ready", "grain at chest", "canister is full", "person is answering", "grain at rib cage",
           "canister is full", "grain at waist", "canister is full", "person is answering", "canister is full",
           "grain is off the chest", "grain at hip bone", "canister is full")  # fmt: skip


def main() -> int:
    """Make them all."""
    with tempfile.TemporaryDirectory() as folder:
        record = Path(folder) / "drill.jsonl"
        screen = StringIO()
        with redirect_stdout(screen):
            bin_rescue(["drill", DRILL, "--audio", "--fast", "--journal", str(record)])
            bin_rescue(["report", str(record)])
        (FOLDER / "terminal.svg").write_text(terminal_svg(_part(screen.getvalue()), "A drill in a terminal"))
        with chromium() as browser:
            _debrief(browser, record.with_name("drill.report.html"))
            _card(browser, Path(folder) / "card.html")
            _board(browser, Path(folder))
    for picture in FOLDER.glob("*.png"):
        with Image.open(picture) as full:
            small = full.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
        small.save(picture, optimize=True)
    return 0


def _part(screen: str) -> list[str]:
    """From the drum before the leak until it is closed."""
    lines = screen.splitlines()
    last = next(n for n, line in enumerate(lines) if SHOWN_TO in line)
    first = max(n for n, line in enumerate(lines[:last]) if SHOWN_FROM in line and n < last - 8)
    return lines[first : last + 1]


def _debrief(browser: Browser, page_file: Path) -> None:
    page = browser.new_page(viewport={"width": PAGE_PX, "height": PAGE_PX})
    page.goto(page_file.as_uri())
    _clip(page, "Timeline", "debrief_timeline.png")
    _clip(page, "Grain inside the ring", "debrief_grain.png")
    page.close()


def _clip(page: Page, heading: str, name: str) -> None:
    """A heading with the first figure under it."""
    title = page.locator(f"h2:has-text('{heading}')")
    top, figure = title.bounding_box(), title.locator("xpath=following::figure[1]").bounding_box()
    assert top
    assert figure
    box = {"x": 0, "y": top["y"] - 8, "width": PAGE_PX, "height": figure["y"] + figure["height"] - top["y"] + 16}
    page.screenshot(path=FOLDER / name, clip=box, full_page=True)  # type: ignore[arg-type]


def _card(browser: Browser, file: Path) -> None:
    file.write_text(card_html(card_of(load_book())), encoding="utf-8")
    page = browser.new_page(viewport={"width": 760, "height": 600}, device_scale_factor=1.2)
    page.goto(file.as_uri())
    page.add_style_tag(content="body{margin:8px}")
    box = page.locator(".box").bounding_box()
    assert box
    clip = {"x": 0, "y": 0, "width": 760, "height": box["y"] + box["height"] + 1}
    page.screenshot(path=FOLDER / "card.png", clip=clip)  # type: ignore[arg-type]
    page.close()


def _board(browser: Browser, folder: Path) -> None:
    shape = bin_shape("bin one", 30, 20, "us")
    settings = Settings(port=0, pin=PIN, names=frozenset({NEAR}), bin_shape=shape)
    with Rig(folder, settings=settings) as rig:
        rig.say_until(VISIBLE, "vacuum_ready", pace_ms=4_000)
        rig.say(*AT_WORK, pace_ms=20_000)
        tablet = Tablet(browser, rig.address, BOARD)
        tablet.sign_in()
        tablet.theme("day")
        tablet.waits_for_record(len(rig.records))
        tablet.page.screenshot(path=FOLDER / "board.png")
        tablet.page.set_viewport_size({"width": BOARD[0], "height": WHOLE_PX})
        top = tablet.page.locator("h2:has-text('Grain going out')").bounding_box()
        end = tablet.page.locator("p:has-text('drawn upright')").bounding_box()
        assert top
        assert end
        clip = {"x": 0, "y": top["y"] - 24, "width": BOARD[0], "height": end["y"] + end["height"] - top["y"] + 36}
        tablet.page.screenshot(path=FOLDER / "board_grain.png", clip=clip)  # type: ignore[arg-type]
        tablet.close()


if __name__ == "__main__":
    sys.exit(main())
