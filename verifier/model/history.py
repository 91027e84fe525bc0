"""What the store knows of a period: devices, outages, level deviations, ports.

Below it what that is made of.

Times end in `_s`: seconds since 1970-01-01 UTC. In the document times are RFC 3339, and `after_s`
is seconds after its `start`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from verifier.model.health import State, StateChange
from verifier.model.plan import EndName
from verifier.model.problem import Subject

LevelKey = tuple[int, EndName]
"""Carrier and end of a link."""


@dataclass(frozen=True, slots=True)
class Spell:
    """For how long a device answered, did not, or (None) could not be tested."""

    at_s: float
    for_s: float
    answered: bool | None


@dataclass(frozen=True, slots=True)
class Sample:
    """A figure of one sweep, or lowest, median and highest of an hour of `n` sweeps."""

    at_s: float
    low: float
    middle: float
    high: float
    n: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SubjectPast:
    """What the store holds of one device and period.

    Attributes:
        first_s: when it was first seen at all; None: never.
        time_s: time in each state as seen.
        answered_s, unanswered_s: the rest of the period is not tested.
        raw_s: from here on `spells` tell of each sweep; before, only `changes` are kept.
        spells: empty where every sweep since `raw_s` had its answer or no test.
        rtt: by sweep or hour.
        levels: by sweep or hour.
        level_hours: by hour, for what only whole hours show.
        errors: added in and out, by port.
        changes: all there ever were, oldest first.
    """

    subject: Subject
    first_s: float | None
    time_s: Mapping[str, float]
    answered_s: float
    unanswered_s: float
    raw_s: float
    spells: tuple[Spell, ...] = ()
    rtt: tuple[Sample, ...] = ()
    levels: Mapping[LevelKey, tuple[Sample, ...]]
    level_hours: Mapping[LevelKey, tuple[Sample, ...]]
    errors: Mapping[str, tuple[int, int]]
    changes: tuple[StateChange, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """A period as the store has it; `resolution` is that of round trips and levels over time."""

    start_s: float
    end_s: float
    sweeps: int
    skipped: int
    resolution: Literal["sweep", "hour"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """Levels of the handover, by link, carrier and end, and when they were measured.

    Attributes:
        remarks: what makes it less than a handover of this plan that was finished and passed.
    """

    started: str
    plan: str
    levels_dbm: Mapping[tuple[str, int, EndName], float]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Availability:
    """Time-weighted: `available_pct` is the answered part of the tested time; None: none tested."""

    available_pct: float | None
    answered_s: float
    unanswered_s: float
    untested_s: float


@dataclass(frozen=True, slots=True)
class RecordPoint:
    """Lowest, median and highest of a part of the period."""

    after_s: float
    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelRecord:
    """What an end received; `planned_dbm` as the plan says."""

    carrier: int
    end: EndName
    planned_dbm: float | None
    median_dbm: float
    min_dbm: float
    max_dbm: float
    points: tuple[RecordPoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outage:
    """No answer.

    Attributes:
        end: when the first answer came again; None: not yet.
        length_s: the time that is known to be without an answer.
        untested_s: time between start and end of which nothing is known.
        by: each sweep, or (longer ago than those are kept) the changes that counted.
    """

    subject: Subject
    start: str
    end: str | None
    length_s: float
    untested_s: float
    by: Literal["sweeps", "changes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SubjectRecord:
    """A device, a link, or (kind `network`) all devices together.

    Attributes:
        state: as confirmed now; None for the network, and where the device is not known.
        state_s: time in each state as seen.
        rtt_median_ms, rtt_p95_ms: of what the sweeps (or hours) had as their median.
    """

    subject: Subject
    state: State | None
    since: str | None
    availability: Availability
    state_s: dict[State, float]
    changes: int
    outages: int
    longest_outage_s: float
    rtt_median_ms: float | None = None
    rtt_p95_ms: float | None = None
    rtt_max_ms: float | None = None
    rtt: tuple[RecordPoint, ...] = ()
    levels: tuple[LevelRecord, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordChange:
    """A change that counted; `held`: the maintenance window in which it was not told."""

    subject: Subject
    at: str
    before: State
    after: State
    root: Subject
    reason: str
    held: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelDeviation:
    """How far the dry-hour median of an end's level is from what it was at handover.

    Attributes:
        dry_hours: hours in which the level stood still; the newest 24 of the period at most.
        now_dbm: median of their medians; None with too few of them, then `reason` says so.
        beyond: whether it is further off than `limit_db`.
    """

    link: str
    carrier: int
    end: EndName
    then_dbm: float | None
    now_dbm: float | None
    deviation_db: float | None
    limit_db: float
    dry_hours: int
    beyond: bool | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PortRecord:
    """Errors that a port counted in the period."""

    device: str
    port: str
    in_errors: int
    out_errors: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryDocument:
    """The whole document.

    Attributes:
        handover: when it began.
        handover_remarks: what is to be known of it, in words.
        devices: the network first, then devices and links as planned.
    """

    network: str
    revision: str | None
    plan_sha256: str
    start: str
    end: str
    sweeps: int
    skipped: int
    resolution: Literal["sweep", "hour"]
    handover: str | None
    handover_remarks: tuple[str, ...] = ()
    subjects: tuple[SubjectRecord, ...]
    outages: tuple[Outage, ...]
    changes: tuple[RecordChange, ...]
    level_deviations: tuple[LevelDeviation, ...]
    ports: tuple[PortRecord, ...]
