"""Tables of the archive, the same on SQLite and PostgreSQL: whole numbers and text only, so that answers are the same.

Times of a drill are milliseconds since its start; the day it began is whole seconds since 1970 UTC.
"""

from sqlalchemy import BigInteger, Boolean, Column, ForeignKey, Index, Integer, MetaData, String, Table, Text

VERSION = "1"
UNKNOWN_MONTH = "unknown"
"""Month of a record that does not say when it began."""
METADATA = MetaData()
KEY = BigInteger().with_variant(Integer, "sqlite")
"""SQLite numbers rows by itself only in a column of its plain integer type."""

SETTINGS = Table(
    "settings", METADATA,
    Column("name", String(40), primary_key=True),
    Column("value", String(200), nullable=False),
)  # fmt: skip

DRILLS = Table(
    "drills", METADATA,
    Column("id", KEY, primary_key=True),
    Column("digest", String(64), nullable=False, unique=True),
    Column("header_digest", String(64), nullable=False, index=True),
    Column("file", Text, nullable=False),
    Column("kind", String(20), nullable=False),
    Column("scenario", Text, nullable=False),
    Column("title", Text, nullable=False),
    Column("department", Text, nullable=False),
    Column("crew", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("opened_s", BigInteger),
    Column("month", String(7), nullable=False),
    Column("length_ms", BigInteger, nullable=False),
    Column("closed", Boolean, nullable=False),
    Column("whole", Boolean, nullable=False),
    Column("records", Integer, nullable=False),
    Column("events", Integer, nullable=False),
    Column("procedure", Text, nullable=False),
    Column("procedure_digest", String(64), nullable=False),
    Column("program", Text, nullable=False),
    Column("steps", Integer, nullable=False),
    Column("refused", Integer, nullable=False),
    Column("overrides", Integer, nullable=False),
    Column("emergencies", Integer, nullable=False),
    Column("readings", Integer, nullable=False),
    Column("bad_readings", Integer, nullable=False),
    Column("canisters", Integer, nullable=False),
    Column("order_faults", Integer),
    Column("missed_calls", Integer),
    Column("late_answers", Integer),
    Column("misheard", Integer),
    Column("oldest_air_ms", BigInteger),
    Column("grade", Text, nullable=False),
)  # fmt: skip
"""One row a record. Columns that may be null could not be counted: see `loading.MOST_SCORED`."""

STAGES = Table(
    "stages", METADATA,
    Column("drill", KEY, ForeignKey("drills.id", ondelete="CASCADE"), primary_key=True),
    Column("stage", String(60), primary_key=True),
    Column("title", Text, nullable=False),
    Column("month", String(7), nullable=False),
    Column("spent_ms", BigInteger, nullable=False),
    Column("target_ms", BigInteger),
    Index("stages_in_order", "stage", "month", "spent_ms"),
)  # fmt: skip
"""The drill's month stands here too, so that the commonest trend reads one index in its own order."""

EVENTS = Table(
    "events", METADATA,
    Column("drill", KEY, ForeignKey("drills.id", ondelete="CASCADE"), primary_key=True),
    Column("n", Integer, primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("at_ms", BigInteger, nullable=False),
    Column("kind", String(40), nullable=False),
    Column("body", Text, nullable=False),
)  # fmt: skip
"""Every event as JSON, in the order of the record."""
