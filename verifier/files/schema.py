"""JSON Schema (draft 2020-12) of every document kind, made from the model's types.

What a document has and the model has not, or has under another name, is put in by hand here; the
contract of the JSON and YAML forms stands in the tests.
"""

from __future__ import annotations

import typing
from collections.abc import Callable
from typing import Any

from pydantic import TypeAdapter
from pydantic.json_schema import JsonSchemaMode

from verifier.errors import UsageError
from verifier.files.credentials import KEYS, MIN_KEY_LENGTH, SECRETS
from verifier.files.evidence.observations import ObservationRow
from verifier.files.faults import nearest
from verifier.files.plan.columns import FILE_NAMES, SHORT_FORMS
from verifier.files.plan.shorthand import SHORT_CARRIER
from verifier.model import plan as model
from verifier.model.credentials import Auth, Priv
from verifier.model.health import Notice, SweepDocument
from verifier.model.here import HereResult
from verifier.model.history import HistoryDocument
from verifier.model.kind import Kind, Scalar
from verifier.model.laptop import Fit
from verifier.model.manual import Entered
from verifier.model.observations import KINDS, reading, tcp
from verifier.model.problem import Problem
from verifier.model.profile import Profile, ReadingField
from verifier.model.result import DifferenceKind, Overall, Result
from verifier.model.runbook import Runbook
from verifier.model.samples import ClockBlock, EchoBlock, GapBlock, ValuesBlock
from verifier.model.search import SearchResult

Json = dict[str, Any]

_FIELDS = typing.get_args(ReadingField)
_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema(name: str) -> Json:
    """The schema of a document kind: the middle word of its `format`, or what kind of file it is.

    Raises:
        UsageError: there is no document of that name.
    """
    if name not in SCHEMAS:
        known = ", ".join(SCHEMAS)
        raise UsageError(f"no schema is called {name!r}{nearest(name, SCHEMAS)}; there are {known}")
    return {"$schema": _DIALECT, "title": f"plan-verifier {name}", **SCHEMAS[name]()}


def _of(kind: Any, mode: JsonSchemaMode) -> Json:
    """The schema of a dataclass, closed: no other fields than its own."""
    made: Json = TypeAdapter(kind).json_schema(mode=mode)
    for group in (made, *made.get("$defs", {}).values()):
        if "properties" in group:
            group["additionalProperties"] = False
    return made


def _output(kind: Any, name: str) -> Json:
    """The schema of a document that is written: every field is there, `format` is first."""
    made = _of(kind, "serialization")
    made.pop("description", None)
    made["properties"] = {"format": {"const": f"plan-verifier/{name}/1"}, **made["properties"]}
    for group in (made, *made["$defs"].values()):
        group["required"] = list(group["properties"])
    if "Subject" in made["$defs"]:
        made["$defs"]["Subject"]["required"] = ["kind", "name"]
    return made


def _result() -> Json:
    made = _output(Result, "result")
    for name in ("Kind", "Observation_object_", "Unreadable"):  # what a document has not
        del made["$defs"][name]
    made["$defs"]["Finding"]["properties"]["origin"] = {"type": "string"}
    made["$defs"]["Observation"] = {k: v for k, v in _row().items() if k != "$defs"}
    rows: Json = {"type": "array", "items": {"$ref": "#/$defs/Observation"}}
    made["properties"]["observations"] = rows
    made["properties"]["verdict"] = {"enum": list(typing.get_args(Overall))}
    counts = {v: {"type": "integer", "minimum": 0} for v in ("pass", "fail", "warn", "not-tested")}
    made["properties"]["summary"] = _group(counts, tuple(counts))
    made["required"] = [name for name in made["properties"] if name != "accepted"]
    cause = made["$defs"]["Cause"]
    cause["properties"]["for"] = cause["properties"].pop("for_")
    cause["required"] = list(cause["properties"])
    return made


def _evidence() -> Json:
    """The parts are what the model is, without what only a file has: origins, its hash."""
    result, plan, profile = _result(), _of(model.Plan, "serialization"), _of(Profile, "validation")
    for name in ("origins", "file_sha256"):
        del plan["properties"][name]
    defs = {**plan.pop("$defs"), **profile.pop("$defs"), **result.pop("$defs")}
    defs |= {"Result": result, "Plan": plan, "Profile": profile}
    profiles = {"type": "object", "additionalProperties": {"$ref": "#/$defs/Profile"}}
    parts: Json = {
        "plan": {"$ref": "#/$defs/Plan"},
        "profiles": profiles,
        "result": {"$ref": "#/$defs/Result"},
        "samples": {"type": "array", "items": {"oneOf": _blocks()}},
    }
    digest = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
    signature = {
        "algorithm": {"const": "Ed25519"},
        "public_key": digest,
        "value": {"type": "string", "pattern": "^[0-9a-f]{128}$"},
    }
    properties = {
        "format": {"const": "plan-verifier/evidence/1"},
        "parts": _group(parts, tuple(parts)),
        "sha256": _group(dict.fromkeys(parts, digest), tuple(parts)),
        "signature": {"anyOf": [_group(signature, tuple(signature)), {"type": "null"}]},
    }
    return {**_group(properties, tuple(properties)), "$defs": defs}


