"""What is asked of the archive: the list, and trends. One statement each, the same on both databases.

Medians and quartiles are found by rank over whole numbers, so that both give the same answer to the millisecond.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from sqlalchemy import ColumnElement, Engine, FromClause, Select, and_, case, func, or_, select

from assistant.archive.schema import DRILLS, STAGES, UNKNOWN_MONTH
from assistant.archive.store import told
from assistant.errors import ArchiveError

COUNTS: Mapping[str, str] = MappingProxyType({
    "steps": "steps confirmed", "refused": "confirmations refused", "overrides": "steps passed by override",
    "emergencies": "emergencies raised", "readings": "air readings", "bad_readings": "bad air readings",
    "canisters": "canisters", "order_faults": "things tried before their turn",
    "missed_calls": "roll calls and person checks not answered", "late_answers": "injects not answered in time",
    "misheard": "words taken back", "oldest_air_ms": "oldest air leaned on, ms",
})  # fmt: skip
"""What a trend may count besides time."""
TIME = "time"
BY = ("stage", "crew", "scenario", "department", "all")
EVERY = ("month", "quarter", "year")


@dataclass(frozen=True, slots=True)
class Choice:
    """Which drills are looked at; empty: all."""

    department: str = ""
    crew: str = ""
    scenario: str = ""
    kind: str = ""


@dataclass(frozen=True, slots=True)
class TrendAsked:
    """What a trend is of."""

    by: str = "stage"
    every: str = "month"
    measure: str = TIME
    stage: str = ""
    """Time in this stage only, when it is not by stage."""
    choice: Choice = Choice()

    def __post_init__(self) -> None:
        if self.by not in BY or self.every not in EVERY or self.measure not in {TIME, *COUNTS}:
            measures = ", ".join((TIME, *COUNTS))
            raise ArchiveError(f"A trend is by {', '.join(BY)}; every {', '.join(EVERY)}; of {measures}.")
        if self.measure != TIME and (self.by == "stage" or self.stage):
            raise ArchiveError("Only time is kept for each stage. Choose --by crew, scenario, department or all.")


@dataclass(frozen=True, slots=True)
class TrendRow:
    """One group in one stretch of the year."""

    group: str
    period: str
    drills: int
    low: int
    """Lower quartile, by nearest rank."""
    median: float
    high: int
    """Upper quartile."""


@dataclass(frozen=True, slots=True)
class Listed:
    """One archived record."""

    id: int
    opened_s: int | None
    kind: str
    scenario: str
    department: str
    crew: str
    length_ms: int
    closed: bool
    whole: bool
    steps: int
    refused: int
    events: int
    digest: str


def listed(engine: Engine, choice: Choice, most: int | None = None) -> list[Listed]:
    """Archived records, the newest first.

    Raises:
        ArchiveError: if the database fails.
    """
    columns = [DRILLS.c[name] for name in Listed.__slots__]
    statement = select(*columns).where(*conditions(choice)).order_by(DRILLS.c.opened_s.desc(), DRILLS.c.id.desc())
    with told(engine), engine.connect() as connection:
        return [Listed(*row) for row in connection.execute(statement.limit(most))]


def trend(engine: Engine, asked: TrendAsked) -> list[TrendRow]:
    """Median and quartiles for each group and stretch of the year, in order.

    Raises:
        ArchiveError: if the database fails.
    """
    groups: dict[tuple[str, str], tuple[int, dict[int, int]]] = {}
    with told(engine), engine.connect() as connection:
        for group, period, n, place, value in connection.execute(_statement(asked)):
            groups.setdefault((str(group), str(period)), (int(n), {}))[1][int(place)] = int(value)
    return [_row(group, period, *found) for (group, period), found in sorted(groups.items())]


def _row(group: str, period: str, n: int, values: dict[int, int]) -> TrendRow:
    """From the few values by rank that matter: the middle one or two, and the quartiles by nearest rank."""
    middle = [values[place] for place in {(n + 1) // 2, n // 2 + 1}]
    median = sum(middle) / len(middle)
    return TrendRow(group, period, n, values[-(-n // 4)], median, values[-(-3 * n // 4)])


def stage_titles(engine: Engine) -> dict[str, str]:
    """Title of each stage, as the newest record has it.

    Raises:
        ArchiveError: if the database fails.
    """
    with told(engine), engine.connect() as connection:
        statement = select(STAGES.c.stage, func.max(STAGES.c.title)).group_by(STAGES.c.stage)
        return {str(stage): str(title) for stage, title in connection.execute(statement)}


def conditions(choice: Choice) -> list[ColumnElement[bool]]:
    """The choice as conditions on drills."""
    wanted = {name: getattr(choice, name) for name in Choice.__slots__}
    return [DRILLS.c[name] == value for name, value in wanted.items() if value]


def _statement(asked: TrendAsked) -> Select[Any]:
    """Group, stretch, number of drills, rank and value of those ranks that `_row` needs."""
    values = _values(asked).subquery("vals")
    split = (values.c.grouped, values.c.period)
    rank = func.row_number().over(order_by=values.c.value, partition_by=split).label("place")
    if not _in_index_order(asked):
        counted = func.count().over(partition_by=split).label("n")
        ranked = select(*split, values.c.value, rank, counted).subquery("ranked")
        return _wanted(select(*_columns(ranked, ranked.c.n)), ranked.c.place, ranked.c.n)
    again = _values(asked).subquery("again")  # read twice in the order of the index, it needs no sorting
    both = (again.c.grouped, again.c.period)
    counts = select(*both, func.count().label("n")).group_by(*both).cte("counts")
    ranked = select(*split, values.c.value, rank).subquery("ranked")
    same = and_(ranked.c.grouped == counts.c.grouped, ranked.c.period == counts.c.period)
    return _wanted(select(*_columns(ranked, counts.c.n)).join_from(ranked, counts, same), ranked.c.place, counts.c.n)


def _in_index_order(asked: TrendAsked) -> bool:
    return asked.by == "stage" and asked.every == "month" and not conditions(asked.choice)


def _columns(ranked: FromClause, n: ColumnElement[Any]) -> tuple[ColumnElement[Any], ...]:
    return ranked.c.grouped, ranked.c.period, n, ranked.c.place, ranked.c.value


def _wanted(rows: Select[Any], place: ColumnElement[Any], n: ColumnElement[Any]) -> Select[Any]:
    """The middle and the quartiles only."""
    return rows.where(
        or_(
            and_(2 * place >= n, 2 * place <= n + 2),
            and_(4 * place >= n, 4 * place < n + 4),
            and_(4 * place >= 3 * n, 4 * place < 3 * n + 4),
        )
    )


def _values(asked: TrendAsked) -> Select[Any]:
    where = conditions(asked.choice)
    if asked.by == "stage" or asked.stage:
        return _stage_values(asked, where)
    value = DRILLS.c.length_ms if asked.measure == TIME else DRILLS.c[asked.measure]
    columns = (_group(asked.by), _period(DRILLS.c.month, asked.every), value)
    return select(*_labelled(*columns)).where(*where, value.is_not(None))


def _stage_values(asked: TrendAsked, where: list[ColumnElement[bool]]) -> Select[Any]:
    grouped = STAGES.c.stage if asked.by == "stage" else _group(asked.by)
    columns = _labelled(grouped, _period(STAGES.c.month, asked.every), STAGES.c.spent_ms)
    only = [STAGES.c.stage == asked.stage] if asked.stage else []
    if asked.by == "stage" and not where:
        return select(*columns).where(*only)
    return select(*columns).join_from(STAGES, DRILLS, STAGES.c.drill == DRILLS.c.id).where(*where, *only)


def _labelled(*columns: ColumnElement[Any]) -> list[ColumnElement[Any]]:
    return [column.label(name) for column, name in zip(columns, ("grouped", "period", "value"), strict=True)]


def _group(by: str) -> ColumnElement[str]:
    return func.substr("all drills", 1, 10) if by == "all" else DRILLS.c[by]


def _period(month: ColumnElement[str], every: str) -> ColumnElement[str]:
    if every == "month":
        return month
    year: ColumnElement[str] = func.substr(month, 1, 4)
    number = func.substr(month, 6, 2)
    quarters = [(number <= last, name) for last, name in (("03", "-Q1"), ("06", "-Q2"), ("09", "-Q3"))]
    known = year if every == "year" else year.concat(case(*quarters, else_="-Q4"))
    return case((month == UNKNOWN_MONTH, month), else_=known)
