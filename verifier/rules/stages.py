"""Which check belongs to which stage of the work.

Rules judge what they are given; this table alone says what is not asked yet. A finding of a check
that does not belong to the stage is left out of the result, and the check is named there once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fnmatch import fnmatchcase

from verifier.model.plan import End, Link, Plan, Stage
from verifier.model.problem import Subject
from verifier.model.result import Finding

ABSENT: Mapping[Stage, tuple[str, ...]] = {
    "bench": (
        "port.status", "port.speed", "port.duplex", "port.errors", "port.neighbour",
        "state.alarm", "state.clock", "radio.fade-margin", "radio.rx-level-spread",
        "radio.polarisation-balance", "radio.*-seconds", "traffic.*",
    ),
    "alignment": (
        "state.alarm", "settings.saved", "radio.capacity", "radio.fade-margin",
        "radio.rx-level-spread", "radio.*-seconds", "traffic.*",
    ),
    "handover": (),
    "service": (),
}  # fmt: skip
"""Names of checks, or patterns, that do not belong to a stage.

Bench: devices without their cables, their network and their far end. Alignment: lowest modulation
and raised power on purpose, so nothing that follows from the modulation, and nothing saved yet.
"""

_ATTENUATION = "bench_attenuation_db"
BENCH_NEEDS: Mapping[str, str] = {
    "radio.path-loss": "bench_attenuation_db",
    "radio.reciprocity": "bench_attenuation_db",
    "radio.snr": "bench_attenuation_db",
    "radio.xpi": "bench_attenuation_db",
    "radio.lock": "bench_attenuation_db",
    "link.far-end": "bench_attenuation_db",
}
"""On the bench these belong only where the plan gives that field of the end, or of both ends:
without an attenuation between the devices nothing transmits, so nothing is received. What a
receiver bears (`radio.rx-level`) is judged all the same."""


def belongs(links: Mapping[str, Link], stage: Stage, check: str, subject: Subject) -> bool:
    """Whether a check of this subject is asked at this stage; `links` by their names."""
    if any(fnmatchcase(check, pattern) for pattern in ABSENT[stage]):
        return False
    if stage != "bench" or (field := BENCH_NEEDS.get(check)) is None:
        return True
    ends = _ends(links, subject)
    if field == _ATTENUATION and subject.end is not None:
        return any(e.bench_attenuation_db is not None for e in _ends(links, _whole(subject)))
    return bool(ends) and all(getattr(end, field) is not None for end in ends)


def _whole(subject: Subject) -> Subject:
    """The carrier of an end: one attenuation between two devices serves both directions."""
    return Subject("link", subject.name, carrier=subject.carrier)


def _ends(links: Mapping[str, Link], subject: Subject) -> list[End]:
    """The ends of a link that a subject is about."""
    if subject.kind != "link" or subject.name not in links:
        return []
    return [
        end
        for carrier in links[subject.name].carriers
        if subject.carrier in (None, carrier.carrier)
        for name, end in carrier.ends()
        if subject.end in (None, name)
    ]


def of_stage(
    plan: Plan, stage: Stage, findings: Iterable[Finding]
) -> tuple[list[Finding], tuple[str, ...]]:
    """The findings that belong to the stage, and the names of the checks that do not, each once.

    A check that is asked of one subject and not of another is not named.
    """
    links = {link.name: link for link in plan.links}
    asked: list[Finding] = []
    absent: dict[str, None] = {}
    for finding in findings:
        if belongs(links, stage, finding.check, finding.subject):
            asked.append(finding)
        else:
            absent[finding.check] = None
    made = {finding.check for finding in asked}
    return asked, tuple(check for check in absent if check not in made)
