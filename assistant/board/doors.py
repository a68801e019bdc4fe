"""Who may act: a PIN with limited attempts, and session tokens. No clock here: time is handed in."""

import asyncio
import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from assistant.board.step_card import STATION

PIN_DIGITS = 6
FREE_TRIES = 5
"""Wrong PINs from one address before it must wait."""
FIRST_WAIT_MS = 30_000
"""Wait after the last free try; it doubles with each further one."""
LONGEST_WAIT_MS = 15 * 60_000
WRONG_UNTIL_NEW_PIN = 50
"""Wrong PINs from all addresses together after which the PIN is replaced: a guess is then right once in 20,000."""
MOST_ADDRESSES = 1000
"""Addresses remembered; the oldest is forgotten first."""


@dataclass(slots=True)
class Tries:
    """Wrong PINs from one address."""

    wrong: int = 0
    wait_until_ms: int = 0


@dataclass(slots=True)
class Officer:
    """One signed-in tablet."""

    station: str
    """Its name in the record: board 1, board 2."""
    until_ms: int
    used_ms: int
    seen: dict[str, asyncio.Future[tuple[int, dict[str, Any]]]] = field(default_factory=dict)
    """Answers to its last actions by their ids, so that a repeated press is not a second action."""


@dataclass(frozen=True, slots=True)
class Shut:
    """The PIN was not taken."""

    why: str
    wait_ms: int = 0


class Doors:
    """PIN and tokens of one run."""

    def __init__(self, pin: str | None, most_officers: int, officer_ms: int, notice: Callable[[str], None]) -> None:
        self.pin = pin or new_pin()
        self._notice = notice
        self._most_officers = most_officers
        self._officer_ms = officer_ms
        self._tries: dict[str, Tries] = {}
        self._officers: dict[str, Officer] = {}
        self._wrong = 0
        self._named = 0

    def enter(self, pin: str, address: str, now_ms: int) -> str | Shut:
        """Try a PIN; gives a token, or why not.

        Args:
            pin: as typed.
            address: where it was typed.
            now_ms: a clock that only goes forward.
        """
        tries = self._tries_of(address)
        if now_ms < tries.wait_until_ms:
            return Shut("Too many wrong PINs from here. Wait, then read the PIN on the console.",
                        tries.wait_until_ms - now_ms)  # fmt: skip
        if not hmac.compare_digest(pin.encode(), self.pin.encode()):
            return self._wrong_pin(tries, now_ms)
        self._tries.pop(address, None)
        return self._admit(now_ms)

    def officer(self, token: str | None, now_ms: int) -> Officer | None:
        """Who holds a token, if it is good."""
        found = self._officers.get(token or "")
        if found is None or found.until_ms <= now_ms:
            self._officers.pop(token or "", None)
            return None
        found.used_ms = now_ms
        return found

    def leave(self, token: str | None) -> None:
        """Make a token void."""
        self._officers.pop(token or "", None)

    def _tries_of(self, address: str) -> Tries:
        while len(self._tries) >= MOST_ADDRESSES and address not in self._tries:
            self._tries.pop(next(iter(self._tries)))
        return self._tries.setdefault(address, Tries())

    def _wrong_pin(self, tries: Tries, now_ms: int) -> Shut:
        tries.wrong += 1
        self._wrong += 1
        if self._wrong >= WRONG_UNTIL_NEW_PIN:
            self._wrong, self.pin = 0, new_pin()
            self._notice(f"Too many wrong PINs were tried on the board. The new PIN is {self.pin}.")
        over = tries.wrong - FREE_TRIES
        if over < 0:
            return Shut(f"That is not the PIN. {-over} more {'try' if over == -1 else 'tries'} before a wait.")
        wait_ms = min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** min(over, 10))
        tries.wait_until_ms = now_ms + wait_ms
        return Shut("That is not the PIN. Read it on the console.", wait_ms)

    def _admit(self, now_ms: int) -> str:
        while len(self._officers) >= self._most_officers:
            idle = min(self._officers, key=lambda token: self._officers[token].used_ms)
            del self._officers[idle]
        token = secrets.token_urlsafe(32)
        self._named += 1
        self._officers[token] = Officer(f"{STATION}{self._named}", now_ms + self._officer_ms, now_ms)
        return token


def new_pin() -> str:
    """Six digits drawn by the system's generator."""
    return f"{secrets.randbelow(10**PIN_DIGITS):0{PIN_DIGITS}d}"
