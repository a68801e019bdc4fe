"""What is wrong or overdue now, the worst first. Each row is words: no meaning hangs on a colour."""

from dataclasses import dataclass
from enum import IntEnum

from assistant.board.air_table import UNITS
from assistant.board.crew_card import name_of
from assistant.board.past import Past
from protocol.air import Reading, Verdict, judge, worst
from protocol.delivery import Link
from protocol.guards import air_reason
from protocol.rules.linking import LOW_BATTERY
from protocol.scene import Scene
from protocol.state import RunningTimer
from protocol.timers import timer_row


class Grade(IntEnum):
    """How bad; the order in which rows are shown."""

    ALARM = 0
    """Act now."""
    WARNING = 1
    """Overdue, or a part of the program is lost."""


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """One thing that is wrong."""

    key: str
    grade: str
    """alarm or warning."""
    title: str
    text: str
    """What to do."""
    since_ms: int | None = None


_OVERDUE = {
    "hanging": (Grade.ALARM, "Hanging on the line", "Do not leave the person hanging still."),
    "roll_call": (Grade.WARNING, "Roll call overdue", "Call the roll. Answer: “all accounted for”."),
    "person_check": (Grade.WARNING, "Talk to the person", "Then say: “person is answering”."),
    "work_period": (Grade.WARNING, "Relief overdue: {name}", "The work period is over."),
    "held_flag": (Grade.WARNING, "Held a long time", "Tell the medics before release: crush injury is possible."),
}


def alarm_rows(scene: Scene, past: Past, leak: str = "") -> tuple[AlarmRow, ...]:
    """Everything that needs somebody now.

    Args:
        scene: the moment.
        past: what the records tell beyond the state.
        leak: what the mass balance says when it tells a leak; empty otherwise.
    """
    if scene.state.closed or not scene.state.opened:
        return ()
    rows = [*_emergencies(scene), *_bad_air(scene), *_held(scene, past), *_stale_air(scene)]
    if leak and scene.state.fact("person") != "free":
        rows.append(_row(Grade.WARNING, "leak", "By the count the ring leaks", leak.removeprefix("Warning. ")))
    rows += [row for timer in scene.state.timers if (row := _overdue(scene, timer))]
    rows += [
        _row(Grade.WARNING, f"part:{part}", f"{part.capitalize()} lost", "Use the keyboard or this board meanwhile.")
        for part in scene.state.failed_parts
    ]
    rows += _stations(scene)
    return tuple(sorted(rows, key=lambda row: Grade[row.grade.upper()]))


def bad_readings(scene: Scene) -> tuple[Reading, ...]:
    """Bad readings that no newer one of the same gas at the same place has replaced."""
    newest = {(row.gas, row.place): row for row in sorted(scene.state.readings, key=lambda row: row.at_ms)}
    return tuple(row for row in newest.values() if judge(row.gas, row.value) is Verdict.BAD)


def _row(grade: Grade, key: str, title: str, text: str, since_ms: int | None = None) -> AlarmRow:
    return AlarmRow(key, grade.name.lower(), title, text, since_ms)


def _emergencies(scene: Scene) -> list[AlarmRow]:
    rows = []
    for one in reversed(scene.state.emergencies):
        row = scene.book.procedure.interruption(one.kind)
        rows.append(_row(Grade.ALARM, f"emergency:{one.kind}", row.first, f"Emergency: {row.title}", one.raised_ms))
    return rows


def _bad_air(scene: Scene) -> list[AlarmRow]:
    rows = []
    for reading in bad_readings(scene):
        limit = worst(reading.gas, reading.value)
        value = f"{reading.value:f} {UNITS[limit.unit]}" if limit else f"{reading.value:f}"
        title = f"Bad air: {reading.gas.spoken} {value} at the {reading.place}"
        text = f"{limit.name.capitalize() if limit else 'Out of limits'}. Nobody inside until it is read again."
        rows.append(_row(Grade.ALARM, f"air:{reading.gas}@{reading.place}", title, text, reading.at_ms))
    return rows


def _held(scene: Scene, past: Past) -> list[AlarmRow]:
    if not scene.state.held:
        return []
    text = "Stand still. To go on, say: “resume all work”."
    return [_row(Grade.ALARM, "held", "All work is held", text, past.held_since_ms)]


def _stale_air(scene: Scene) -> list[AlarmRow]:
    reason = air_reason(scene, None)
    if not scene.state.inside or reason is None or bad_readings(scene):
        return []
    return [_row(Grade.WARNING, "air_age", "Test the air again", f"{reason[:1].upper()}{reason[1:]}.")]


def _stations(scene: Scene) -> list[AlarmRow]:
    """Headsets that are lost, and batteries that are low."""
    rows = []
    for one in scene.state.stations.seen:
        if one.link is Link.LOST:
            title, text = f"Headset {one.name} lost", "Use the radio. Watch that crew member."
            rows.append(_row(Grade.ALARM, f"station:{one.name}", title, text, one.since_ms))
        elif one.link is Link.UP and one.battery is not None and one.battery <= LOW_BATTERY:
            title = f"Headset {one.name}: battery {one.battery} %"
            rows.append(_row(Grade.WARNING, f"battery:{one.name}", title, "Bring a fresh one, or a radio."))
    return rows


def _overdue(scene: Scene, timer: RunningTimer) -> AlarmRow | None:
    if timer.timer not in _OVERDUE:
        return None
    due_ms = timer.started_ms + timer_row(timer.timer).interval_ms(scene.house)
    free = timer.timer == "held_flag" and scene.state.fact("person") == "free"
    if due_ms > scene.at_ms or free:
        return None
    grade, title, text = _OVERDUE[timer.timer]
    name = name_of(int(timer.key)) if timer.key.isdigit() else ""
    return _row(grade, f"{timer.timer}:{timer.key}", title.format(name=name), text, due_ms)
