"""What is not sound now, by what it hangs on, and what maintenance windows hold of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from verifier.model.health import STATES, HealthReading, Memory, Reason, State
from verifier.model.plan import Plan
from verifier.model.problem import Subject
from verifier.model.status import Alike, OpenFault, SubjectStatus, WindowNow
from verifier.rules.health.notices import Windows, seconds


def weight(state: State | None) -> int:
    """0 for the worst; what has no state is no better than the best."""
    return STATES.index(state) if state is not None else len(STATES)


def subject_status(
    reading: HealthReading, memory: Memory, *, confirm: int, held: str | None = None
) -> SubjectStatus:
    """A device of a sweep as it is shown.

    Why a state is as it is stands in the reading that shows it; where the newest one shows
    another state, only the memory of the first reason is left. What still has to last is no state
    that was seen.
    """
    reasons, try_first = reading.reasons, reading.try_first
    pending = None if reading.unexplained and reading.state == memory.state else memory.pending
    if reading.state == "sound" and memory.state != "sound":
        reasons = (Reason("", "fail", memory.reason),) if memory.reason else ()
        try_first = memory.try_first
    return SubjectStatus(
        subject=reading.subject,
        state=memory.state,
        since_s=memory.since_s,
        pending=pending,
        pending_n=memory.pending_n if pending else 0,
        needed_n=max(1, confirm - memory.pending_n) if pending else 0,
        reasons=reasons,
        try_first=try_first,
        rtt_ms=reading.rtt_ms,
        loss_pct=reading.loss_pct,
        held=held,
    )


def open_faults(
    readings: Iterable[HealthReading],
    subjects: Mapping[Subject, SubjectStatus],
    memories: Mapping[Subject, Memory],
) -> tuple[tuple[OpenFault, ...], tuple[Alike, ...]]:
    """Roots, worst first, with what hangs on them; lone untested devices by their reason.

    Args:
        readings: of the newest sweep, in the order of the plan.
        subjects: each of them as it is shown.
        memories: what each device's confirmed state hangs on.
    """
    groups: dict[Subject, list[SubjectStatus]] = {}
    for reading in readings:
        subject = subjects[reading.subject]
        if subject.state != "sound" or subject.pending is not None:
            root = reading.root if reading.state != "sound" else memories[reading.subject].root
            groups.setdefault(root, []).append(subject)
    alike: dict[str, list[SubjectStatus]] = {}
    found = []
    for root, group in groups.items():
        if [(u.subject, u.state, u.pending) for u in group] == [(root, "untested", None)]:
            alike.setdefault(_first(group[0].reasons), []).append(group[0])
        else:
            found.append(_open_fault(root, group))
    found.sort(key=lambda t: (min(map(worst, (t.head, *t.rest))), -len(t.rest)))
    return tuple(found), tuple(
        Alike(reason, tuple(group))
        for reason, group in sorted(alike.items(), key=lambda item: -len(item[1]))
    )


def worst(subject: SubjectStatus) -> int:
    """The weight of what a device is or may become."""
    return min(weight(subject.state), weight(subject.pending))


def _first(reasons: Sequence[Reason]) -> str:
    if not reasons:
        return "no reason is known"
    first = reasons[0]
    return f"{first.check}: {first.text}" if first.check else first.text


def _open_fault(root: Subject, group: Sequence[SubjectStatus]) -> OpenFault:
    """The root's own state where it has one; else why the worst of the others is as it is."""
    rest = sorted((u for u in group if u.subject != root), key=worst)
    head = next((u for u in group if u.subject == root), None)
    if head is None:
        head = SubjectStatus(
            subject=root, state=None, reasons=rest[0].reasons[:1], try_first=rest[0].try_first
        )
    return OpenFault(head, tuple(rest))


def windows_now(
    plan: Plan,
    memories: Iterable[Memory],
    subjects: Mapping[Subject, SubjectStatus],
    at_s: float,
) -> tuple[WindowNow, ...]:
    """The maintenance windows that are on, each with what stands otherwise than it was told."""
    windows = Windows(plan)
    held: dict[str, list[SubjectStatus]] = {}
    for memory in memories:
        if memory.state != memory.notified and (name := windows.at(memory, at_s)) is not None:
            held.setdefault(name, []).append(subjects[memory.subject])
    return tuple(
        WindowNow(
            name=w.name,
            start_s=seconds(w.start),
            to_s=seconds(w.to),
            sites=w.sites,
            holds=tuple(held.get(w.name, ())),
        )
        for w in windows.on(at_s)
    )
