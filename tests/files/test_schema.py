"""The published schemas: valid themselves, open to what the contract shows and to nothing else."""

import copy
import json
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from tests.as_seen import observation
from tests.report.history.examples import RECORD
from tests.report.test_here import LOW
from tests.report.test_search import FOUND
from verifier.errors import UsageError
from verifier.files.read_profile import shipped_directory
from verifier.files.schema import SCHEMAS
from verifier.files.schema import schema as made
from verifier.model.kind import Kind
from verifier.model.observations import KINDS
from verifier.model.problem import Problem, Subject
from verifier.model.result import Accepted, Cause, Finding, NotAsked, PlanReference, Result, Scope
from verifier.report.here import json as here_json
from verifier.report.history.text import json as record_json
from verifier.report.result.json import document, plan_check
from verifier.report.search import json as find_json
from verifier.report.style import ReportStyle

schema = cache(made)

DEVICE = {"kind": "device", "name": "lighthouse-quarry"}
RESULT = {
    "format": "plan-verifier/result/1", "tool": {"version": "0.1.0"}, "command": "verify",
    "stage": "handover",
    "plan": {"name": "Harbour ring", "revision": "3", "sha256": "00", "file_sha256": "00"},
    "started": "2026-11-24T10:00:00Z", "finished": "2026-11-24T10:01:00Z", "verdict": "fail",
    "summary": {"pass": 41, "fail": 1, "warn": 0, "not-tested": 2},
    "scope": {"whole": False, "devices": [2, 7], "links": [1, 3], "names": ["Hop 1"]},
    "not_asked": [{"what": "manual.azimuth", "reason": "r", "count": 2}],
    "not_in_stage": [], "by": None, "place": None,
    "findings": [{
        "id": "f12", "check": "address.mask",
        "subject": {**DEVICE, "port": None, "carrier": None, "end": None},
        "verdict": "fail", "expected": "255.255.255.0", "observed": "255.255.0.0", "unit": None,
        "origin": "plan.xlsx, sheet Devices, row 4, column Mask", "reason": "r", "advice": "a",
        "caused_by": ["c1"], "evidence": [17],
    }],
    "causes": [{
        "id": "c1", "kind": "mask-wrong", "subject": DEVICE, "certainty": "certain",
        "for": ["f12"], "against": [], "try_first": "t", "text": "t",
    }],
    "observations": [{
        "id": 17, "subject": DEVICE, "probe": "snmp", "what": "ipAdEntNetMask",
        "oid": "1.3.6.1.2.1.4.20.1.3.198.18.20.11", "raw": "r", "value": "255.255.0.0",
        "unit": None, "at": "2026-11-24T10:00:01Z", "took_ms": 3.1,
    }],
}  # fmt: skip
OBSERVATION = {
    "id": 3, "subject": DEVICE, "probe": "icmp", "what": "echo", "oid": None, "raw": None,
    "value": {
        "sent": 2, "received": 1, "rtt_ms": [1.5, None], "duplicates": 0, "reordered": 0,
        "foreign_id": 0, "payload_bytes": 56,
        "silence": [{"reason": "timed-out", "text": "no reply in time", "type": None, "code": None,
                     "reporter": None, "errno": None, "mtu": None}], "by": "",
    },
    "unit": "ms", "at": "2026-11-24T10:00:01Z", "took_ms": None,
}  # fmt: skip
PLAN_CHECK = {
    "format": "plan-verifier/plan-check/1",
    "problems": [{
        "severity": "error", "rule": "gateway-outside-subnet", "subject": DEVICE,
        "origin": "plan.yaml, line 3", "message": "m",
    }],
}  # fmt: skip
FIT = {
    "format": "plan-verifier/fit/1",
    "devices": [{
        "device": "lighthouse-quarry", "address": "198.18.20.11/24", "verdict": "pass",
        "relation": "direct", "interface": "eth0", "laptop_address": "198.18.20.250/24",
        "suggested": None, "commands": [], "notes": [], "explanation": "e",
    }],
}  # fmt: skip
CREDENTIALS = tomllib.loads("""
[snmp.field]
version = "3"
user = "verifier"
auth = "SHA-256"
auth_key_env = "FIELD_AUTH"
priv = "AES-128"
priv_key_env = "FIELD_PRIV"
[snmp.bench]
version = "2c"
community_env = "BENCH_COMMUNITY"
port = 161
""")
RUNBOOK = {
    "format": "plan-verifier/runbook/1", "setting": "segment", "laptop_addresses": "one",
    "laptop_start": [], "proved_best": True, "lower_bound": None, "device_changes": 1,
    "connects": 0, "laptop_changes": 2,
    "steps": [
        {"n": 1, "action": "set-laptop", "addresses": ["192.0.2.250/24"]},
        {"n": 2, "action": "set-device", "device": "lighthouse-quarry", "from": "192.0.2.21/24",
         "to": "198.18.20.11/24", "gateway": "198.18.20.1", "temporary": False},
        {"n": 3, "action": "set-laptop", "addresses": ["198.18.20.250/24"]},
        {"n": 4, "action": "confirm", "device": "lighthouse-quarry", "address": "198.18.20.11",
         "silent": "192.0.2.21"},
    ],
    "follow_ups": [{"kind": "gateway", "subject": {"kind": "device", "name": "x"}, "message": "m"}],
    "blocked": [{"device": "x", "reason": "r"}],
}  # fmt: skip
MAPPING = tomllib.loads("""
format = "plan-verifier/mapping/1"
[[table]]
page = "Links"
row = "link"
heading_row = 3
decimal = ","
[table.columns]
"Station A" = ["Sites.a.name", "Links.a.device"]
"TX A [GHz]" = {field = "Links.a.tx_mhz", factor = 1000.0, values = {none = ""}}
"Remarks" = ""
[table.made]
"Links.name" = "{Station A}"
""")


