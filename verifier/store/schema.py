"""The tables of the store, their version, and the columns that hold counts.

What each table and column means stands in the package's docstring. Tables of another version are
refused: nothing was released, so nothing brings an older store forward.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    Connection,
    Dialect,
    Double,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Numeric,
    String,
    Table,
    Text,
    UniqueConstraint,
    inspect,
    select,
)
from sqlalchemy.types import TypeDecorator, TypeEngine, UserDefinedType

from verifier.errors import InputError

VERSION = 1
"""The schema this tool writes and reads."""

_ID = BigInteger().with_variant(Integer, "sqlite")
"""SQLite numbers rows by itself only where the key is an INTEGER."""
_DIGITS = 40
"""A Counter64 has 20 (RFC 2578 section 7.1.10); the rest is for sums."""
_LARGEST_INTEGER = 2**63 - 1
"""SQLite's INTEGER (sqlite.org/datatype3.html); what is larger is stored as its digits."""

OPEN, RAW, HOURLY = "open", "raw", "hourly"
"""`sweep.kept`: not rolled up yet; rolled up, readings still there; only in the hourly figures."""


class _AsGiven(UserDefinedType[Any]):
    """A column of SQLite that converts nothing: numbers stay numbers, digits stay text."""

    cache_ok = True

    def get_col_spec(self, **_: Any) -> str:
        return "BLOB"


