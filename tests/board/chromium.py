"""Debian's chromium, driven by Playwright: how it is started, and what a test asks of a page."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.board.rig import PIN

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
WIDE = (1280, 800)
TALL = (390, 844)
THEMES = ("day", "night")
PATIENCE_MS = 10_000
SHOWS_RECORD = """async ([n, patience]) => { const link = document.getElementById("link"); const until = performance.now() + patience;
while (Number(link.dataset.record) < n && performance.now() < until) await new Promise((done) => setTimeout(done, 10));
return Number(link.dataset.record); }"""


@contextmanager
def chromium() -> Iterator[Browser]:
    """One browser.

    Raises:
        RuntimeError: if chromium is not installed.
    """
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        raise RuntimeError("These tests need Debian's chromium: apt-get install chromium, or pytest -m 'not browser'.")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


class Tablet:
    """One viewer with a screen of a size."""

    def __init__(self, browser: Browser, address: str, size: tuple[int, int] = WIDE, path: str = "") -> None:
        self.context: BrowserContext = browser.new_context(viewport={"width": size[0], "height": size[1]})
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.troubles: list[str] = []
        self.page.on("pageerror", lambda error: self.troubles.append(str(error)))
        self.page.on("console", lambda message: self.troubles.append(message.text) if message.type == "error" else None)
        self.page.goto(address + path)
        self.page.wait_for_selector("[data-link=live]")

    def sign_in(self) -> None:
        """Enter the PIN."""
        self.page.click("[data-does=pin]")
        self.page.fill("#pin", PIN)
        self.page.click("dialog button:has-text('Sign in')")
        self.page.wait_for_selector("#answer:has-text('Signed in')")

    def press(self, does: str) -> None:
        """Press a button of the bar; on a narrow screen the forms lie one press deeper."""
        if does in {"air", "grain", "crew", "more"} and not self.page.query_selector(f"[data-does={does}]"):
            self.page.click("[data-does=enter]")
        self.page.click(f"[data-does={does}]")

    def choose(self, words: str) -> None:
        """Press a button of the open sheet by its words."""
        self.page.click(f'dialog button:has-text("{words}")')

    def waits_for(self, selector: str, words: str) -> None:
        """Wait until a part of the page holds words."""
        self.page.wait_for_selector(f'{selector}:has-text("{words}")')

    def waits_for_record(self, n: int) -> None:
        """Wait until the page says that it shows record `n` or a later one."""
        reached = self.page.evaluate(SHOWS_RECORD, [n, PATIENCE_MS])
        assert reached >= n, f"The page stands at record {reached}, not {n}."

    def answer(self) -> str:
        """What the bar says about the last press, once the program has answered."""
        self.page.wait_for_selector("#answer.recorded, #answer.refused, #answer.outdated, #answer.unknown")
        return self.page.inner_text("#answer")

    def theme(self, name: str) -> None:
        """Day or night."""
        if self.page.evaluate("document.documentElement.dataset.theme") != name:
            self.page.click("#theme")

    def ask(self, script: str) -> Any:
        """Run a script in the page."""
        return self.page.evaluate(script)

    def close(self) -> None:
        """Put it away."""
        self.context.close()
