"""The result as JSON, under the schema that `plan-verifier schema result` prints."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import re
import unicodedata
from typing import Any

from verifier.errors import InputError
from verifier.model.observation import Observation
from verifier.model.problem import Problem
from verifier.model.result import Cause, Finding, Result
from verifier.model.subject import Subject
from verifier.report.plain import INVISIBLE
from verifier.report.style import ReportStyle


def render(result: Result, look: ReportStyle) -> str:
    """The document `plan-verifier/result/1`; `look` has no say."""
    del look
    return laid_out(document(result))


def laid_out(document: dict[str, Any]) -> str:
    """A document as JSON, one line for each field and for each element of a list of objects.

    What steers a terminal or turns the writing round is escaped, so that it may be printed.
    """
    text = "{\n" + ",\n".join(f" {_line(k)}: {_field(v)}" for k, v in document.items()) + "\n}\n"
    return _NOT_PLAIN.sub(lambda found: _shown(found[0]), text)


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


def result_of(document: dict[str, Any], name: str) -> Result:
    """The opposite of `document`; `name` is what faults call it.

    Verdict and summary are not read: they follow from the findings.
    Raises InputError, with the field, where anything is missing or of a wrong kind.
    """
    from pydantic import TypeAdapter, ValidationError  # noqa: PLC0415 - loaded only when reading

    needed = {f.name for f in dataclasses.fields(Result)} - {"accepted"}
    if missing := needed - document.keys():
        raise InputError(f"{name}: is no whole result: {', '.join(sorted(missing))} missing")
    try:
        causes = [{**c, "for_": c["for"]} for c in document["causes"]]
        result: Result = TypeAdapter(Result).validate_python({**document, "causes": causes})
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        field = ".".join(str(part) for part in first["loc"])
        raise InputError(f"{name}: is no whole result: {field}: {first['msg']}") from None
    except (KeyError, TypeError):
        raise InputError(f"{name}: is no whole result: look at causes") from None
    for field in ("started", "finished"):
        try:
            dt.datetime.fromisoformat(getattr(result, field))
        except ValueError:
            raise InputError(f"{name}: is no whole result: {field} is no time") from None
    return result


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
        "observations": [_observation(o) for o in result.observations],
    }


def plan_check(problems: tuple[Problem, ...]) -> str:
    """The document `plan-verifier/plan-check/1`."""
    rows = [
        {
            "severity": p.severity,
            "rule": p.rule,
            "subject": {"kind": p.subject.kind, "name": p.subject.name},
            "origin": p.origin,
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
        "expected": finding.expected,
        "observed": finding.observed,
        "unit": finding.unit,
        "origin": finding.origin,
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


def _observation(seen: Observation) -> dict[str, Any]:
    return {
        "id": seen.id,
        "subject": {"kind": seen.subject.kind, "name": seen.subject.name},
        "probe": seen.probe,
        "what": seen.what,
        "oid": seen.oid,
        "raw": seen.raw,
        "value": seen.value,
        "unit": seen.unit,
        "at": seen.at,
        "took_ms": seen.took_ms,
    }
