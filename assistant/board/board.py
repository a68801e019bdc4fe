"""The board as the loop sees it: it hears of records once they are on disk, and puts an officer's commands in."""

from collections.abc import Callable, Sequence

from assistant.board.doors import Doors
from assistant.board.hub import Hub
from assistant.board.network import console_sign, lan_addresses
from assistant.board.pages import Pages
from assistant.board.server import Server
from assistant.board.settings import Settings
from assistant.clock import Clock
from assistant.errors import BoardError
from assistant.inputs import Input, Order, Part
from assistant.journal import Record
from protocol.commands import Command
from protocol.scene import Book
from protocol.state import State

PART = "board"
RETRY_MS = 5_000
"""A board that has fallen silent is started again so often."""


class Board:
    """A web page that shows one incident and takes an officer's actions."""

    def __init__(
        self,
        book: Book,
        put: Callable[[Input], object],
        clock: Clock,
        settings: Settings | None = None,
        *,
        history: Sequence[Record] = (),
        notice: Callable[[str], None] = lambda _text: None,
    ) -> None:
        """Make a board; it answers once started.

        Args:
            book: procedure and house rules.
            put: takes an officer's command into the incident's queue.
            clock: the incident's clock.
            settings: port, network, PIN, bounds.
            history: records of an incident that is resumed.
            notice: shows a sentence on the console (a new PIN after too many wrong ones).
        """
        self._settings = settings or Settings()
        self._clock = clock
        hours_ms = round(self._settings.officer_hours * 3_600_000)
        self._doors = Doors(self._settings.pin, self._settings.most_officers, hours_ms, notice)
        self._hub = Hub(book, clock, history, self._settings.bin_shape)
        self.pages = Pages(self._hub, self._doors, clock, lambda command: _order(put, command), self._settings)
        self._server = Server(self.pages.app, self._settings)
        self._failed_ms: int | None = None
        self._started = False

    @property
    def pin(self) -> str:
        """What an officer types; show it once, on the console."""
        return self._doors.pin

    @property
    def addresses(self) -> tuple[str, ...]:
        """Where the board is, the best one first."""
        hosts = (lan_addresses() if self._settings.lan else ()) or ("127.0.0.1",)
        return tuple(f"http://{host}:{self._server.port}/" for host in hosts)

    @property
    def address(self) -> str:
        """Where the board is."""
        return self.addresses[0]

    @property
    def sign(self) -> str:
        """Address, PIN and QR code for the console."""
        return console_sign(self.addresses, self.pin, lan=self._settings.lan)

    def start(self) -> None:
        """Serve in a thread of its own.

        Raises:
            BoardError: if the port cannot be had.
        """
        self._server.start()
        self._started = True

    def react(self, record: Record, state: State) -> None:
        """Show a record that is on disk."""
        self._hub.take(record, state)

    def poll(self, now_ms: int) -> list[Input]:
        """Note that the loop is alive; report and restart a board that has stopped."""
        self._hub.polled()
        if not self._started or self._server.alive:
            return []
        if self._failed_ms is None:
            self._failed_ms = now_ms
            return [Part(PART, works=False, detail="The board has stopped. It is started again.")]
        if now_ms - self._failed_ms < RETRY_MS:
            return []
        self._failed_ms = now_ms
        try:
            self._server.start()
        except BoardError:
            return []
        self._failed_ms = None
        return [Part(PART, works=True, detail="The board is back.")]

    @property
    def silent(self) -> bool:
        """A board says nothing aloud: the loop need not wait for it."""
        return True

    def close(self) -> None:
        """Stop serving."""
        self._started = False
        self._hub.close()
        self._server.close()


def _order(put: Callable[[Input], object], command: Command) -> None:
    put(Order(command))
