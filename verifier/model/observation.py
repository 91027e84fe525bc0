"""What was seen, raw and decoded. A finding rests on observations and on nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from verifier.model.subject import Subject

Probe = Literal["laptop", "icmp", "tcp", "snmp", "neighbour", "person"]

ACCEPTED = "accept-untested"
"""`what` of the checks that a person allowed to stay untested."""
OBSERVED = "observed"
"""`what` of the sheet that a person filled in: its file, hash, number of rows that are filled in,
and device and check of each that is not."""
JOURNAL = "journal"
"""`what` of the journal of a soak: file, number of lines, SHA-256 of the first and the last one."""
NO_ROWS = "no rows"
"""`raw` of the columns of a table that was read and is empty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One thing seen.

    Attributes:
        what: name of the MIB object, or of what was done (`echo`, `tcp/443`, `route`).
        oid: full object identifier, with the instance, where SNMP was asked.
        raw: what came, as text, before it was decoded; or why nothing came.
        value: decoded value as JSON; None where there is none.
        at: UTC time, RFC 3339.
        took_ms: time from question to answer.
    """

    id: int
    subject: Subject
    probe: Probe
    what: str
    at: str
    oid: str | None = None
    raw: str | None = None
    value: Any = None
    unit: str | None = None
    took_ms: float | None = None
