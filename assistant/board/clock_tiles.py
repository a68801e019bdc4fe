"""Clocks: since when each thing runs, and when it is due. Nothing here counts: a viewer counts from these moments."""

from dataclasses import dataclass

from assistant.board.air_table import AirTable
from protocol.handover import held_ms
from protocol.scene import Scene
from protocol.timers import running, timer_row


@dataclass(frozen=True, slots=True)
class ClockTile:
    """One clock."""

    key: str
    title: str
    since_ms: int
    stopped_ms: int | None = None
    """When it stopped, or None while it runs."""
    due_ms: int | None = None
    """When somebody must act, or None."""
    due_title: str = ""
    rule: str = ""
    """Where the interval comes from."""


def clock_tiles(scene: Scene, air: AirTable) -> tuple[ClockTile, ...]:
    """Every clock that means something now, the most watched first."""
    tiles = [
        ClockTile("call", "Since first call", 0, scene.at_ms if scene.state.closed else None),
        _held(scene),
        _timed(scene, "hanging", "On the line"),
        _timed(scene, "person_check", "Person answered"),
        _timed(scene, "roll_call", "Roll call"),
        None if scene.state.closed else _air(air),
    ]
    return tuple(tile for tile in tiles if tile)


def _held(scene: Scene) -> ClockTile:
    held = held_ms(scene)
    free = scene.state.fact("person") == "free"
    timer = running(scene.state, "held_flag")
    due_ms = timer.due_ms if timer else None
    rule = timer_row("held_flag").source
    return ClockTile("held", "Person held", 0, held if free else None, due_ms, "tell medics", rule)


def _timed(scene: Scene, timer: str, title: str) -> ClockTile | None:
    found = running(scene.state, timer)
    if found is None:
        return None
    row = timer_row(timer)
    due_ms = found.started_ms + row.interval_ms(scene.house)
    return ClockTile(timer, title, found.started_ms, None, due_ms, "due", row.source)


def _air(air: AirTable) -> ClockTile | None:
    if air.next_test_ms is None:
        return None
    oldest_ms = air.next_test_ms - air.max_age_ms
    return ClockTile("air", "Oldest air reading", oldest_ms, None, air.next_test_ms, "test again", "house rule")