def _observation() -> Json:
    """Every kind of observation: its name, who sees it, and the form of its value."""
    row = _row()
    kinds = [_of_kind(row, {"const": k.what}, k) for k in KINDS]
    kinds += [
        _of_kind(row, {"type": "string", "pattern": "^tcp/[0-9]{1,5}$"}, tcp(0)),
        _of_kind(row, {"type": "string", "pattern": f"^({'|'.join(_FIELDS)}) "}, reading("")),
    ]
    defs: Json = {}
    for made in kinds:
        defs |= made["properties"]["value"].pop("$defs", {})
    return {"oneOf": kinds, "$defs": {**row["$defs"], **defs}}


def _row() -> Json:
    """An observation whatever its kind."""
    made = _of(ObservationRow, "serialization")
    made.pop("description", None)
    made["required"] = list(made["properties"])
    made["$defs"]["Subject"]["required"] = ["kind", "name"]
    return made


def _of_kind(row: Json, what: Json, kind: Kind) -> Json:
    shape: Any = Scalar if kind.shape is Entered else kind.shape
    value = TypeAdapter[Any](shape).json_schema(mode="serialization")
    for group in (value, *value.get("$defs", {}).values()):
        if group.get("type") == "object" and "properties" in group:
            group["required"] = list(group["properties"])
            group["additionalProperties"] = False
    defs = value.pop("$defs", {})
    absent = {"anyOf": [value, {"type": "null"}], "$defs": defs}
    fields = {**row["properties"], "what": what, "probe": {"const": kind.probe}, "value": absent}
    return {**{k: v for k, v in row.items() if k != "$defs"}, "title": kind.what,
            "properties": fields}  # fmt: skip


def _blocks() -> list[Json]:
    """The blocks of a soak; `$defs` of what they share stand in each."""
    shapes = (EchoBlock, ValuesBlock, GapBlock, ClockBlock)
    return [_whole_block(TypeAdapter[Any](shape).json_schema()) for shape in shapes]


def _whole_block(made: Json) -> Json:
    """Closed, and what it refers to written out: it stands within another document."""
    subject = made.pop("$defs", {}).get("BlockSubject")
    for group in filter(None, (made, subject)):
        group["additionalProperties"] = False
        group.pop("description", None)
    if subject is not None:
        made["properties"]["subject"] = subject
    return made


def _plan_check() -> Json:
    problem = _output(Problem, "plan-check")
    defs = problem.pop("$defs")
    del problem["properties"]["format"]
    problem["required"] = list(problem["properties"])
    problem["title"] = "Problem"
    problem["properties"]["origin"] = {"type": "string"}
    made = _group(
        {
            "format": {"const": "plan-verifier/plan-check/1"},
            "problems": {"type": "array", "items": {"$ref": "#/$defs/Problem"}},
        },
        ("format", "problems"),
    )
    return {**made, "$defs": {**defs, "Problem": problem}}


def _fit() -> Json:
    device = _of(Fit, "serialization")
    device["required"] = list(device["properties"])
    made = _group(
        {
            "format": {"const": "plan-verifier/fit/1"},
            "devices": {"type": "array", "items": {"$ref": "#/$defs/Fit"}},
        },
        ("format", "devices"),
    )
    return {**made, "$defs": {"Fit": device}}


def _runbook() -> Json:
    made = _output(Runbook, "runbook")
    change = made["$defs"]["SetDevice"]
    change["properties"]["from"] = change["properties"].pop("from_")
    change["required"] = list(change["properties"])
    follow_up = made["$defs"]["FollowUp"]
    follow_up["required"] = list(follow_up["properties"])
    made["required"] = list(made["properties"])
    return made


