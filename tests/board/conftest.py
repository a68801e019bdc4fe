"""One browser for each module of browser tests, one incident for each test.

Playwright keeps an event loop running in the test process while its browser is open, so it is closed before other modules.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.board.chromium import WIDE, Tablet, chromium
from tests.board.rig import Rig


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium without a window."""
    with chromium() as found:
        yield found


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    """An open incident with its board, on a clock that is moved by hand."""
    with Rig(tmp_path) as made:
        yield made


@pytest.fixture
def tablet(browser: Browser, rig: Rig) -> Iterator[Callable[..., Tablet]]:
    """Makes tablets that look at the incident, and puts them away."""
    made: list[Tablet] = []

    def make(size: tuple[int, int] = WIDE, address: str | None = None, path: str = "", *, signed_in: bool = False) -> Tablet:
        one = Tablet(browser, address or rig.address, size, path)
        made.append(one)
        if signed_in:
            one.sign_in()
        return one

    yield make
    for one in made:
        one.close()
