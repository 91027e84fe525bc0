"""What the store knows of a period, as figures: availability, outages, trends, level deviations.

Availability is the answered part of the tested time, each sweep counting until the next one, but
not beyond its own validity; time of which nothing is known is left out and shown. A device is
available when it gives any sign of life, a link when devices at both its ends do; the network's
figure is that of all its devices' time together.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping, Sequence

from verifier.model.health import STATES, Memory
from verifier.model.history import (
    Availability,
    Baseline,
    HistoryDocument,
    LevelDeviation,
    LevelRecord,
    Outage,
    Period,
    PortRecord,
    RecordChange,
    RecordPoint,
    Sample,
    SubjectPast,
    SubjectRecord,
)
from verifier.model.plan import Device, EndName, Plan
from verifier.model.problem import Subject
from verifier.rules.compare.echo import percentile_ms
from verifier.rules.decode import rfc3339
from verifier.rules.health.follow import outages
from verifier.rules.history.deviation import gone, level_deviations

PARTS = 120
"""Of a period as it is shown over time: more are not told apart."""
_HIGH_PCT = 95.0


def subjects_of(plan: Plan, devices: Sequence[Device]) -> list[Subject]:
    """These devices, and the links with all their ends among them."""
    names = {d.name for d in devices}
    links = [x.name for x in plan.links if frozenset().union(*x.devices()) <= names]
    return [*(Subject("device", d.name) for d in devices), *(Subject("link", x) for x in links)]


def record(  # noqa: PLR0913
    plan: Plan,
    plan_sha256: str,
    period: Period,
    pasts: Iterable[SubjectPast],
    memories: Mapping[Subject, Memory],
    *,
    baseline: Baseline | None = None,
) -> HistoryDocument:
    """The record of a period; `pasts` is gone through once."""
    subjects: list[SubjectRecord] = []
    found: list[Outage] = []
    changes: list[RecordChange] = []
    ports: list[PortRecord] = []
    away: list[LevelDeviation] = []
    for past in pasts:
        own, counted = outages(past, period.start_s, period.end_s), _changes(past, period.start_s)
        subjects.append(_subject(plan, past, period, own, len(counted), memories.get(past.subject)))
        found += own
        changes += counted
        ports += _ports(past)
        away += level_deviations(plan, past, baseline)
    away += _gone(plan, subjects, baseline)
    return HistoryDocument(
        network=plan.network.name,
        revision=plan.network.revision,
        plan_sha256=plan_sha256,
        start=rfc3339(period.start_s),
        end=rfc3339(period.end_s),
        sweeps=period.sweeps,
        skipped=period.skipped,
        resolution=period.resolution,
        handover=baseline.started if baseline is not None else None,
        handover_remarks=baseline.remarks if baseline is not None else (),
        subjects=(_network(plan, subjects), *subjects),
        outages=tuple(sorted(found, key=lambda o: o.start, reverse=True)),
        changes=tuple(sorted(changes, key=lambda c: c.at, reverse=True)),
        level_deviations=tuple(
            sorted(away, key=lambda d: (not d.beyond, -abs(d.deviation_db or 0.0)))
        ),
        ports=tuple(sorted(ports, key=lambda p: -(p.in_errors + p.out_errors))),
    )


def _ports(past: SubjectPast) -> list[PortRecord]:
    return [
        PortRecord(device=past.subject.name, port=port, in_errors=in_, out_errors=out)
        for port, (in_, out) in past.errors.items()
    ]


def _gone(
    plan: Plan, subjects: Iterable[SubjectRecord], baseline: Baseline | None
) -> Iterable[LevelDeviation]:
    """Ends of the handover that are no longer planned; only where every link was asked for."""
    links = {u.subject.name for u in subjects if u.subject.kind == "link"}
    if baseline is None or links != {link.name for link in plan.links}:
        return ()
    return gone(plan, baseline)


def availability(answered_s: float, unanswered_s: float, whole_s: float) -> Availability:
    """The figures of a subject that was to be seen for `whole_s`."""
    tested_s = answered_s + unanswered_s
    return Availability(
        available_pct=_percent(answered_s, tested_s) if tested_s > 0 else None,
        answered_s=answered_s,
        unanswered_s=unanswered_s,
        untested_s=max(0.0, whole_s - tested_s),
    )


def _percent(part_s: float, whole_s: float) -> float:
    """100 for the whole, exactly: it is cut, not rounded, where it is shown."""
    return 100.0 if part_s >= whole_s else 100.0 * (part_s / whole_s)


def _changes(past: SubjectPast, start_s: float) -> list[RecordChange]:
    """Those of the period; that a device was seen for the first time is none."""
    return [
        RecordChange(
            subject=past.subject,
            at=rfc3339(c.at_s),
            before=c.before,
            after=c.after,
            root=c.root,
            reason=c.reason,
            held=c.held,
        )
        for c in past.changes
        if c.before is not None and c.at_s >= start_s
    ]


def _subject(  # noqa: PLR0913, PLR0917
    plan: Plan,
    past: SubjectPast,
    period: Period,
    own: Sequence[Outage],
    changes: int,
    memory: Memory | None,
) -> SubjectRecord:
    begin_s = period.start_s if past.first_s is None else max(period.start_s, past.first_s)
    rtts = [s.middle for s in past.rtt]
    return SubjectRecord(
        subject=past.subject,
        state=memory.state if memory is not None else None,
        since=rfc3339(memory.since_s) if memory is not None else None,
        availability=availability(past.answered_s, past.unanswered_s, period.end_s - begin_s),
        state_s={state: past.time_s.get(state, 0.0) for state in STATES},
        changes=changes,
        outages=len(own),
        longest_outage_s=max((o.length_s for o in own), default=0.0),
        rtt_median_ms=statistics.median(rtts) if rtts else None,
        rtt_p95_ms=percentile_ms(rtts, _HIGH_PCT) if rtts else None,
        rtt_max_ms=max((s.high for s in past.rtt), default=None),
        rtt=points(past.rtt, period),
        levels=tuple(
            LevelRecord(
                carrier=carrier,
                end=end,
                planned_dbm=planned_dbm(plan, past.subject.name, carrier, end),
                median_dbm=statistics.median(s.middle for s in samples),
                min_dbm=min(s.low for s in samples),
                max_dbm=max(s.high for s in samples),
                points=points(samples, period),
            )
            for (carrier, end), samples in past.levels.items()
        ),
    )


def planned_dbm(plan: Plan, link: str, carrier: int, end: EndName) -> float | None:
    """The receive level that the plan has for an end."""
    for planned in plan.links:
        if planned.name == link:
            for one in planned.carriers:
                if one.carrier == carrier:
                    return dict(one.ends())[end].rx_level_dbm
    return None


def points(
    samples: Iterable[Sample], period: Period, parts: int = PARTS
) -> tuple[RecordPoint, ...]:
    """The samples in so many equal parts of the period; parts without one are left out."""
    part_s = max(1.0, (period.end_s - period.start_s) / parts)
    groups: dict[int, list[Sample]] = {}
    for sample in samples:
        after_s = min(max(0.0, sample.at_s - period.start_s), period.end_s - period.start_s)
        groups.setdefault(int(after_s / part_s), []).append(sample)
    return tuple(
        RecordPoint(
            round((part + 0.5) * part_s, 1),
            min(s.low for s in group),
            statistics.median(s.middle for s in group),
            max(s.high for s in group),
        )
        for part, group in sorted(groups.items())
    )


def _network(plan: Plan, subjects: Iterable[SubjectRecord]) -> SubjectRecord:
    devices = [u for u in subjects if u.subject.kind == "device"]
    times = [u.availability for u in devices]
    answered_s, unanswered_s = (
        sum(t.answered_s for t in times), sum(t.unanswered_s for t in times)
    )  # fmt: skip
    whole_s = answered_s + unanswered_s + sum(t.untested_s for t in times)
    rtts = [u.rtt_median_ms for u in devices if u.rtt_median_ms is not None]
    return SubjectRecord(
        subject=Subject("network", plan.network.name),
        state=None,
        since=None,
        availability=availability(answered_s, unanswered_s, whole_s),
        state_s={s: sum(u.state_s.get(s, 0.0) for u in devices) for s in STATES},
        changes=sum(u.changes for u in subjects),
        outages=sum(u.outages for u in devices),
        longest_outage_s=max((u.longest_outage_s for u in devices), default=0.0),
        rtt_median_ms=statistics.median(rtts) if rtts else None,
        rtt_p95_ms=percentile_ms(rtts, _HIGH_PCT) if rtts else None,
        rtt_max_ms=max((u.rtt_max_ms for u in devices if u.rtt_max_ms is not None), default=None),
    )
