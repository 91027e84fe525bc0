"""The result as one self-contained page: for reading, for A4, for names and signatures."""

from __future__ import annotations

import base64
import datetime as dt
import functools
import hashlib
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import jinja2
from markupsafe import Markup

from verifier.model.cautions import CLOSING, cautions
from verifier.model.plan import Device, Plan
from verifier.model.result import VERDICTS, Finding, Result, overall
from verifier.report import ReportStyle
from verifier.report.html.plots import plots, soak_title
from verifier.report.plain import plain
from verifier.report.result import entered
from verifier.report.result.causes import counted, done_with_another, evidence, groups
from verifier.report.result.links import drawn_links
from verifier.report.sentences import (
    WORDS,
    accepted_lines,
    not_asked_lines,
    scope_words,
    sentence,
)

Row = dict[str, Any]

_LONGEST = 600
_FILES = ("report.css", "report.js")
_KINDS = {
    "device": "Device", "port": "Device", "link": "Link", "network": "Network", "host": "Host",
          "site": "Site", "gateway": "Gateway", "laptop": "Laptop"}  # fmt: skip


def render(result: Result, look: ReportStyle) -> str:
    """The whole page. It fetches nothing; its script and style are in it."""
    style, script = (_source(name) for name in _FILES)
    return _template().render(
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
        versions=[o.value for o in result.observations if o.what == "versions"],
        accepted=accepted_lines(result),
        entered=entered.rows(result),
        entered_from=entered.sheets(result),
        not_asked=not_asked_lines(result),
        cautions=cautions("report"),
        closing=CLOSING,
        style=style,
        script=script,
        style_hash=_integrity(style),
        script_hash=_integrity(script),
    )


@functools.cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("verifier.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finalize,
    )
    environment.filters["said"] = _said
    environment.filters["counted"] = counted
    environment.filters["evidence"] = evidence
    return environment


def _template() -> jinja2.Template:
    return _environment().get_template("report.html")


def _source(name: str) -> Markup:
    """A file that goes into the page as it stands: it is ours and holds nothing from outside."""
    loader = _environment().loader
    assert loader is not None
    text, _, _ = loader.get_source(_environment(), name)
    return Markup(text)  # noqa: S704 - our own file


def _integrity(text: str) -> str:
    """The hash by which the page's own policy allows this text (CSP 3, hash-source)."""
    return base64.b64encode(hashlib.sha256(str(text).encode()).digest()).decode()


def _finalize(value: Any) -> Any:
    """Whatever a device or a plan says becomes visible characters, and is cut where endless."""
    if isinstance(value, str) and not hasattr(value, "__html__"):
        return plain(value, longest=_LONGEST)
    return value


def _said(value: Any, unit: str | None = None) -> str:
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
            "findings": sorted(found, key=lambda f: VERDICTS.index(f.verdict)),
            "facts": _facts(devices.get(name)) if kind == "Device" else (),
            "verdict": _heaviest(found),
            "overall": overall(found, result.untested_ok),
        }
        for (kind, name), found in groups.items()
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
            "verdict": found[0].verdict,
            "subject": found[0].subject.name if len(found) > 1 else str(found[0].subject),
            "checks": ", ".join(dict.fromkeys(f.check for f in found)),
            "why": _why(found),
            "only": found[0] if len(found) == 1 else None,
            "do": found[0].advice,
        }
        for found in groups.values()
    ]


def _why(found: Sequence[Finding]) -> str:
    """Why an item is open; where its parts (ends, ports) have reasons of their own, each."""
    by_reason = {f.reason: f for f in found}
    if len(by_reason) == 1:
        return found[0].reason
    said = [f"{f.subject}: {reason}" for reason, f in by_reason.items()]
    more = [f"and {len(said) - _REASONS} more"] if len(said) > _REASONS else []
    return "; ".join((*said[:_REASONS], *more))
