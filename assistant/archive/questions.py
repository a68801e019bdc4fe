"""What is asked of the archive: the list, and trends. One statement each, the same on both databases.

Medians and quartiles are found by rank over whole numbers, so that both give the same answer to the millisecond.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from sqlalchemy import ColumnElement, Engine, Select, and_, case, func, select

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
    with told(engine), engine.connect() as connection:
        found = connection.execute(_statement(asked)).all()
    rows = [
        TrendRow(str(row.grouped), str(row.period), int(row.n), int(row.low), int(row.middle) / int(row.shared),
                 int(row.high))
        for row in found
    ]  # fmt: skip
    return sorted(rows, key=lambda row: (row.group, row.period))


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
    values = _values(asked).subquery()
    split = (values.c.grouped, values.c.period)
    ranked = select(
        values.c.grouped,
        values.c.period,
        values.c.value,
        func.row_number().over(order_by=values.c.value, partition_by=split).label("place"),
        func.count().over(partition_by=split).label("n"),
    ).subquery()
    place, n, value = ranked.c.place, ranked.c.n, ranked.c.value
    middle = and_(2 * place >= n, 2 * place <= n + 2)
    return select(
        ranked.c.grouped,
        ranked.c.period,
        func.max(n).label("n"),
        func.sum(case((middle, value), else_=0)).label("middle"),
        func.sum(case((middle, 1), else_=0)).label("shared"),
        func.sum(case((and_(4 * place >= n, 4 * place < n + 4), value), else_=0)).label("low"),
        func.sum(case((and_(4 * place >= 3 * n, 4 * place < 3 * n + 4), value), else_=0)).label("high"),
    ).group_by(ranked.c.grouped, ranked.c.period)


def _values(asked: TrendAsked) -> Select[Any]:
    period = _period(asked.every)
    where = conditions(asked.choice)
    if asked.by == "stage" or asked.stage:
        grouped = STAGES.c.stage if asked.by == "stage" else _group(asked.by)
        joined = select(grouped.label("grouped"), period.label("period"), STAGES.c.spent_ms.label("value")).join_from(
            STAGES, DRILLS, STAGES.c.drill == DRILLS.c.id
        )
        only = [STAGES.c.stage == asked.stage] if asked.stage else []
        return joined.where(*where, *only)
    value = DRILLS.c.length_ms if asked.measure == TIME else DRILLS.c[asked.measure]
    return select(_group(asked.by).label("grouped"), period.label("period"), value.label("value")).where(
        *where, value.is_not(None)
    )


def _group(by: str) -> ColumnElement[str]:
    return func.substr("all drills", 1, 10) if by == "all" else DRILLS.c[by]


def _period(every: str) -> ColumnElement[str]:
    month = DRILLS.c.month
    if every == "month":
        return month
    year: ColumnElement[str] = func.substr(month, 1, 4)
    number = func.substr(month, 6, 2)
    quarters = [(number <= last, name) for last, name in (("03", "-Q1"), ("06", "-Q2"), ("09", "-Q3"))]
    known = year if every == "year" else year.concat(case(*quarters, else_="-Q4"))
    return case((month == UNKNOWN_MONTH, month), else_=known)
