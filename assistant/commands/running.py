"""`run`: a live incident on this machine."""

import io
import os
import sys
from argparse import Namespace
from collections.abc import Callable, Sequence
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.app import Built, default_journal
from assistant.clock import SystemClock
from assistant.commands.linking import (
    check_place,
    is_shared,
    open_headsets,
    open_relay,
    posts_of,
    warn_all,
    wishes_of,
)
from assistant.commands.sound_keeping import keep_sound
from assistant.errors import BoardError
from assistant.incident import Incident, begin, open_incident
from assistant.inputs import Part
from assistant.journal import Record
from assistant.keyboard import HELP, read_lines
from assistant.library import bin_on_card, load_site, source_for
from assistant.live import Loop
from assistant.session import Session
from assistant.story import lines_of
from protocol.commands import PROGRAM, BeginDrill, Origin, Role, TakeLead
from protocol.scene import Book
from protocol.site import Bin
from protocol.state import DRILL, State

if TYPE_CHECKING:
    from assistant.board import Board

UNFINISHED = 10
"""Exit status when the program ended before the incident was closed."""


def run(options: Namespace) -> int:
    """Begin an incident and lead it until it is closed or stopped."""
    check_place(options)
    path = options.journal or default_journal()
    site = load_site(options.site)
    drawn = bin_on_card(site, options.bin)
    source = source_for(options.procedure, site)
    if site and len(site.bin) > 1 and drawn is None and not options.no_board:
        show(f"The site card lists {len(site.bin)} bins. Name one with --bin, and the board draws it.")
    kind = DRILL if options.drill else "live"
    incident = open_incident(source, path, kind, SystemClock())
    return lead(incident, options, path, kind, drawn)


def lead(
    incident: Incident, options: Namespace, path: Path, opening: str, drawn: Bin | None, order: TakeLead | None = None
) -> int:
    """Lead an incident until it is closed or stopped.

    Args:
        incident: open, or about to be.
        options: of the command line.
        path: its record.
        opening: kind of an incident that begins; empty for one that goes on.
        drawn: the bin on the board.
        order: the officer's, when this program takes the lead from another.
    """
    session, clock = incident.session, incident.clock
    with ExitStack() as last:
        last.callback(incident.journal.close)
        built = open_headsets(session.book, wishes_of(options), clock, show, last)
        session.react_with(story(session.book))
        posts = posts_of(incident, built, shared=is_shared(options))
        loop = Loop(incident, posts, show, lambda text: warn_all(built, text))
        troubles = [trouble for one in built for trouble in one.troubles]
        relay = open_relay(incident, options, loop, troubles, show)
        board = open_board(incident, options, loop, troubles, drawn)
        if relay is not None:
            last.callback(relay.close)
        if board is not None:
            last.callback(board.close)
        if options.keyboard or troubles or sys.stdin.isatty():
            show(HELP)
        show(f"Record: {path}")
        _open(incident, opening, order, built)
        if options.keep_audio:
            troubles.extend(keep_sound(incident, path, [one.station for one in built], show))
        for trouble in troubles:
            loop.put(trouble)
        why = _typed_run(loop, session, options)
    show(f"Ended: {why}. Record: {path}")
    return 0 if session.state.closed else UNFINISHED


def _open(incident: Incident, opening: str, order: TakeLead | None, built: Sequence[Built]) -> None:
    session, clock = incident.session, incident.clock
    if opening:
        begin(incident, opening)
        if opening == DRILL:
            session.submit(BeginDrill(clock.now_ms(), PROGRAM, "", ""))
    else:
        for one in built:
            one.station.listen_for(session.scene(clock.now_ms()))
    if order is not None:
        session.submit(order)


def _typed_run(loop: Loop, session: Session, options: Namespace) -> str:
    if isinstance(sys.stdin, io.TextIOWrapper):
        with suppress(io.UnsupportedOperation):  # a standby has read its order from it before
            sys.stdin.reconfigure(errors="replace")
    typist = Origin("crew", Role(options.role), "keyboard")
    read_lines(sys.stdin, loop.put, typist, lambda: session.state.step, ends_run=options.keyboard)
    return loop.run()


def open_board(
    incident: Incident, options: Namespace, loop: Loop, troubles: list[Part], drawn: Bin | None
) -> "Board | None":
    """The officer's page; a board that cannot be served is a trouble, never a stop."""
    if options.no_board:
        return None
    from assistant.board import Board, settings_for  # noqa: PLC0415  the web server is loaded only when it is wanted

    session = incident.session
    settings = settings_for(options.port, drawn, session.book.house.units, lan=options.lan)
    board = Board(session.book, loop.put, incident.clock, settings, history=incident.history, notice=show)
    try:
        board.start()
    except BoardError as error:
        troubles.append(Part("board", works=False, detail=str(error)))
        return None
    loop.add(board)
    show(board.sign)
    return board


def story(book: Book) -> Callable[[Record, State], None]:
    """Tells each record at the terminal."""

    def tell(record: Record, _state: State) -> None:
        for line in lines_of(record, book):
            show(line)

    return tell


def show(text: str) -> None:
    """Tell the person at the terminal; a terminal that is gone must not end the incident."""
    try:
        print(text.encode(errors="replace").decode(), flush=True)
    except (OSError, ValueError):
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  for the rest of the run
