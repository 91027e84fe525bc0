"""A record with one of everything, and one in which every name is hostile."""

from __future__ import annotations

import dataclasses
from typing import Any

from verifier.model.history import (
    Availability,
    HistoryDocument,
    LevelDeviation,
    LevelRecord,
    Outage,
    PortRecord,
    RecordChange,
    RecordPoint,
    SubjectRecord,
)
from verifier.model.problem import Subject

RADIO = Subject("device", "lighthouse-quarry")
HOP = Subject("link", "Hop 1")
EVIL = '=cmd|"<script>alert(1)</script>\x1b[2J\u202e]]><!--'
_TIMES = Availability(
    available_pct=99.99999, answered_s=86_390.0, unanswered_s=10.0, untested_s=3600.0
)


def subject(subject: Subject, **more: Any) -> SubjectRecord:
    return SubjectRecord(
        subject=subject, state="sound", since="2026-11-24T06:00:00Z", availability=_TIMES,
        state_s={"sound": 86_390.0, "impaired": 0.0, "silent": 10.0, "untested": 0.0}, changes=1,
        outages=1, longest_outage_s=10.0, **more,
    )  # fmt: skip


def record_of(
    name: str = "Harbour ring", radio: Subject = RADIO, hop: Subject = HOP
) -> HistoryDocument:
    rtt = (RecordPoint(360.0, 1.0, 1.25, 2.0), RecordPoint(1080.0, 1.5, 1.5, 1.5))
    level = LevelRecord(
        carrier=1, end="a", planned_dbm=-45.0, median_dbm=-45.5, min_dbm=-50.0, max_dbm=-45.25,
        points=(RecordPoint(360.0, -50.0, -45.5, -45.25),),
    )  # fmt: skip
    return HistoryDocument(
        network=name, revision="3", plan_sha256="0" * 64, start="2026-11-24T06:00:00Z",
        end="2026-11-25T07:00:00Z", sweeps=300, skipped=2, resolution="sweep",
        handover="2026-10-01T10:00:00.000Z",
        subjects=(
            dataclasses.replace(subject(Subject("network", name)), state=None, since=None),
            subject(radio, rtt_median_ms=1.25, rtt_p95_ms=1.9, rtt_max_ms=2.0, rtt=rtt),
            subject(hop, levels=(level, dataclasses.replace(level, end="b", planned_dbm=None))),
        ),
        outages=(
            Outage(subject=radio, start="2026-11-24T08:00:00Z", end="2026-11-24T08:00:10Z",
                   length_s=10.0, untested_s=0.0, by="sweeps"),
            Outage(subject=hop, start="2026-11-24T08:00:00Z", end=None, length_s=90_000.0,
                   untested_s=600.0, by="changes"),
        ),
        changes=(
            RecordChange(subject=hop, at="2026-11-24T08:00:00Z", before="sound", after="silent",
                         root=radio, reason=f"{name} does not answer", held="mast work"),
        ),
        level_deviations=(
            LevelDeviation(link=hop.name, carrier=1, end="a", then_dbm=-45.0, now_dbm=-49.5,
                      deviation_db=-4.5, limit_db=3.0, dry_hours=20, beyond=True, reason=""),
            LevelDeviation(link=hop.name, carrier=2, end="b", then_dbm=None, now_dbm=None,
                      deviation_db=None, limit_db=3.0, dry_hours=0, beyond=None,
                      reason="the handover has no level of this end"),
        ),
        ports=(PortRecord(device=radio.name, port=f"eth1 {name}", in_errors=12, out_errors=0),),
    )  # fmt: skip


RECORD = record_of()
HOSTILE = record_of(EVIL, Subject("device", EVIL), Subject("link", EVIL))


def many(subjects: int) -> HistoryDocument:
    """A record of so many devices, every tenth of them with an outage."""
    network, radio, hop = RECORD.subjects
    quiet = dataclasses.replace(radio, outages=0, changes=0, longest_outage_s=0.0)
    all_subjects = [
        dataclasses.replace(
            quiet if n % 10 else radio,
            subject=Subject("device", f"device-{n}"),
            availability=_TIMES if n % 10 == 0 else dataclasses.replace(_TIMES, unanswered_s=0.0),
        )
        for n in range(subjects)
    ]
    outages = tuple(
        dataclasses.replace(RECORD.outages[0], subject=u.subject) for u in all_subjects if u.outages
    )
    level_deviations = RECORD.level_deviations[1:] * subjects
    return dataclasses.replace(
        RECORD, subjects=(network, *all_subjects, hop), outages=outages,
        level_deviations=(RECORD.level_deviations[0], *level_deviations),
        handover_remarks=("it is of another plan: Moor ring",),
    )  # fmt: skip