class CountColumn(TypeDecorator[int]):
    """A whole number from 0 to 10^40 - 1."""

    impl = Numeric
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """NUMERIC(40), and what converts nothing in SQLite."""
        kind: TypeEngine[Any] = _AsGiven() if dialect.name == "sqlite" else Numeric(_DIGITS, 0)
        return dialect.type_descriptor(kind)

    def process_bind_param(self, value: int | None, dialect: Dialect) -> Any:
        """For the database."""
        if value is None or (dialect.name == "sqlite" and value <= _LARGEST_INTEGER):
            return value
        return str(value) if dialect.name == "sqlite" else Decimal(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> int | None:
        """From the database."""
        del dialect
        return None if value is None else int(value)


metadata = MetaData()

meta = Table(
    "meta",
    metadata,
    Column("key", String(64), primary_key=True),
    Column("value", Text, nullable=False),
)

subject = Table(
    "subject",
    metadata,
    Column("id", _ID, primary_key=True),
    Column("kind", String(16), nullable=False),
    Column("name", Text, nullable=False),
    UniqueConstraint("kind", "name"),
)

sweep = Table(
    "sweep",
    metadata,
    Column("id", _ID, primary_key=True),
    Column("key", String(64), nullable=False, unique=True),
    Column("started_s", Double, nullable=False),
    Column("took_s", Float, nullable=False),
    Column("valid_s", Float, nullable=False),
    Column("skipped", Integer, nullable=False),
    Column("clock_step_s", Float),
    Column("plan_name", Text, nullable=False),
    Column("plan_revision", Text),
    Column("plan_sha256", String(64), nullable=False),
    Column("tool_version", String(32), nullable=False),
    Column("kept", String(8), nullable=False),
)
Index("sweep_kept", sweep.c.kept, sweep.c.id)

reading = Table(
    "reading",
    metadata,
    Column("sweep_id", _ID, primary_key=True),
    Column("subject_id", _ID, primary_key=True),
    Column("state", String(8), nullable=False),
    Column("answered", Integer),
    Column("rtt_ms", Float),
    Column("loss_pct", Float),
    Column("uptime_s", Double),
    Column("root_kind", String(16)),
    Column("root_name", Text),
    Column("reasons_id", _ID),
    sqlite_with_rowid=False,
)
Index("reading_subject", reading.c.subject_id, reading.c.sweep_id)

reasons = Table(
    "reasons",
    metadata,
    Column("id", _ID, primary_key=True),
    Column("digest", String(64), nullable=False, unique=True),
    Column("text", Text, nullable=False),
    Column("used_sweep_id", _ID, nullable=False),
)

level = Table(
    "level",
    metadata,
    Column("sweep_id", _ID, primary_key=True),
    Column("subject_id", _ID, primary_key=True),
    Column("carrier", Integer, primary_key=True),
    Column("end", String(1), primary_key=True),
    Column("rx_level_dbm", Float, nullable=False),
    sqlite_with_rowid=False,
)
Index("level_subject", level.c.subject_id, level.c.sweep_id)

port = Table(
    "port",
    metadata,
    Column("subject_id", _ID, primary_key=True),
    Column("port", Text, primary_key=True),
    Column("in_errors", CountColumn, nullable=False),
    Column("out_errors", CountColumn, nullable=False),
    Column("uptime_s", Double),
)

port_errors = Table(
    "port_errors",
    metadata,
    Column("sweep_id", _ID, primary_key=True),
    Column("subject_id", _ID, primary_key=True),
    Column("port", Text, primary_key=True),
    Column("in_added", CountColumn, nullable=False),
    Column("out_added", CountColumn, nullable=False),
    sqlite_with_rowid=False,
)
Index("port_errors_subject", port_errors.c.subject_id, port_errors.c.sweep_id)

hour = Table(
    "hour",
    metadata,
    Column("hour_s", BigInteger, primary_key=True),
    Column("subject_id", _ID, primary_key=True),
    Column("sweeps", Integer, nullable=False),
    Column("sound_s", Float, nullable=False),
    Column("impaired_s", Float, nullable=False),
    Column("silent_s", Float, nullable=False),
    Column("untested_s", Float, nullable=False),
    Column("answered_s", Float, nullable=False),
    Column("unanswered_s", Float, nullable=False),
    Column("rtt_median_ms", Float),
    Column("rtt_max_ms", Float),
    Column("loss_mean_pct", Float),
    sqlite_with_rowid=False,
)
Index("hour_subject", hour.c.subject_id, hour.c.hour_s)

hour_level = Table(
    "hour_level",
    metadata,
    Column("hour_s", BigInteger, primary_key=True),
    Column("subject_id", _ID, primary_key=True),
    Column("carrier", Integer, primary_key=True),
    Column("end", String(1), primary_key=True),
    Column("samples", Integer, nullable=False),
    Column("min_dbm", Float, nullable=False),
    Column("median_dbm", Float, nullable=False),
    Column("max_dbm", Float, nullable=False),
    sqlite_with_rowid=False,
)
Index("hour_level_subject", hour_level.c.subject_id, hour_level.c.hour_s)

hour_port = Table(
    "hour_port",
    metadata,
    Column("hour_s", BigInteger, primary_key=True),
    Column("subject_id", _ID, primary_key=True),
    Column("port", Text, primary_key=True),
    Column("in_added", CountColumn, nullable=False),
    Column("out_added", CountColumn, nullable=False),
    sqlite_with_rowid=False,
)
Index("hour_port_subject", hour_port.c.subject_id, hour_port.c.hour_s)

memory = Table(
    "memory",
    metadata,
    Column("subject_id", _ID, ForeignKey("subject.id"), primary_key=True),
    Column("state", String(8), nullable=False),
    Column("since_s", Double, nullable=False),
    Column("notified", String(8), nullable=False),
    Column("root_kind", String(16), nullable=False),
    Column("root_name", Text, nullable=False),
    Column("pending", String(8)),
    Column("pending_n", Integer, nullable=False),
    Column("pending_since_s", Double),
    Column("recent", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("try_first", Text, nullable=False),
)

change = Table(
    "change",
    metadata,
    Column("id", _ID, primary_key=True),
    Column("sweep_id", _ID, nullable=False),
    Column("subject_id", _ID, ForeignKey("subject.id"), nullable=False),
    Column("before", String(8)),
    Column("after", String(8), nullable=False),
    Column("at_s", Double, nullable=False),
    Column("confirmed_s", Double, nullable=False),
    Column("root_kind", String(16), nullable=False),
    Column("root_name", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("held", Text),
)
Index("change_subject", change.c.subject_id, change.c.id)

message = Table(
    "message",
    metadata,
    Column("id", _ID, primary_key=True),
    Column("notice_id", String(96), nullable=False, unique=True),
    Column("created_s", Double, nullable=False),
    Column("body", Text, nullable=False),
)

delivery = Table(
    "delivery",
    metadata,
    Column("message_id", _ID, ForeignKey("message.id"), primary_key=True),
    Column("name", String(16), primary_key=True),
    Column("attempts", Integer, nullable=False),
    Column("next_s", Double, nullable=False),
    Column("delivered_s", Double),
    Column("fault", Text),
)
Index("delivery_waiting", delivery.c.name, delivery.c.delivered_s, delivery.c.message_id)


# --- version -----------------------------------------------------------------------------------


def prepare(connection: Connection, name: str) -> None:
    """Creates the tables of `VERSION` where there are none.

    Raises InputError where they are of another version, and where they are not a store's.
    """
    version = version_of(connection, name)
    if version is None:
        metadata.create_all(connection)
        connection.execute(meta.insert().values(key="schema", value=str(VERSION)))
        return
    if version != VERSION:
        raise InputError(
            f"the store {name} was written by another plan-verifier (its schema is {version}, this "
            f"one knows {VERSION}): use that one, or another store"
        )


def version_of(connection: Connection, name: str) -> int | None:
    """The version of the tables; None where there are none. Raises InputError for no store."""
    tables = set(inspect(connection).get_table_names())
    if not tables:
        return None
    if "meta" in tables:
        value = connection.scalar(select(meta.c.value).where(meta.c.key == "schema"))
        if value is not None and value.isdecimal():
            return int(value)
    if tables & set(metadata.tables):
        raise InputError(f"{name} holds tables of a store, but does not say of which version")
    return None
