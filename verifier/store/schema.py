"""The tables of the store. Docstrings and devices: see the package's docstring."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    Double,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from verifier.store.counts import Count

VERSION = 1
"""The schema this tool writes and reads."""

_ID = BigInteger().with_variant(Integer, "sqlite")
"""SQLite numbers rows by itself only where the key is an INTEGER."""

OPEN, RAW, HOURLY = "open", "raw", "hourly"
"""`sweep.kept`: not rolled up yet; rolled up, readings still there; only in the hourly figures."""

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
    Column("in_errors", Count, nullable=False),
    Column("out_errors", Count, nullable=False),
    Column("uptime_s", Double),
)

port_errors = Table(
    "port_errors",
    metadata,
    Column("sweep_id", _ID, primary_key=True),
    Column("subject_id", _ID, primary_key=True),
    Column("port", Text, primary_key=True),
    Column("in_added", Count, nullable=False),
    Column("out_added", Count, nullable=False),
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
    Column("in_added", Count, nullable=False),
    Column("out_added", Count, nullable=False),
    sqlite_with_rowid=False,
)
Index("hour_port_subject", hour_port.c.subject_id, hour_port.c.hour_s)

memory = Table(
    "memory",
    metadata,
    Column("subject_id", _ID, ForeignKey("subject.id"), primary_key=True),
    Column("state", String(8), nullable=False),
    Column("since_s", Double, nullable=False),
    Column("told", String(8), nullable=False),
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
    Column("teller", String(16), primary_key=True),
    Column("attempts", Integer, nullable=False),
    Column("next_s", Double, nullable=False),
    Column("told_s", Double),
    Column("fault", Text),
)
Index("delivery_waiting", delivery.c.teller, delivery.c.told_s, delivery.c.message_id)
