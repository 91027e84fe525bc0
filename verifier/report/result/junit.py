"""The findings as JUnit XML: a suite for each subject, a case for each finding."""

from __future__ import annotations

import datetime as dt
import re
import xml.etree.ElementTree as ET
from collections import Counter, defaultdict
from collections.abc import Sequence

from verifier.model.result import Finding, Result
from verifier.report.sentences import accepted_words, scope_words, sentence
from verifier.report.style import ReportStyle, plain

_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 2.2 has no place for."""
_LONGEST = 2000


def render(result: Result, look: ReportStyle) -> str:
    """The whole document. What was not tested is skipped, a warning passes and says so."""
    del look
    suites: dict[str, list[Finding]] = defaultdict(list)
    for finding in result.findings:
        suites[finding.subject.name].append(finding)
    name = f"{result.command} {result.plan.name}".strip()
    name += f", {scope_words(result.scope)}"
    root = ET.Element("testsuites", {"name": _text(name), **_counts(result.findings)})
    root.set("time", f"{_seconds(result):.3f}")
    root.append(_whole(result))
    for subject, findings in suites.items():
        attributes = {"name": _text(subject), "timestamp": result.started, **_counts(findings)}
        suite = ET.SubElement(root, "testsuite", attributes)
        for finding in findings:
            _case(suite, finding)
    ET.indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, "unicode") + "\n"


def _whole(result: Result) -> ET.Element:
    """A suite without cases: what is said of the whole, of what was not asked, and by whom."""
    attributes = {"name": _text(result.plan.name), "timestamp": result.started, **_counts(())}
    suite = ET.Element("testsuite", attributes)
    rows = [
        ("verdict", result.verdict),
        ("scope", scope_words(result.scope)),
        ("sentence", sentence(result)),
        *((f"not asked: {n.what}", f"{n.count}: {n.reason}") for n in result.not_asked),
        *((f"accepted: {a.check}", accepted_words(a)) for a in result.accepted),
    ]
    properties = ET.SubElement(suite, "properties")
    for name, value in rows:
        ET.SubElement(properties, "property", name=_text(name), value=_text(value))
    return suite


def _case(suite: ET.Element, finding: Finding) -> None:
    names = {"classname": _text(finding.subject), "name": _text(finding.check)}
    case = ET.SubElement(suite, "testcase", names)
    if finding.verdict == "fail":
        failure = ET.SubElement(
            case, "failure", message=_text(finding.reason), type=_text(finding.check)
        )
        failure.text = _said(finding)
    elif finding.verdict == "not-tested":
        ET.SubElement(case, "skipped", message=_text(finding.reason))
    elif finding.verdict == "warn":
        ET.SubElement(case, "system-out").text = f"warning: {_said(finding)}"


def _said(finding: Finding) -> str:
    unit = f" {_text(finding.unit)}" if finding.unit else ""
    lines = [_text(finding.reason)]
    if finding.expected is not None:
        lines.append(f"planned: {_text(finding.expected)}{unit}")
    if finding.observed is not None:
        lines.append(f"found: {_text(finding.observed)}{unit}")
    lines += [
        f"{k}: {_text(v)}"
        for k, v in (("do", finding.advice), ("plan", str(finding.origin or "")))
        if v
    ]
    return "\n".join(lines)


def _counts(findings: Sequence[Finding]) -> dict[str, str]:
    verdicts = Counter(f.verdict for f in findings)
    return {
        "tests": str(len(findings)),
        "failures": str(verdicts["fail"]),
        "errors": "0",
        "skipped": str(verdicts["not-tested"]),
    }


def _seconds(result: Result) -> float:
    start, end = (dt.datetime.fromisoformat(t) for t in (result.started, result.finished))
    return (end - start).total_seconds()


def _text(value: object) -> str:
    return _NO_XML.sub("?", plain(value, longest=_LONGEST))