def _plan(example_yaml: Path) -> Any:
    loaded = yaml.safe_load(example_yaml.read_text())
    return json.loads(json.dumps(loaded, default=str))


def _profile() -> Any:
    return tomllib.loads((shipped_directory() / "hop-radio.toml").read_text())


_RUN = {
    "plan": "Harbour ring", "revision": "3", "command": "verify", "stage": "handover",
    "started": "2026-11-24T10:00:00.000Z", "verdict": "pass",
}  # fmt: skip
_SEEN = {
    "id": "f1", "verdict": "fail", "expected": "255.255.255.0", "observed": "255.255.0.0",
    "unit": None, "reason": "the mask is too wide",
}  # fmt: skip
COMPARISON: Any = {
    "format": "plan-verifier/comparison/1",
    "old": _RUN,
    "new": {**_RUN, "verdict": "fail"},
    "differences": [
        {
            "kind": "worse",
            "check": "address.mask",
            "subject": {
                "kind": "device", "name": "a", "port": None, "carrier": None, "end": None,
            },
            "old": None,
            "new": _SEEN,
        }
    ],
}  # fmt: skip

CHANGE: Any = {
    "format": "plan-verifier/change/1", "id": "5f-1", "network": "Harbour ring",
    "at": "2026-11-24T10:00:00.000Z", "root": DEVICE,
    "changes": [{
        "subject": DEVICE, "before": "sound", "after": "silent", "since": "2026-11-24T09:55:00.000Z",
        "reason": "r", "try_first": "t", "held": None,
    }],
    "text": "t",
}  # fmt: skip
SWEEP: Any = {
    "format": "plan-verifier/sweep/1", "network": "Harbour ring", "revision": "3",
    "plan_sha256": "00", "number": 12, "started": "2026-11-24T10:00:00.000Z", "took_s": 2.1,
    "skipped": 0, "summary": {"sound": 1, "untested": 0, "impaired": 0, "silent": 0},
    "subjects": [{
        "subject": DEVICE, "state": "sound", "seen": "impaired", "since": "2026-11-24T09:55:00.000Z",
        "root": DEVICE, "answered": True,
        "reasons": [{"check": "port.speed", "verdict": "fail", "text": "t"}],
        "rtt_ms": 1.2, "loss_pct": 0.0, "uptime_s": 77.5,
        "levels": [{"carrier": 1, "end": "a", "rx_level_dbm": -45.6}],
        "ports": [{"port": "eth1", "in_errors": 0, "out_errors": 3}],
    }],
    "changes": [{name: value for name, value in CHANGE.items() if name != "format"}],
}  # fmt: skip


