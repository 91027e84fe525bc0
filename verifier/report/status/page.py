"""The status page of the operations desk: one self-contained file, drawn anew by each sweep.

The page loads itself anew by a meta element and not by its script: a wall screen must go on where
scripts are forbidden. The script only says the age, keeps what was unfolded, and stops the loading
while somebody reads.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any, Final

from verifier.model.health import STATES
from verifier.model.status import MapNode, OpenFault, Status, SubjectStatus
from verifier.report.html import draw
from verifier.report.status.drawing import (
    LEVEL_HEIGHT,
    LEVEL_WIDTH,
    by_state,
    drawing,
    level_row,
    name_of,
)
from verifier.rules.soak.tally import words
from verifier.rules.status.open_faults import weight

REFRESH_S: Final = (5, 60)
"""A screen looks again after a fifth of the interval, within these bounds."""
_INTERVAL_PARTS: Final = 5
SHOWN: Final = 24
"""Roots and changes that stand open; further ones are folded, none is left out."""
_FEW: Final = 5
"""Number of roots shown large with every detail; more have one line each."""
_EARLIER_OPEN: Final = 8
_NAMED: Final = 400
"""Devices named under one root or reason; the table below has every one."""
_NAMED_IN_WORDS: Final = 10
"""Places that are named to who cannot see the drawing."""
_FEW_NODES: Final = 14
"""Number of places shown open; of more, those where something is not sound."""
_LONGEST: Final = 400
"""Characters of one text."""
_DAY_S: Final = 86_400.0

Row = dict[str, Any]


def page(status: Status) -> str:
    """The page. It fetches nothing and says everything without its script too."""
    clock = _Clock(status.started_s)
    return draw(
        "status.html",
        "status.css",
        "status.js",
        longest=_LONGEST,
        status=status,
        clock=clock,
        words=words,
        states=STATES,
        total=[sum(both[kind] for both in status.counts.values()) for kind in (0, 1)],
        refresh_s=refresh_s(status.every_s),
        changed=_split(status.changed, SHOWN),
        earlier=_split(status.earlier, _EARLIER_OPEN),
        many_changed=len(status.changed) > _FEW,
        many_open_faults=len(status.open_faults) > _FEW,
        open_faults=_split([_open_fault(t) for t in status.open_faults], SHOWN),
        drawing=drawing(status),
        drawn={*(p.state for p in status.map_nodes), *(line.state for line in status.lines)},
        unwell=_unwell(status),
        map_nodes=_map_nodes(status),
        spark=(LEVEL_WIDTH, LEVEL_HEIGHT),
        named=_NAMED,
        by_state=by_state,
        again=_again,
    )


def refresh_s(every_s: float | None) -> int | None:
    """After how many seconds the page looks for a newer one; None for a single sweep."""
    if every_s is None:
        return None
    return round(min(REFRESH_S[1], max(REFRESH_S[0], every_s / _INTERVAL_PARTS)))


class _Clock:
    """Times in UTC as short as they can be beside the time of the sweep."""

    def __init__(self, now_s: float) -> None:
        self._now_s = now_s
        self._now = _at(now_s)

    def full(self, at_s: float) -> str:
        """`2026-11-24 10:05:00`."""
        return _at(at_s).strftime("%Y-%m-%d %H:%M:%S")

    def iso(self, at_s: float) -> str:
        """RFC 3339, for programs."""
        return _at(at_s).strftime("%Y-%m-%dT%H:%M:%SZ")

    def short(self, at_s: float) -> str:
        """`10:05` of the same day, `23 Nov 10:05` of the same year, else with the year."""
        at = _at(at_s)
        if at.date() == self._now.date():
            return f"{at:%H:%M}"
        month = _MONTHS[at.month - 1]
        year = "" if at.year == self._now.year else f" {at.year}"
        return f"{at.day} {month}{year} {at:%H:%M}"

    def ago(self, at_s: float) -> str:
        """For how long it has been so at the time of the sweep."""
        span_s = max(0.0, self._now_s - at_s)
        if span_s < _DAY_S:
            return words(round(span_s)) if span_s < 60 else words(60 * (span_s // 60))  # noqa: PLR2004
        days = int(span_s // _DAY_S)
        return f"{days} day{'s' * (days > 1)}"


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _at(at_s: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(at_s, dt.UTC)


def _split(shown: Sequence[Any], most: int) -> tuple[Sequence[Any], Sequence[Any]]:
    return shown[:most], shown[most:]


def _again(subject: SubjectStatus) -> str:
    """What a state that was seen still needs to count."""
    seen = {1: "once", 2: "twice"}.get(subject.pending_n, f"{subject.pending_n} times")
    more = "again" if subject.needed_n == 1 else f"{subject.needed_n} times more"
    return f"seen {subject.pending} {seen}, counts when seen {more}"


def _unwell(status: Status) -> str:
    """Places that are not sound, the first of them by name."""
    nodes = [p for p in status.map_nodes if p.state not in {None, "sound"}]
    names = "; ".join(f"{name_of(p)} {p.state}" for p in nodes[:_NAMED_IN_WORDS])
    more = len(nodes) - _NAMED_IN_WORDS
    return f"{names}; and {more} more" if more > 0 else names


def _map_nodes(status: Status) -> list[Row]:
    """In the order of the plan; where they are many, those that stand open come first."""
    rows = [_map_node(n, status, node) for n, node in enumerate(status.map_nodes)]
    return sorted(rows, key=lambda row: not row["open"])


def _map_node(number: int, status: Status, node: MapNode) -> Row:
    """A site of the table; open where it is one of few, or not all there is sound."""
    subjects = [*node.devices, *(link.subject for link in node.links)]
    sound = all(u.state == "sound" and u.pending is None for u in subjects)
    return {
        "number": number,
        "name": name_of(node),
        "state": min((u.state for u in subjects), key=weight, default=None),
        "subjects": by_state(u.state for u in node.devices),
        "hops": by_state(link.subject.state for link in node.links),
        "devices": node.devices,
        "links": [
            {
                "subject": link.subject,
                "far": link.far.name,
                "levels": [level_row(v, status.started_s, status.every_s) for v in link.levels],
            }
            for link in node.links
        ],
        "elsewhere": [(n, name_of(status.map_nodes[n]), link) for n, link in node.elsewhere],
        "open": len(status.map_nodes) <= _FEW_NODES or not sound,
    }


def _open_fault(open_fault: OpenFault) -> Row:
    """A root, marked by the worst that it and what hangs on it are, else by what was just seen."""
    subjects = (open_fault.head, *open_fault.rest)
    counts = [u.state for u in subjects if u.state not in {None, "sound"}]
    tone = min(counts or [u.pending for u in subjects if u.pending], key=weight)
    return {"head": open_fault.head, "rest": open_fault.rest, "tone": tone, "counts": bool(counts)}
