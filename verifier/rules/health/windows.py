"""The plan's maintenance windows: which of them a device is in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from verifier.model.health import Memory
from verifier.model.plan import Maintenance, Plan
from verifier.model.subject import Subject


class Windows:
    """The plan's maintenance windows, by device."""

    def __init__(self, plan: Plan) -> None:
        self._windows = [
            (w, seconds(w.start), seconds(w.to), frozenset(w.sites)) for w in plan.maintenance
        ]
        site = {d.name: d.site for d in plan.devices}
        self._sites: Mapping[Subject, frozenset[str | None]] = {
            **{Subject("device", name): frozenset([where]) for name, where in site.items()},
            **{
                Subject("link", link.name): frozenset(
                    site.get(name) for end in link.devices() for name in end
                )
                for link in plan.links
            },
        }

    def at(self, memory: Memory, at_s: float) -> str | None:
        """The window that a device, or what its state hangs on, is in at this time."""
        for window, start_s, to_s, sites in self._windows:
            if start_s <= at_s < to_s and (
                not sites or any(sites & self._of(s) for s in (memory.subject, memory.root))
            ):
                return window.name
        return None

    def on(self, at_s: float) -> tuple[Maintenance, ...]:
        """Those that are on at this time."""
        return tuple(w for w, start_s, to_s, _ in self._windows if start_s <= at_s < to_s)

    def _of(self, subject: Subject) -> frozenset[str | None]:
        if subject.kind == "site":
            return frozenset([subject.name])
        return self._sites.get(subject, frozenset())


def seconds(at: dt.datetime) -> float:
    """A time of the plan as seconds since 1970-01-01 UTC; without a zone it is UTC."""
    return (at if at.tzinfo else at.replace(tzinfo=dt.UTC)).timestamp()
