"""What the status page of a sweep shows: values only, put together in `rules/status/__init__.py`.

Times end in `_s`: seconds since 1970-01-01 UTC.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from verifier.model.health import Reason, State, StateChange
from verifier.model.history import LevelKey, Sample
from verifier.model.plan import EndName
from verifier.model.problem import Subject

CHANGES_S = 86_400.0
"""How far back changes and levels are shown: a day, the shifts before this one."""
MOST_CHANGES = 40
"""Number of earlier changes that are shown; the rest is counted and stands in the record."""


@dataclass(frozen=True, slots=True)
class Recent:
    """What the store has of the last day.

    Attributes:
        changes: the newest that counted, newest first, with those of the newest sweep.
        changes_n: how many there are of them in all.
        at_least: whether there may be more than `changes_n`, older ones not having been counted.
        levels: the receive levels of each link, oldest first, by its name.
    """

    changes: tuple[StateChange, ...] = ()
    changes_n: int = 0
    at_least: bool = False
    levels: Mapping[str, Mapping[LevelKey, tuple[Sample, ...]]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class MapPoint:
    """A place of the drawing, from 0 to 1 across it and from 0 to 1 down."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each place is drawn.

    Attributes:
        points: one for each place, in their order; no two are the same.
        height: of the drawing, its width being 1.
        by: what the points follow: coordinates, layers of hops, or `both` where some have none.
    """

    points: tuple[MapPoint, ...]
    height: float
    by: Literal["coordinates", "layers", "both"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SubjectStatus:
    """A device or link.

    Attributes:
        state: as confirmed; None for a subject that no state is kept of (a gateway, a site).
        since_s: when it was first seen so.
        pending: another state that was seen and does not count yet.
        pending_n: in how many sweeps.
        needed_n: in how many more it must be seen.
        reasons: why, worst first; `try_first`: what to do about it.
        rtt_ms, loss_pct: of the newest sweep.
        held: the maintenance window that holds telling of it.
    """

    subject: Subject
    state: State | None
    since_s: float | None = None
    pending: State | None = None
    pending_n: int = 0
    needed_n: int = 0
    reasons: tuple[Reason, ...] = ()
    try_first: str = ""
    rtt_ms: float | None = None
    loss_pct: float | None = None
    held: str | None = None


@dataclass(frozen=True, slots=True)
class Changed:
    """Changes of one sweep that hang on one root: the root's own first, if it changed."""

    head: StateChange
    rest: tuple[StateChange, ...] = ()


@dataclass(frozen=True, slots=True)
class OpenFault:
    """A root of what is not sound; `rest` hangs on it, worst first."""

    head: SubjectStatus
    rest: tuple[SubjectStatus, ...] = ()


@dataclass(frozen=True, slots=True)
class Alike:
    """Devices that are untested for one and the same reason, each for itself."""

    reason: str
    subjects: tuple[SubjectStatus, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowNow:
    """A maintenance window that is on; no `sites`: everywhere. `holds`: what is not told in it."""

    name: str
    start_s: float
    to_s: float
    sites: tuple[str, ...]
    holds: tuple[SubjectStatus, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelLine:
    """What one end of a carrier receives: now, as planned, and over the last day."""

    carrier: int
    end: EndName
    device: str
    now_dbm: float | None
    planned_dbm: float | None
    samples: tuple[Sample, ...]


@dataclass(frozen=True, slots=True)
class LinkStatus:
    """A link; `far` is the place of its other end."""

    subject: SubjectStatus
    far: Subject
    levels: tuple[LevelLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MapNode:
    """A site, a device that stands at none, or (kind `network`) all devices without a site.

    Attributes:
        state: the worst of its devices'; None where none was swept.
        links: those whose end `a` is here; `elsewhere`: number of the place and name of the others.
    """

    subject: Subject
    state: State | None
    devices: tuple[SubjectStatus, ...]
    links: tuple[LinkStatus, ...] = ()
    elsewhere: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class MapLine:
    """A link of the drawing between two places, by their numbers."""

    name: str
    a: int
    b: int
    state: State


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """The whole page.

    Attributes:
        every_s: interval of the series; None for a single sweep.
        stale_s: from this age on the page is too old to be believed.
        confirm: in how many sweeps a change must be seen to count.
        counts: of each state: devices, links.
        pending_n: devices of which another state was seen that does not count yet.
        changed: what began to count with this sweep; `new_n`: devices seen for the first time.
        earlier: changes of the day before, newest first; `earlier_more`: how many are not shown.
        open_faults: roots, worst first; `alike`: untested ones by reason.
        map_nodes: everything, in the order of the plan; `layout` and `lines` go by their numbers.
    """

    network: str
    revision: str | None
    number: int
    started_s: float
    took_s: float
    skipped: int
    every_s: float | None
    stale_s: float
    confirm: int
    tool_version: str
    counts: Mapping[State, tuple[int, int]]
    pending_n: int
    changed: tuple[Changed, ...]
    new_n: int
    earlier: tuple[Changed, ...]
    earlier_more: int
    earlier_at_least: bool
    open_faults: tuple[OpenFault, ...]
    alike: tuple[Alike, ...]
    windows: tuple[WindowNow, ...]
    map_nodes: tuple[MapNode, ...]
    lines: tuple[MapLine, ...]
    layout: Layout
