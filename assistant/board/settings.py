"""How the board is served."""

from dataclasses import dataclass

from assistant.board.drawing import BinShape, bin_shape
from assistant.board.network import own_names
from protocol.site import Bin

DEFAULT_PORT = 8470


@dataclass(frozen=True, slots=True)
class Settings:
    """What a person may choose, and the bounds that keep one viewer from shutting out the others."""

    port: int = DEFAULT_PORT
    """0: any free port."""
    lan: bool = False
    """Bind to the network; otherwise only this machine sees the board."""
    pin: str | None = None
    """Six digits; None: drawn afresh."""
    bin_shape: BinShape | None = None
    """The bin from the site card."""
    names: frozenset[str] = frozenset()
    """Further names or addresses under which the board may be asked for, such as one of this machine's own."""
    most_connections: int = 600
    """Open at once, all addresses together."""
    most_per_address: int = 40
    """Open at once from one address of the network; this machine itself is not limited."""
    most_body_bytes: int = 4096
    """Longest request body."""
    most_officers: int = 12
    """Signed in at once; the longest idle one is signed out for a new one."""
    officer_hours: float = 12.0
    """How long a sign-in lasts."""
    answer_s: float = 4.0
    """How long an action waits for its record before it says that none came."""
    first_byte_s: float = 10.0
    """A connection that has not asked for anything by then is closed."""


def settings_for(port: int, drawn: Bin | None, units: str, *, lan: bool) -> Settings:
    """Settings of a run: where it is served, under which names, and the bin that it draws.

    Args:
        port: of the board; 0: any.
        drawn: the bin of the site card, if it is known which.
        units: us or metric, for the bin's size in words.
        lan: bind to the network; then this machine's own names are answered to as well.
    """
    shape = bin_shape(drawn.name, drawn.diameter_ft, drawn.eave_ft, units) if drawn else None
    return Settings(port=port, lan=lan, bin_shape=shape, names=own_names() if lan else frozenset())
