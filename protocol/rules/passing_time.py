"""What the passing of time does: clocks that run out."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas, Verdict, latest, verdict_at
from protocol.rules.turn import Turn
from protocol.scene import minutes_ms
from protocol.state import RunningTimer
from protocol.timers import TimerRow, due, next_due_ms, timer_row
from protocol.wording import stale_words, timer_words


def tick(turn: Turn, _command: cmd.Tick) -> None:
    """Let every clock that has run out say so; without one, nothing happened."""
    if not turn.state.opened or turn.state.closed:
        return
    for timer in due(turn.state, turn.at_ms):
        row = timer_row(timer.timer)
        after = next_due_ms(row, turn.scene.house, timer, turn.at_ms)
        turn.emit(ev.TimerExpired(turn.at_ms, timer.timer, timer.key, after))
        _EFFECTS.get(timer.timer, _announce)(turn, row, timer)
    _say_stale(turn)


def _announce(turn: Turn, row: TimerRow, timer: RunningTimer) -> None:
    text = timer_words(row, timer.key, turn.at_ms - timer.started_ms, len(turn.state.inside))
    turn.say(row.to, row.urgency, text, row.id)


def _stale(turn: Turn, _row: TimerRow, timer: RunningTimer) -> None:
    gas, place = timer.key.split("@")
    turn.emit(ev.AirWentStale(turn.at_ms, Gas(gas), place))


def _say_stale(turn: Turn) -> None:
    """One sentence for all gases that went stale in this turn and were not read since, wherever."""
    max_age = minutes_ms(turn.scene.house.air_max_age_min)
    stale = [
        event.gas
        for event in turn.events
        if isinstance(event, ev.AirWentStale)
        and verdict_at(latest(turn.state.readings, event.gas), turn.at_ms, max_age) is Verdict.STALE
    ]
    if stale:
        row = timer_row("air_age")
        turn.say(row.to, row.urgency, stale_words(stale, max_age), row.id)


def _quiet(turn: Turn, _row: TimerRow, _timer: RunningTimer) -> None:
    if turn.state.held:
        turn.say("both", ev.Urgency.INFO, "All work is still held.", "quiet")
        return
    turn.prompt(turn.scene.step)


def _lapsed(turn: Turn, _row: TimerRow, _timer: RunningTimer) -> None:
    turn.stop_timer("readback")
    if turn.state.pending:
        turn.emit(ev.ReadbackDropped(turn.at_ms, "lapsed"))
        turn.answer("Not affirmed. Nothing was changed.", "readback")


_EFFECTS: Mapping[str, Callable[[Turn, TimerRow, RunningTimer], None]] = MappingProxyType({
    "air_age": _stale,
    "quiet": _quiet,
    "readback": _lapsed,
})