@pytest.fixture
def documents(example_yaml: Path) -> Any:
    return {
        "result": RESULT,
        "observation": OBSERVATION,
        "plan-check": PLAN_CHECK,
        "fit": FIT,
        "here": json.loads(here_json(LOW, ReportStyle())),
        "find": json.loads(find_json(FOUND, ReportStyle())),
        "runbook": RUNBOOK,
        "plan": _plan(example_yaml),
        "profile": _profile(),
        "credentials": CREDENTIALS,
        "mapping": MAPPING,
        "evidence": {
            "format": "plan-verifier/evidence/1",
            "parts": {
                "result": RESULT,
                "plan": {},
                "profiles": {},
                "samples": [],
            },
            "sha256": dict.fromkeys(("result", "plan", "profiles", "samples"), "0" * 64),
            "signature": {"algorithm": "Ed25519", "public_key": "0" * 64, "value": "0" * 128},
        },
        "comparison": COMPARISON,
        "change": CHANGE,
        "sweep": SWEEP,
        "history": json.loads(record_json(RECORD, ReportStyle())),
    }


def _faults(name: str, document: Any) -> Any:
    validator = jsonschema.Draft202012Validator(schema(name))
    return [f"{list(e.absolute_path)}: {e.message}" for e in validator.iter_errors(document)]


