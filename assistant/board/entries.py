"""What an officer may enter now: the lists that the forms offer."""

from dataclasses import dataclass

from assistant.board.air_table import PLACES, UNITS
from protocol.air import Gas, range_of
from protocol.history import RESCUER_OUT
from protocol.marks import MARKS
from protocol.numbers import count_words
from protocol.phrases import MARK_WORDS, SPARE_RESCUERS
from protocol.scene import Scene


@dataclass(frozen=True, slots=True)
class Option:
    """One thing to choose, and how it is shown."""

    value: str
    words: str


@dataclass(frozen=True, slots=True)
class GasOption:
    """One gas that a meter may have read."""

    gas: str
    name: str
    unit: str


@dataclass(frozen=True, slots=True)
class Entries:
    """The lists."""

    may_confirm: bool
    """The officer outside may confirm this step; otherwise the crew inside does, or an override with a reason."""
    going_in: tuple[int, ...]
    coming_out: tuple[int, ...]
    marks: tuple[Option, ...]
    gases: tuple[GasOption, ...]
    places: tuple[str, ...]
    place: str
    """Where the step wants readings taken."""
    emergencies: tuple[Option, ...]
    last_entry: str
    """What "correct" would take back; empty: nothing."""
    entries: int
    """How many entries stand, so that a late press does not take back another one."""
    back_to: str
    """The step that "go back" leads to; empty: none."""
    canister_next: int


def entries_of(scene: Scene) -> Entries:
    """What may be entered at a moment."""
    state = scene.state
    inside = {one.slot for one in state.inside}
    slots = range(1, scene.house.rescuers + SPARE_RESCUERS + 1)
    back = state.trail[-1] if state.trail and not state.emergencies else ""
    return Entries(
        may_confirm=not scene.step.final and scene.step.confirmed_by in {"outside", "either"},
        going_in=tuple(slot for slot in slots if slot not in inside),
        coming_out=tuple(sorted(inside)),
        marks=tuple(Option(mark, MARK_WORDS[mark]) for mark in reversed(MARKS)),
        gases=tuple(GasOption(gas.value, gas.spoken, UNITS[range_of(gas).unit]) for gas in Gas),
        places=PLACES,
        place=scene.step.place or ("person" if inside else "hatch"),
        emergencies=tuple(Option(row.id, row.title) for row in scene.book.procedure.interruptions),
        last_entry=_last_entry(scene),
        entries=len(state.entries),
        back_to=scene.book.procedure.step(back).title if back else "",
        canister_next=len(state.canisters_ms) + 1,
    )


def _last_entry(scene: Scene) -> str:
    state = scene.state
    if not state.entries:
        return ""
    kind = state.entries[-1]
    if kind == "air":
        row = state.readings[-1]
        return f"{row.gas.spoken} {row.value:f} at the {row.place}"
    if kind == "canister":
        return f"canister {count_words(len(state.canisters_ms))}"
    if kind == "corner":
        return f"corner {count_words(state.tapes[-1].down_m[-1][0])}"
    if kind == RESCUER_OUT:
        return f"rescuer {count_words(state.left_last)} is out"
    return f"grain at {state.level}" if kind == "level" else f"the last {kind} entered"


