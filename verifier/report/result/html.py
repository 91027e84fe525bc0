"""The result as one self-contained page: for reading, for A4, for names and signatures."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from verifier.model.cautions import CLOSING, cautions
from verifier.model.observations import VERSIONS
from verifier.model.plan import Device, Plan
from verifier.model.result import VERDICTS, Finding, Result, overall
from verifier.report import sentences
from verifier.report.html import draw
from verifier.report.html.plots import plots
from verifier.report.result.causes import counted, done_with_another, evidence, groups
from verifier.report.result.links import drawn_links
from verifier.report.sentences import (
    WORDS,
    accepted_lines,
    not_asked_lines,
    scope_words,
    sentence,
    soak_title,
)
from verifier.report.style import ReportStyle
from verifier.rules.observations import of_kind

Row = dict[str, Any]

_KINDS = {
    "device": "Device", "port": "Device", "link": "Link", "network": "Network", "host": "Host",
          "site": "Site", "gateway": "Gateway", "laptop": "Laptop"}  # fmt: skip


def render(result: Result, look: ReportStyle) -> str:
    """The whole page. It fetches nothing; its script and style are in it."""
    return draw(
        "report.html",
        "report.css",
        "report.js",
        result=result,
        annex=look.annex,
        network=look.annex.plan.network if look.annex.plan else None,
        words=WORDS,
        verdicts=VERDICTS,
        sentence=sentence(result),
        scope=scope_words(result.scope),
        minutes=_duration(result),
        causes=groups(result),
        soak=soak_title(result),
        plots=plots(result, look.annex.samples),
        links=drawn_links(look.annex.plan, result),
        subjects=_subjects(result, look.annex.plan),
        untested=_by_reason(result.findings),
        items=_open_items(result),
        versions=[o.value for o in of_kind(result.observations, VERSIONS)],
        accepted=accepted_lines(result),
        entered=sentences.entered_rows(result),
        entered_from=sentences.sheets(result),
        not_asked=not_asked_lines(result),
        cautions=cautions("report"),
        closing=CLOSING,
        in_words=_in_words,
        counted=counted,
        evidence=evidence,
    )


def _in_words(value: Any, unit: str | None = None) -> str:
    """A value with its unit, or a dash where there is none."""
    if value is None:
        return "-"
    if isinstance(value, dict):
        value = [f"{name} {one}" for name, one in value.items()]
    if isinstance(value, (list, tuple)):
        value = ", ".join(map(str, value))
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{text or 'an empty text'} {unit}" if unit else text or "an empty text"


def _duration(result: Result) -> str:
    start, end = (dt.datetime.fromisoformat(t) for t in (result.started, result.finished))
    seconds = (end - start).total_seconds()
    return f"{seconds:.1f} s" if seconds < 120 else f"{seconds / 60:.0f} min"  # noqa: PLR2004


def _subjects(result: Result, plan: Plan | None) -> list[Row]:
    """One section for each device or other subject, with its findings, heaviest first."""
    groups: dict[tuple[str, str], list[Finding]] = defaultdict(list)
    for finding in result.findings:
        groups[_KINDS[finding.subject.kind], finding.subject.name].append(finding)
    devices = {d.name: d for d in plan.devices} if plan else {}
    return [
        {
            "kind": kind,
            "name": name,
            "findings": sorted(own, key=lambda f: VERDICTS.index(f.verdict)),
            "facts": _facts(devices.get(name)) if kind == "Device" else (),
            "verdict": _heaviest(own),
            "overall": overall(own, result.untested_ok),
        }
        for (kind, name), own in groups.items()
    ]


def _heaviest(findings: Iterable[Finding]) -> str:
    return min((f.verdict for f in findings), key=VERDICTS.index)


def _facts(device: Device | None) -> Sequence[tuple[str, Any]]:
    """What the plan says of a device, where it says so."""
    if device is None:
        return ()
    facts = (
        ("Site", device.site), ("Address", device.address), ("Gateway", device.gateway),
        ("Label", device.label), ("Profile", device.profile), ("Serial", device.serial),
        ("Part", device.part_number), ("Software", device.software),
    )  # fmt: skip
    return [(name, str(value)) for name, value in facts if value is not None]


def _by_reason(findings: Iterable[Finding]) -> list[Row]:
    """What was not tested, under its reason."""
    groups: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for finding in findings:
        if finding.verdict == "not-tested":
            groups[finding.reason][str(finding.subject)].append(finding.check)
    return [{"reason": reason, "subjects": subjects.items()} for reason, subjects in groups.items()]


_REASONS = 4
"""Reasons that one open item tells."""


def _open_items(result: Result) -> list[Row]:
    """What is left to do: each failure and warning, and each reason why something is untested.

    What goes with another finding by its cause is done with that one.
    """
    hanging = done_with_another(result)
    groups: dict[tuple[str, ...], list[Finding]] = {}
    for finding in sorted(result.findings, key=lambda f: VERDICTS.index(f.verdict)):
        if finding.verdict == "pass" or finding.id in hanging:
            continue
        own = finding.verdict != "not-tested"
        key = (finding.verdict, finding.subject.name, finding.check if own else finding.reason)
        groups.setdefault(key, []).append(finding)
    return [
        {
            "verdict": same[0].verdict,
            "subject": same[0].subject.name if len(same) > 1 else str(same[0].subject),
            "checks": ", ".join(dict.fromkeys(f.check for f in same)),
            "why": _why(same),
            "only": same[0] if len(same) == 1 else None,
            "do": same[0].advice,
        }
        for same in groups.values()
    ]


def _why(findings: Sequence[Finding]) -> str:
    """Why an item is open; where its parts (ends, ports) have reasons of their own, each."""
    by_reason = {f.reason: f for f in findings}
    if len(by_reason) == 1:
        return findings[0].reason
    parts = [f"{f.subject}: {reason}" for reason, f in by_reason.items()]
    more = [f"and {len(parts) - _REASONS} more"] if len(parts) > _REASONS else []
    return "; ".join((*parts[:_REASONS], *more))
