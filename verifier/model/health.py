"""What health sweeps say of devices, and what is remembered between them.

A subject is a device or a link of the plan. Times end in `_s` and are seconds
since 1970-01-01 UTC by the wall clock; spans come from the monotonic clock.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from verifier.errors import EXIT_FAILED, EXIT_PASSED, EXIT_UNTESTED
from verifier.model.problem import Subject
from verifier.model.result import Verdict

State = Literal["sound", "impaired", "silent", "untested", "unsteady"]
STATES: tuple[State, ...] = ("silent", "impaired", "unsteady", "untested", "sound")
"""By weight: what is wrong first."""


@dataclass(frozen=True, slots=True)
class Reason:
    """A finding that made a device other than sound."""

    check: str
    verdict: Verdict
    text: str


@dataclass(frozen=True, slots=True)
class ReceivedLevel:
    """What one end of one carrier receives."""

    carrier: int
    end: Literal["a", "b"]
    rx_level_dbm: float


@dataclass(frozen=True, slots=True)
class PortErrors:
    """The error counters of a port as read (ifInErrors, ifOutErrors of RFC 2863: 32 bits)."""

    port: str
    in_errors: int
    out_errors: int


@dataclass(frozen=True, slots=True)
class Counters:
    """A port's error counters as read last, and the device's uptime then."""

    in_errors: int
    out_errors: int
    uptime_s: float | None


@dataclass(frozen=True, slots=True)
class NewPortErrors:
    """Errors that a port counted since the sweep before."""

    subject: Subject
    port: str
    in_added: int
    out_added: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthReading:
    """What one sweep saw of one device.

    Attributes:
        state: as seen in this sweep alone; never `unsteady`.
        answered: whether it gave any sign of life; None where that could not be tested.
        reasons: what failed or was not tested, worst first.
        root: the subject that its state hangs on; the device itself where nothing else explains it.
        rtt_ms: median of the counted echoes.
        loss_pct: lost part of the counted echoes.
        uptime_s: sysUpTime: time since the device's agent started.
        levels: of a link.
        ports: of a device.
        try_first: what to do about it.
        unexplained: what makes a link impaired once it has lasted (`follow.LASTING_S`).
    """

    subject: Subject
    state: State
    root: Subject
    answered: bool | None = None
    reasons: tuple[Reason, ...] = ()
    rtt_ms: float | None = None
    loss_pct: float | None = None
    uptime_s: float | None = None
    levels: tuple[ReceivedLevel, ...] = ()
    ports: tuple[PortErrors, ...] = ()
    try_first: str = ""
    unexplained: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Memory:
    """What is remembered of one device.

    Attributes:
        state: as confirmed.
        since_s: when a sweep first saw it so.
        notified: the state of the newest message; another state is still to be told.
        root: what the state hangs on.
        pending: another state that was seen, not often enough yet to count.
        pending_n: in how many sweeps, one after the other.
        recent: states as seen in the last sweeps, the newest last.
        reason: why the state is what it is, in words.
    """

    subject: Subject
    state: State
    since_s: float
    notified: State
    root: Subject
    pending: State | None = None
    pending_n: int = 0
    pending_since_s: float | None = None
    recent: tuple[State, ...] = ()
    reason: str = ""
    try_first: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StateChange:
    """A change of state that counts.

    Attributes:
        before: None where the device is new to the store and sound or not tested.
        at_s: start of the sweep that saw the new state first.
        confirmed_s: start of the sweep that made it count.
        root: what it hangs on.
        held: the maintenance window in which it was confirmed, so that it was not told.
    """

    subject: Subject
    before: State | None
    after: State
    at_s: float
    confirmed_s: float
    root: Subject
    reason: str = ""
    held: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NoticeChange:
    """One change as it is told; `since` is RFC 3339, `held` the maintenance window it fell in."""

    subject: Subject
    before: State | None
    after: State
    since: str
    reason: str
    try_first: str
    held: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One message: a root, and all changes of one sweep that hang on it.

    Attributes:
        id: never used twice; who gets it twice may drop the second.
        network: name of the plan's network.
        at: start of the sweep that made the changes count.
        root: what the changes hang on; its own change, if any, is the first.
        text: the whole in one line of words.
    """

    id: str
    network: str
    at: str
    root: Subject
    changes: tuple[NoticeChange, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """One sweep and what it saw.

    Attributes:
        key: unique; a sweep that is saved again under its key is stored once.
        took_s: by the monotonic clock.
        valid_s: for how long at most it speaks, if no other follows sooner.
        skipped: sweeps before it that were due and left out, being late.
        clock_step_s: by how much the wall clock was put on (or back: negative) since the sweep
            before, beside the monotonic clock; None where that is not known.
    """

    key: str
    started_s: float
    took_s: float
    valid_s: float
    readings: tuple[HealthReading, ...]
    added: tuple[NewPortErrors, ...] = ()
    skipped: int = 0
    plan_name: str = ""
    plan_revision: str | None = None
    plan_sha256: str = ""
    tool_version: str = ""
    clock_step_s: float | None = None


@dataclass(frozen=True, slots=True)
class SweepReport:
    """A sweep that is stored, under its number; `memories` are of its devices.

    Attributes:
        confirm: sweeps in which a new state must be seen before it is recorded.
    """

    number: int
    sweep: Sweep
    memories: Mapping[Subject, Memory]
    changes: tuple[StateChange, ...]
    notices: tuple[Notice, ...]
    confirm: int = 2

    def exit_code(self) -> int:
        """1 where a device was seen impaired or silent, 3 where one was not tested, else 0."""
        states = {r.state for r in self.sweep.readings}
        if states & {"impaired", "silent"}:
            return EXIT_FAILED
        return EXIT_UNTESTED if "untested" in states else EXIT_PASSED


@dataclass(frozen=True, slots=True, kw_only=True)
class SubjectNow:
    """A device as the document of a sweep shows it.

    Attributes:
        state: as confirmed; `seen`: in this sweep alone.
        since: when `state` was first seen.
    """

    subject: Subject
    state: State
    seen: State
    since: str
    root: Subject
    answered: bool | None
    reasons: tuple[Reason, ...]
    rtt_ms: float | None
    loss_pct: float | None
    uptime_s: float | None
    levels: tuple[ReceivedLevel, ...]
    ports: tuple[PortErrors, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepDocument:
    """The JSON document of a sweep; `summary` counts devices by the state seen."""

    network: str
    revision: str | None
    plan_sha256: str
    number: int
    started: str
    took_s: float
    skipped: int
    summary: dict[State, int]
    subjects: tuple[SubjectNow, ...]
    changes: tuple[Notice, ...]
