"""The result as JSON, under the schema that `plan-verifier schema result` prints."""

from __future__ import annotations

import dataclasses
import json
import re
import unicodedata
from typing import Any

from verifier.model.observations import Json, Observation, as_json
from verifier.model.problem import Problem, Subject
from verifier.model.result import Cause, Finding, Result
from verifier.report.style import INVISIBLE, ReportStyle


def render(result: Result, look: ReportStyle) -> str:
    """The document `plan-verifier/result/1`; `look` has no say."""
    del look
    return laid_out(document(result))


def laid_out(document: dict[str, Any]) -> str:
    """A document as JSON, one line for each field and for each element of a list of objects.

    What steers a terminal or turns the writing round is escaped, so that it may be printed.
    """
    text = "{\n" + ",\n".join(f" {_line(k)}: {_field(v)}" for k, v in document.items()) + "\n}\n"
    return _NOT_PLAIN.sub(lambda match: _shown(match[0]), text)


_NOT_PLAIN = re.compile(r"[^\n -~]")


def _shown(character: str) -> str:
    if unicodedata.category(character) not in INVISIBLE:
        return character
    pair = character.encode("utf-16-be", "surrogatepass")
    return "".join(
        f"\\u{high:02x}{low:02x}" for high, low in zip(pair[::2], pair[1::2], strict=True)
    )


def _field(value: Any) -> str:
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return "[\n" + ",\n".join(f"  {_line(item)}" for item in value) + "\n ]"
    return _line(value)


def _line(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def document(result: Result) -> dict[str, Any]:
    """The document `plan-verifier/result/1` as plain values."""
    plan = result.plan
    return {
        "format": "plan-verifier/result/1",
        "tool": {"version": result.tool.version},
        "command": result.command,
        "stage": result.stage,
        "plan": {
            "name": plan.name,
            "revision": plan.revision,
            "sha256": plan.sha256,
            "file_sha256": plan.file_sha256,
        },
        "scope": {
            "whole": result.scope.whole,
            "devices": list(result.scope.devices),
            "links": list(result.scope.links),
            "names": list(result.scope.names),
        },
        "started": result.started,
        "finished": result.finished,
        "verdict": result.verdict,
        "summary": dict(result.summary),
        "not_in_stage": list(result.not_in_stage),
        "not_asked": [dataclasses.asdict(n) for n in result.not_asked],
        "accepted": [
            {"check": a.check, "reason": a.reason, "by": a.by, "findings": list(a.findings)}
            for a in result.accepted
        ],
        "by": result.by,
        "place": result.place,
        "findings": [_finding(f) for f in result.findings],
        "causes": [_cause(c) for c in result.causes],
        "observations": [as_row(o) for o in result.observations],
    }


def plan_check(problems: tuple[Problem, ...]) -> str:
    """The document `plan-verifier/plan-check/1`."""
    rows = [
        {
            "severity": p.severity,
            "rule": p.rule,
            "subject": {"kind": p.subject.kind, "name": p.subject.name},
            "origin": str(p.origin or ""),
            "message": p.message,
        }
        for p in problems
    ]
    document = {"format": "plan-verifier/plan-check/1", "problems": rows}
    return laid_out(document)


def _subject(subject: Subject) -> dict[str, Any]:
    return {
        "kind": subject.kind,
        "name": subject.name,
        "port": subject.port,
        "carrier": subject.carrier,
        "end": subject.end,
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "id": finding.id,
        "check": finding.check,
        "subject": _subject(finding.subject),
        "verdict": finding.verdict,
        "expected": as_json(finding.expected),
        "observed": as_json(finding.observed),
        "unit": finding.unit,
        "origin": str(finding.origin or ""),
        "reason": finding.reason,
        "advice": finding.advice,
        "caused_by": list(finding.caused_by),
        "evidence": list(finding.evidence),
    }


def _cause(cause: Cause) -> dict[str, Any]:
    return {
        "id": cause.id,
        "kind": cause.kind,
        "subject": {"kind": cause.subject.kind, "name": cause.subject.name},
        "certainty": cause.certainty,
        "for": list(cause.for_),
        "against": list(cause.against),
        "try_first": cause.try_first,
        "text": cause.text,
    }


def as_row(seen: Observation[object]) -> dict[str, Json]:
    """An observation as a document has it."""
    return {
        "id": seen.id,
        "subject": {"kind": seen.subject.kind, "name": seen.subject.name},
        "probe": seen.kind.probe,
        "what": seen.what,
        "oid": seen.oid,
        "raw": seen.raw,
        "value": as_json(seen.seen),
        "unit": seen.unit,
        "at": seen.at,
        "took_ms": seen.took_ms,
    }