@pytest.mark.parametrize("name", SCHEMAS)
def test_each_schema_is_one_of_draft_2020_12(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schema(name))
    assert schema(name)["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize("name", SCHEMAS)
def test_the_contracts_document_is_valid(documents: Any, name: str) -> None:
    assert _faults(name, documents[name]) == []


def _paths_of_groups(value: Any, path: Any = ()) -> Any:
    if isinstance(value, dict):
        yield path
        for key, inner in value.items():
            yield from _paths_of_groups(inner, (*path, key))
    elif isinstance(value, list):
        for n, inner in enumerate(value):
            yield from _paths_of_groups(inner, (*path, n))


@pytest.mark.parametrize("name", SCHEMAS)
def test_no_group_anywhere_takes_a_field_of_another_name(documents: Any, name: str) -> None:
    """But those whose names are the user's own: of credentials, of values, of their columns."""
    for path in _paths_of_groups(documents[name]):
        if path[-1:] in (("values",), ("columns",), ("made",)) or path == ("snmp",):
            continue
        changed = copy.deepcopy(documents[name])
        group = changed
        for part in path:
            group = group[part]
        group["surprise"] = 1
        assert _faults(name, changed), path


@pytest.mark.parametrize("name", ["result", "plan-check"])
def test_no_field_of_what_is_written_may_be_missing(documents: Any, name: str) -> None:
    """But port, carrier and end of a subject, which the contract shows both with and without."""
    for path in _paths_of_groups(documents[name]):
        group = documents[name]
        for part in path:
            group = group[part]
        for key in group:
            if key in ("port", "carrier", "end"):
                continue
            changed = copy.deepcopy(documents[name])
            inner = changed
            for part in path:
                inner = inner[part]
            del inner[key]
            assert _faults(name, changed), (path, key)


def test_what_the_program_writes_is_valid() -> None:
    subject = Subject("link", "Hop 1", carrier=1, end="a")
    result = Result(
        command="verify",
        stage="bench",
        plan=PlanReference(name="p", revision=None, sha256="0", file_sha256="0"),
        scope=Scope(whole=False, devices=(2, 7), links=(1, 3), names=("Hop 1",)),
        not_asked=(NotAsked(what="manual.azimuth", reason="nobody entered it", count=2),),
        accepted=(Accepted(check="radio.snr@a", reason="r", by=None, findings=("f1",)),),
        started="2026-11-24T10:00:00Z",
        finished="2026-11-24T10:00:00Z",
        findings=(
            Finding(id="f1", check="radio.rx-level", subject=subject, verdict="pass", reason="",
                    expected=-45.6, observed=-45.0, unit="dBm", evidence=(1,)),
        ),
        causes=(Cause(id="c1", kind="k", subject=subject, certainty="likely", text="t"),),
        observations=(
            observation(id=1, subject=subject, probe="snmp", what="w", at="t", value=[1, "a"]),
        ),
    )  # fmt: skip
    assert _faults("result", document(result)) == []
    problem = Problem("warning", "r", subject, None, "m")
    assert _faults("plan-check", json.loads(plan_check((problem,)))) == []


@pytest.mark.parametrize(
    ("change", "valid"),
    [
        ({"devices": [{"name": "r", "address": "198.18.0.1", "mask": "255.255.255.0"}]}, True),
        ({"devices": [{"name": "r", "address": "198.18.0.1/24", "uplink": "a; b"}]}, True),
        ({"devices": [{"name": "r", "address": "198.18.0.1/24", "profile": None}]}, True),
        ({"devices": [{"name": "r"}]}, False),
        ({"devices": [{"name": "r", "address": "198.18.0.1/24", "tx_band": "hi"}]}, False),
        ({"links": [{"name": "h", "carriers": []}]}, True),
        ({"links": [{"name": "h", "a": {"device": "r"}, "b": {"device": "s"},
                     "modulation": "4qam"}]}, True),
        ({"links": [{"name": "h"}]}, False),
        ({"maintenance": [{"name": "m", "from": "2026-12-01T08:00:00Z",
                           "to": "2026-12-01T09:00:00Z"}]}, True),
        ({"maintenance": [{"name": "m", "start": "x", "to": "y"}]}, False),
        ({"origins": {}}, False),
        ({"file_sha256": ""}, False),
        ({"stage": "later"}, False),
    ],
)  # fmt: skip
def test_the_schema_of_a_plan_knows_the_short_forms(change: Any, valid: Any) -> None:
    assert (_faults("plan", change) == []) is valid


def test_an_entry_gives_a_secret_in_one_way_only() -> None:
    entry = {"version": "2c", "community": "a", "community_env": "B"}
    assert _faults("credentials", {"snmp": {"x": entry}})


def test_an_unknown_name_is_told_with_those_there_are() -> None:
    with pytest.raises(
        UsageError, match=r"'resutl'; did you mean result\?; there are result, observation, plan-"
    ):
        schema("resutl")


@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_what_is_no_value_of_its_kind_does_not_fit(kind: Kind) -> None:
    """Every kind has its row in the schema, and takes no value of another form but null."""
    made = {**OBSERVATION, "what": kind.what, "probe": kind.probe}
    assert _faults("observation", {**made, "value": None}) == []
    assert _faults("observation", {**made, "value": {"surprise": [[]]}})
    assert _faults("observation", {**made, "probe": "nobody"})


@pytest.mark.parametrize(
    ("what", "probe", "value", "fits"),
    [
        ("tcp/443", "tcp", "open", True), ("tcp/443", "tcp", "ajar", False),
        ("rx_level_dbm radio:2", "snmp", -45.5, True), ("unknown", "snmp", 1, False),
        ("answer", "snmp", "answered", True), ("answer", "snmp", "perhaps", False),
        ("manual.azimuth", "person", 57.9, True), ("ifMtu", "snmp", "1500", False),
        ("holders", "neighbour", ["02:00:5e:10:00:01"], True),
    ],
)  # fmt: skip
def test_values_of_observations(what: str, probe: str, value: Any, fits: Any) -> None:
    """The schema of `schema observation` follows from the types."""
    faults = _faults("observation", {**OBSERVATION, "what": what, "probe": probe, "value": value})
    assert (faults == []) is fits
