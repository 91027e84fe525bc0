"""What is to be told: one message a root and sweep, and none from a maintenance window."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from verifier.model.health import Memory, Notice, NoticeChange, StateChange
from verifier.model.plan import Maintenance, Plan
from verifier.model.problem import Subject
from verifier.rules.decode import rfc3339


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


_NAMED = 5
"""Devices named in the line of words; the rest is counted, and stands in the message."""


@dataclass(frozen=True, slots=True)
class NoticeRound:
    """Changes with the window that held them, memories with the state notified, the messages."""

    memories: tuple[Memory, ...]
    changes: tuple[StateChange, ...]
    notices: tuple[Notice, ...]


def notify(
    plan: Plan, memories: Iterable[Memory], changes: Iterable[StateChange], at_s: float, key: str
) -> NoticeRound:
    """Makes messages of whatever stands otherwise than it was told last.

    Within a maintenance window of a device, or of what its state hangs on, nothing is told; what
    still stands otherwise when the window is over is told then.

    Args:
        plan: its sites and maintenance windows.
        memories: of the devices of this sweep.
        changes: those that count from this sweep on.
        at_s: when the sweep started.
        key: of the sweep; the messages' ids begin with it.
    """
    windows = Windows(plan)
    groups: dict[Subject, list[Memory]] = {}
    after: list[Memory] = []
    held: dict[Subject, str] = {}
    for memory in memories:
        if memory.state == memory.notified:
            after.append(memory)
        elif (name := windows.at(memory, at_s)) is not None:
            held[memory.subject] = name
            after.append(memory)
        else:
            groups.setdefault(memory.root, []).append(memory)
            after.append(dataclasses.replace(memory, notified=memory.state))
    notices = [
        _notice(plan, windows, root, group, at_s, f"{key}-{n}")
        for n, (root, group) in enumerate(groups.items(), start=1)
    ]
    marked = (dataclasses.replace(c, held=held.get(c.subject)) for c in changes)
    return NoticeRound(tuple(after), tuple(marked), tuple(notices))


def _notice(  # noqa: PLR0913, PLR0917
    plan: Plan, windows: Windows, root: Subject, group: list[Memory], at_s: float, id_: str
) -> Notice:
    ordered = sorted(group, key=lambda memory: memory.subject != root)
    changes = tuple(
        NoticeChange(
            subject=m.subject,
            before=m.notified,
            after=m.state,
            since=rfc3339(m.since_s, "milliseconds"),
            reason=m.reason,
            try_first=m.try_first,
            held=windows.at(m, m.since_s),
        )
        for m in ordered
    )
    return Notice(
        id=id_,
        network=plan.network.name,
        at=rfc3339(at_s, "milliseconds"),
        root=root,
        changes=changes,
        text=_text(root, changes),
    )


def _text(root: Subject, changes: tuple[NoticeChange, ...]) -> str:
    first = changes[0]
    text = f"{first.subject} is {first.after} (was {first.before})"
    if first.subject == root or len(changes) == 1:
        if first.reason:
            text += f": {first.reason}"
        rest = changes[1:]
    else:
        text, rest = f"because of {root.kind} {root}", changes
    if first.subject != root and len(changes) == 1:
        text += f"; it hangs on {root.kind} {root}"
    if rest:
        names = ", ".join(f"{c.subject} {c.after}" for c in rest[:_NAMED])
        more = f" and {len(rest) - _NAMED} more" if len(rest) > _NAMED else ""
        text += f"; with it: {names}{more}"
    return text