def _comparison() -> Json:
    """Two runs and what differs between them; findings and subjects are those of a result."""
    result = _result()
    finding, subject = result["$defs"]["Finding"], result["$defs"]["Subject"]
    of_finding = ("id", "verdict", "expected", "observed", "unit", "reason")
    one = _group({n: finding["properties"][n] for n in of_finding}, of_finding)
    fields = ("command", "stage", "started", "verdict")
    text = {"anyOf": [{"type": "string"}, {"type": "null"}]}
    run = {"plan": text, "revision": text, **{n: result["properties"][n] for n in fields}}
    either = {"anyOf": [{"$ref": "#/$defs/Finding"}, {"type": "null"}]}
    difference = {
        "kind": {"enum": list(typing.get_args(DifferenceKind))},
        "check": {"type": "string"},
        "subject": {"$ref": "#/$defs/Subject"},
        "old": either,
        "new": either,
    }
    made = _group(
        {
            "format": {"const": "plan-verifier/comparison/1"},
            "old": {"$ref": "#/$defs/Run"},
            "new": {"$ref": "#/$defs/Run"},
            "differences": {"type": "array", "items": _group(difference, tuple(difference))},
        },
        ("format", "old", "new", "differences"),
    )
    defs = {"Finding": one, "Subject": subject, "Run": _group(run, tuple(run))}
    return {**made, "$defs": defs}


def _health(kind: Any, name: str) -> Json:
    """Devices and roots are named by kind and name alone."""
    made = _output(kind, name)
    subject = made["$defs"]["Subject"]
    subject["properties"] = {key: subject["properties"][key] for key in ("kind", "name")}
    return made


def _plan() -> Json:
    """The YAML form, with its own names and short forms."""
    made = _of(model.Plan, "validation")
    for name in ("origins", "file_sha256"):
        del made["properties"][name]
    defs: Json = made["$defs"]
    for cls, name in FILE_NAMES:
        group, ours = defs[cls.__name__], FILE_NAMES[cls, name]
        group["properties"][ours] = group["properties"].pop(name)
        group["required"] = [ours if r == name else r for r in group["required"]]
    text = {"type": "string"}
    device, link, carrier = defs["Device"], defs["Link"], defs["Carrier"]["properties"]
    device["properties"]["mask"] = text
    for owner, flag in SHORT_FORMS:
        del defs[owner.__name__]["properties"][flag]
    link["properties"] |= {"modulation": text, **{k: carrier[k] for k in SHORT_CARRIER}}
    link["required"] = ["name"]
    link["anyOf"] = [{"required": ["carriers"]}, {"required": ["a", "b"]}]
    for group in (made, *defs.values()):
        for name, value in group.get("properties", {}).items():
            group["properties"][name] = _as_written(value, name in group.get("required", ()))
    return made


def _as_written(value: Json, required: bool) -> Json:  # noqa: FBT001
    """A field as YAML may have it: nothing, if it can be left out; one text for a list of texts."""
    forms = [value]
    if value.get("type") == "array" and "$ref" not in value["items"]:
        forms.append({"type": "string"})
    if not required and {"type": "null"} not in value.get("anyOf", ()):
        forms.append({"type": "null"})
    return value if len(forms) == 1 else {"anyOf": forms}


def _profile() -> Json:
    return _of(Profile, "validation")


def _credentials() -> Json:
    text = {"type": "string", "minLength": 1}
    properties: Json = dict.fromkeys(KEYS, text)
    properties["version"] = {"enum": ["1", "2c", "3"]}
    properties["auth"] = {"enum": list(typing.get_args(Auth)), "default": "SHA-256"}
    properties["priv"] = {"enum": list(typing.get_args(Priv)), "default": "AES-128"}
    properties["port"] = {"type": "integer", "minimum": 1, "maximum": 65535, "default": 161}
    for key in ("auth_key", "priv_key"):
        properties[key] = {"type": "string", "minLength": MIN_KEY_LENGTH}
    entry = _group(properties, ("version",))
    entry["allOf"] = [{"not": {"required": [s, f"{s}_env"]}} for s in SECRETS]
    entries = {"type": "object", "additionalProperties": entry}
    return _group({"snmp": entries}, ())


def _mapping() -> Json:
    from verifier.files.mapping.form import MappingForm  # noqa: PLC0415

    return _of(MappingForm, "validation")


def _group(properties: Json, required: tuple[str, ...]) -> Json:
    return {
        "type": "object",
        "properties": properties,
        "required": list(required),
        "additionalProperties": False,
    }


SCHEMAS: dict[str, Callable[[], Json]] = {
    "result": _result,
    "observation": _observation,
    "plan-check": _plan_check,
    "fit": _fit,
    "here": lambda: _output(HereResult, "here"),
    "find": lambda: _output(SearchResult, "find"),
    "runbook": _runbook,
    "plan": _plan,
    "profile": _profile,
    "credentials": _credentials,
    "mapping": _mapping,
    "evidence": _evidence,
    "comparison": _comparison,
    "change": lambda: _health(Notice, "change"),
    "sweep": lambda: _health(SweepDocument, "sweep"),
    "history": lambda: _health(HistoryDocument, "history"),
}
"""By name; `schema` adds what all have in common."""
