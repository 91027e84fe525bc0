"""A result read back from its document, `plan-verifier/result/1`."""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
from collections.abc import Mapping
from typing import Any

from pydantic import TypeAdapter, ValidationError

from verifier.errors import InputError
from verifier.files.evidence.observations import observations_of
from verifier.model.result import Result


@functools.cache
def _adapter() -> TypeAdapter[Result]:
    return TypeAdapter(Result)


def result_of(document: Mapping[str, Any], name: str) -> Result:
    """The result that a document is of; `name` is what faults call it.

    Verdict and summary are not read: they follow from the findings.
    Raises InputError, with the field, where anything is missing or of a wrong kind.
    """
    needed = {f.name for f in dataclasses.fields(Result)} - {"accepted"}
    if missing := needed - document.keys():
        raise InputError(f"{name}: is no whole result: {', '.join(sorted(missing))} missing")
    seen = observations_of(document["observations"], name)
    try:
        causes = [{**c, "for_": c["for"]} for c in document["causes"]]
        findings = [*map(_with_origin, document["findings"])]
        whole = {**document, "findings": findings, "causes": causes, "observations": ()}
        result = dataclasses.replace(_adapter().validate_python(whole), observations=seen)
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


def _with_origin(finding: object) -> object:
    """No words are no origin."""
    if isinstance(finding, dict) and finding.get("origin") == "":
        return {**finding, "origin": None}
    return finding
