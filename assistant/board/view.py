"""Everything the board shows at one moment, as frozen rows: pure, so that it is tested without a browser.

A viewer counts clocks from the moments given here and scales lengths; it decides nothing.
"""

from dataclasses import dataclass, fields, is_dataclass
from decimal import Decimal
from typing import Any

from assistant.board.air_table import AirTable, air_table
from assistant.board.alarm_rows import AlarmRow, alarm_rows
from assistant.board.clock_tiles import ClockTile, clock_tiles
from assistant.board.crew_card import CrewCard, crew_card
from assistant.board.drawing import BinShape, Drawing, drawing
from assistant.board.entries import Entries, entries_of
from assistant.board.grain_card import GrainCard, grain_card
from assistant.board.past import Line, Past
from assistant.board.stations_card import StationsCard, stations_card
from assistant.board.step_card import StepCard, step_card
from protocol.scene import Scene


@dataclass(frozen=True, slots=True)
class StageMark:
    """One stage of the straight way through."""

    title: str
    place: str
    """done, now or ahead."""


@dataclass(frozen=True, slots=True)
class Board:
    """Everything about an open incident."""

    step: StepCard
    stages: tuple[StageMark, ...]
    alarms: tuple[AlarmRow, ...]
    clocks: tuple[ClockTile, ...]
    air: AirTable
    crew: CrewCard
    grain: GrainCard
    drawing: Drawing
    entries: Entries
    stations: StationsCard


@dataclass(frozen=True, slots=True)
class View:
    """One update's content."""

    at_ms: int
    """The moment it was made, in milliseconds since the first call."""
    n: int
    """Number of the last record that it holds."""
    title: str
    kind: str
    """live, drill or rehearsal; empty before the incident is open."""
    caution: str
    opened: bool
    closed: bool
    held: bool
    steps_confirmed: int
    units: str
    board: Board | None
    """None before the incident is open."""
    lines: tuple[Line, ...]
    """The last lines of the story, oldest first."""


def view(scene: Scene, past: Past | None = None, bin_shape: BinShape | None = None) -> View:
    """What the board shows.

    Args:
        scene: procedure, house rules, state, moment.
        past: what the records tell beyond the state.
        bin_shape: the bin from the site card, if one is known.
    """
    known = past or Past()
    state, heading = scene.state, scene.book.procedure.heading
    return View(
        at_ms=scene.at_ms,
        n=known.n,
        title=_title(scene),
        kind=state.kind,
        caution=heading.caution,
        opened=state.opened,
        closed=state.closed,
        held=state.held,
        steps_confirmed=state.steps_confirmed,
        units=scene.house.units,
        board=_board(scene, known, bin_shape) if state.opened and state.step else None,
        lines=known.lines,
    )


def plain(value: Any) -> Any:
    """A view as JSON values; decimals keep their digits as text."""
    if is_dataclass(value):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [plain(item) for item in value]
    if isinstance(value, Decimal):
        return format(value, "f")
    return round(value, 4) if isinstance(value, float) else value


def _board(scene: Scene, past: Past, bin_shape: BinShape | None) -> Board:
    air, grain = air_table(scene), grain_card(scene, past)
    return Board(
        step=step_card(scene),
        stages=_stages(scene),
        alarms=alarm_rows(scene, past, grain.leak_words if grain.leak == "leak" else ""),
        clocks=clock_tiles(scene, air),
        air=air,
        crew=crew_card(scene),
        grain=grain,
        drawing=drawing(scene, bin_shape, past.passed),
        entries=entries_of(scene),
        stations=stations_card(scene),
    )


def _home_stage(scene: Scene) -> str:
    """Stage of the step that stands, or of the one that an emergency interrupted."""
    state = scene.state
    return scene.book.procedure.step(state.emergencies[0].return_to if state.emergencies else state.step).stage


def _straight(scene: Scene) -> list[str]:
    procedure = scene.book.procedure
    return list(dict.fromkeys(step.stage for step in procedure.steps[: procedure.main]))


def _title(scene: Scene) -> str:
    """The procedure's title; off the straight way the branch's own, which may say the opposite."""
    procedure = scene.book.procedure
    if not scene.state.step or _home_stage(scene) in _straight(scene):
        return procedure.heading.title
    return next(stage.title for stage in procedure.stages if stage.id == _home_stage(scene))


def _stages(scene: Scene) -> tuple[StageMark, ...]:
    procedure, state = scene.book.procedure, scene.state
    home, main = _home_stage(scene), _straight(scene)
    passed = {procedure.step(name).stage for name in state.trail}
    titles = {stage.id: stage.title for stage in procedure.stages}
    if home not in main:
        return tuple(StageMark(titles[name], "done" if name in passed else "ahead") for name in main)
    now = main.index(home)
    return tuple(StageMark(titles[name], _place(index, now)) for index, name in enumerate(main))


def _place(index: int, now: int) -> str:
    if index == now:
        return "now"
    return "done" if index < now else "ahead"
