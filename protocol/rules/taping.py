"""Taped corners and the warning of a leak; the grain outside the panels and what it lets in."""

from decimal import Decimal

from protocol import commands as cmd
from protocol import events as ev
from protocol.balance import balance_answer, leak, leak_warning, taped_again
from protocol.errors import EstimateError
from protocol.numbers import count_words, figure_words
from protocol.outside import next_panel_answer, order_answer, refill_answer
from protocol.rules.turn import Turn
from protocol.told import LEAK
from protocol.units import INCH_M

CENTIMETRE_M = 0.01
LOWEST_M = 0.3
"""Grain may stand so far below the lower edge of a panel before a taped length is not believed."""
HIGHEST_M = 3.0
"""Most that the grain outside may stand above the grain inside: the estimate's own limit."""


def tape_corner(turn: Turn, command: cmd.TapeCorner) -> None:
    """One corner read from the rim down; a whole set is weighed."""
    state, panels = turn.state, turn.scene.house.panels
    if state.fact("vacuum") != "on" or not state.levels:
        turn.answer("Call the grain level on the person first, with the vacuum ready. Then tape the corners.", "corner")
        return
    down_m = metres(turn, command.down)
    if not 1 <= command.corner <= panels or not 0 <= down_m <= turn.scene.house.panel_length_m + LOWEST_M:
        turn.answer(f"Corner {count_words(command.corner)}: that cannot be. Say it again.", "corner")
        return
    last = state.tapes[-1].down_m if state.tapes else ()
    opens = not last or len(last) == panels or command.corner in {corner for corner, _down in last}
    turn.emit(ev.CornerTaped(turn.at_ms, command.corner, down_m, opens))
    turn.start_timer("quiet")
    turn.answer(f"Corner {count_words(command.corner)}, {figure_words(format(command.down, 'f'))}.", "corner")
    if len(turn.state.tapes[-1].down_m) == panels:
        _weigh(turn)


def call_outside(turn: Turn, command: cmd.CallOutside) -> None:
    """Grain outside a panel: what would run in there, and the order once every panel has been called."""
    panels = turn.scene.house.panels
    higher_m = metres(turn, command.higher)
    if not 1 <= command.panel <= panels or not 0 <= higher_m <= HIGHEST_M:
        turn.answer(f"Panel {count_words(command.panel)}: that cannot be. Say it again.", "outside")
        return
    turn.emit(ev.OutsideCalled(turn.at_ms, command.panel, higher_m))
    turn.start_timer("quiet")
    figures = figure_words(format(command.higher, "f"))
    lead = f"Outside panel {count_words(command.panel)}, {figures}."
    turn.tell(refill_answer(turn.scene, command.panel).after(lead), "outside")
    turn.tell(order_answer(turn.scene), "outside")


def after_panel(turn: Turn) -> None:
    """Once a panel is out: the next in the order, and what it lets in."""
    turn.tell(next_panel_answer(turn.scene), "outside")


def watch(turn: Turn) -> None:
    """Warn of a leak once; the warning stands until the leak is closed or the entries that showed it are taken back."""
    warning = leak_warning(turn.scene)
    if warning and turn.state.fact("leak") != "warned":
        turn.emit(ev.FactLearned(turn.at_ms, "leak", "warned"))
        turn.say("both", ev.Urgency.ALARM, warning, "leak", estimates=(LEAK,))


def watch_again(turn: Turn) -> None:
    """After an entry was taken back: a warning that nothing shows any more is withdrawn."""
    if turn.state.fact("leak") != "warned":
        return
    try:
        still = leak(turn.scene).verdict == "leak"
    except EstimateError:
        still = False
    if not still:
        turn.emit(ev.FactLearned(turn.at_ms, "leak", "unknown"))
        turn.say("both", ev.Urgency.PROMPT, "The warning of a leak is withdrawn.", "leak")


def metres(turn: Turn, length: Decimal) -> float:
    """A length as the department says it, in metres."""
    return float(length) * (INCH_M if turn.scene.house.units == "us" else CENTIMETRE_M)


def _weigh(turn: Turn) -> None:
    if turn.state.fact("leak") == "warned":
        turn.answer("All corners taped. The leak that was warned of is not yet closed.", "corner")
    elif not taped_again(turn.scene):
        turn.answer("All corners taped. Tape them again before the vacuum starts.", "corner")
    else:
        watch(turn)
        if turn.state.fact("leak") != "warned":
            turn.tell(balance_answer(turn.scene), "corner")
