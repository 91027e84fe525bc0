"""Offline rules: names and references, the table, and what holds for all rules."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import verifier
from tests.rules.conftest import (
    END,
    IDS,
    SOUND,
    TODAY,
    Changes,
    Expected,
    changed,
    problems_of,
    told,
)
from tests.rules.plan import test_addresses, test_devices, test_radio
from verifier.errors import InputError
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.address import Address, Interface, Mac
from verifier.model.plan import Plan
from verifier.rules.plan import READING, RULES, by_place, check

ROOT = Path(__file__).parents[3]
A = 36
"""The line of device lighthouse-quarry."""
LINK = "address: 198.18.20.15/24, gateway: 198.18.20.1"
SECOND = """\
    carriers:
      - {carrier: 1, polarisation: H, a: {device: quarry-harbour, rx_level_dbm: -50}, b: {device: harbour-quarry, rx_level_dbm: -50}}
      - {carrier: 2, polarisation: V, a: {device: %s, rx_level_dbm: -50}, b: {device: %s, rx_level_dbm: -50}}"""


def second(a: str, b: str) -> Changes:
    """Hop 2 with a second carrier between these devices."""
    return {
        32: ("    polarisation: H", SECOND % (a, b)),
        33: ("    a: {device: quarry-harbour, tx_mhz: 12905, rx_level_dbm: -50}", ""),
        34: ("    b: {device: harbour-quarry, tx_mhz: 13171, rx_level_dbm: -50}", ""),
    }


def device(more: str) -> Changes:
    return {END: ("", f"  - {{{more}, {LINK}}}")}


WINDOW = """\
maintenance:
  - {name: mast, from: 2026-12-01T08:00Z, to: 2026-12-01T16:00Z, sites: [Ferry]}
management:"""
AGAIN = """\
  - name: Hop 3
    bandwidth_mhz: 28
    polarisation: H
    a: {device: harbour-quarry, tx_mhz: 13171, rx_level_dbm: -50}
    b: {device: quarry-harbour, tx_mhz: 12905, rx_level_dbm: -50}
devices:"""
FAULTY: list[tuple[str, Changes, Expected]] = [
    ("device twice", device("name: lighthouse-quarry"), {(36, "name-doubled", "lighthouse-quarry")}),
    ("site twice", {10: ("Harbour", "Quarry"), 39: ("site: Harbour, ", "")},
     {(9, "name-doubled", "Quarry")}),
    ("link twice", {28: ("Hop 2", "Hop 1")}, {(12, "name-doubled", "Hop 1")}),
    ("host twice", {6: ("]}]", "]}, {name: manager-1, address: 198.18.9.11}]")},
     {(6, "name-doubled", "manager-1")}),
    ("equal but for case", device("name: Quarry-lighthouse"),
     {(37, "name-differs-by-case", "quarry-lighthouse")}),
    ("separator in a name", device("name: ferry; harbour"),
     {(40, "name-with-separator", "ferry; harbour")}),
    ("unknown profile", device("name: ferry, profile: hop-radoi"), {(40, "profile-unknown", "ferry")}),
    ("unknown site", device("name: ferry, site: Ferry"), {(40, "site-unknown", "ferry")}),
    ("unknown site of a window", {4: ("management:", WINDOW)},
     {(5, "site-unknown", "Coast")}),
    ("unknown end", {33: ("quarry-harbour", "quary-harbour")},
     {(33, "link-end-unknown", "Hop 2 carrier 1 end a")}),
    ("link to itself", {33: ("quarry-harbour", "harbour-quarry"), 34: (", tx_mhz: 13171", "")},
     {(28, "link-to-itself", "Hop 2")}),
    ("a device twice in one carrier of two", second("quarry-harbour", "quarry-harbour"),
     {(34, "device-twice-in-carrier", "Hop 2 carrier 2")}),
    ("a and b exchanged in one carrier", second("harbour-quarry", "quarry-harbour"),
     {(28, "ends-mixed-up", "Hop 2")}),
    ("carrier number twice",
     {32: ("    polarisation: H", (SECOND % ("quarry-harbour", "harbour-quarry")).replace(
         "carrier: 2", "carrier: 1")), 33: ("    a: {device: quarry-harbour, tx_mhz: 12905, rx_level_dbm: -50}", ""),
      34: ("    b: {device: harbour-quarry, tx_mhz: 13171, rx_level_dbm: -50}", "")},
     {(33, "carrier-doubled", "Hop 2 carrier 1")}),
    ("the same link under two names", {35: ("devices:", AGAIN)},
     {(35, "link-doubled", "Hop 3 carrier 1")}),
    ("unknown uplink", {A: ("uplink: [quarry-lighthouse]", "uplink: [ferry]")},
     {(A, "uplink-unknown", "lighthouse-quarry")}),
    ("own uplink", {A: ("uplink: [quarry-lighthouse]", "uplink: [lighthouse-quarry]")},
     {(A, "uplink-unknown", "lighthouse-quarry")}),
    ("uplinks in a circle", {37: ("tx_band", "uplink: [lighthouse-quarry], tx_band")},
     {(A, "uplink-circle", "lighthouse-quarry")}),
    ("uplinks in a circle of three, and one that hangs on it",
     {37: ("tx_band", "uplink: [quarry-harbour], tx_band"),
      38: ("tx_band", "uplink: [lighthouse-quarry], tx_band"),
      39: ("tx_band", "uplink: [quarry-harbour], tx_band")},
     {(A, "uplink-circle", "lighthouse-quarry")}),
    ("a pattern of checks", {3: ("radio.polarisation", "radio.*")},
     {(3, "check-unknown", "Coast")}),
    ("a check of the plan itself", {3: ("radio.polarisation", "plan.name-doubled")},
     {(3, "check-unknown", "Coast")}),
    ("a check of an unknown device", {3: ("radio.polarisation", "radio.polarisation@ferry")},
     {(3, "check-unknown", "Coast")}),
    ("unknown check", {3: ("radio.polarisation", "radio.polarization")},
     {(3, "check-unknown", "Coast")}),
    ("traffic pair of one", {2: ("camera > recorder", "camera > camera")},
     {(2, "traffic-pair-unclear", "Coast")}),
    ("traffic pair without a mark", {2: ("camera > recorder", "camera recorder")},
     {(2, "traffic-pair-unclear", "Coast")}),
    ("neighbour is the device itself", {A: ("name: eth1", "name: eth1, neighbour: lighthouse-quarry")},
     {(A, "neighbour-is-itself", "lighthouse-quarry eth1")}),
    ("address on an unknown port", {A: (
        "uplink:", "other_addresses: [{address: 198.18.20.99/24, port: eth7}], uplink:")},
     {(A, "port-of-address-unknown", "lighthouse-quarry")}),
    ("a password in the plan", {A: ("snmp: field", "snmp: field, snmp_password: hush-hush")},
     {(A, "secret-in-plan", "lighthouse-quarry")}),
    ("a community in the plan", {4: ("management:", "management:\n  community: hush-hush")},
     {(5, "secret-in-plan", "Coast")}),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "expected"), [f[1:] for f in FAULTY], ids=[f[0] for f in FAULTY]
)
def test_faulty_plan(tmp_path: Path, changes: Changes, expected: Expected) -> None:
    """Exactly these rules, about exactly these subjects, at exactly these lines."""
    found = problems_of(changed(changes), tmp_path)
    assert told(found) == expected
    assert not any("hush-hush" in str(p) for p in found)


def test_no_devices(tmp_path: Path) -> None:
    found = problems_of("network: {name: Coast}\n", tmp_path)
    assert told(found) == {(1, "nothing-planned", "Coast")}


@pytest.mark.parametrize(
    ("plan", "profiles"),
    [
        (ROOT / "tests/files/example.yaml", None),
        (ROOT / "tests/lab/plan.yaml", ROOT / "tests/lab/profiles"),
        (
            ROOT / "verifier/simulator/coastal/plan.yaml",
            ROOT / "verifier/simulator/coastal/profiles",
        ),
        (ROOT / "verifier/files/example.yaml", None),
    ],
    ids=["contract", "lab", "demo", "new --example"],
)
def test_sound_plans_are_silent(plan: Path, profiles: Path | None) -> None:
    read, reading = read_plan(plan)
    known = load_profiles({d.profile for d in read.devices}, profiles)
    assert (*reading, *check(read, (), known, profile_ids=known, today=TODAY)) == ()


CLEAN: list[tuple[str, Changes]] = [
    ("as it is", {}),
    ("a ring of uplinks, one of several suffices", {
        A: ("uplink: [quarry-lighthouse]", "uplink: [quarry-lighthouse, harbour-quarry]"),
        37: ("tx_band", "uplink: [lighthouse-quarry, quarry-harbour], tx_band"),
        38: ("tx_band", "uplink: [quarry-lighthouse, harbour-quarry], tx_band")}),
    ("two carriers", second("quarry-harbour", "harbour-quarry")),
    ("a neighbour beyond the plan", {A: ("name: eth1", "name: eth1, neighbour: core-7")}),
]  # fmt: skip


@pytest.mark.parametrize("changes", [c[1] for c in CLEAN], ids=[c[0] for c in CLEAN])
def test_clean_plan(tmp_path: Path, changes: Changes) -> None:
    assert problems_of(changed(changes), tmp_path) == ()


# --- the table ---------------------------------------------------------------------------------

ALL_FAULTY = [
    *FAULTY, *test_addresses.FAULTY, *test_radio.FAULTY, *test_devices.FAULTY,
]  # fmt: skip


def test_every_rule_has_a_faulty_plan() -> None:
    """No rule stands in the table without a small plan that shows it and nothing it does not."""
    shown = {rule for _, _, expected in ALL_FAULTY for _, rule, _ in expected}
    assert {rule.name for rule in RULES} - shown == {"nothing-planned"}
    assert len(ALL_FAULTY) >= 60


def test_the_table_is_told_in_full() -> None:
    """At least 60 rules, each name once, each with what it finds."""
    told = [*((r.name, r.about) for r in RULES), *((r.name, r.about) for r in READING)]
    assert len(RULES) >= 60
    assert len({name for name, _ in told}) == len(told)
    assert all(about for _, about in told)


def _told(node: ast.AST) -> set[tuple[str, str]]:
    """The faults that a piece of code names, with their severity."""
    severities = {"error": "error", "fatal": "error", "warn": "warning", "note": "warning"}
    if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "rule":
        words = [n.value for n in ast.walk(node.value) if isinstance(n, ast.Constant)]
        return {(w, "warning") for w in words if isinstance(w, str) and "-" in w}
    if not isinstance(node, ast.Call) or not node.args:
        return set()
    called, first = ast.unparse(node.func), node.args[0]
    if called == "notes.append" and isinstance(first, ast.Tuple):
        called, first = "note", first.elts[0]
    severity = severities.get(called.rpartition(".")[2])
    if severity is None or not isinstance(first, ast.Constant):
        return set()
    return {(str(first.value), severity)}


def test_reading_faults_are_in_the_table() -> None:
    """Every fault that reading a plan can tell stands in the table, with its severity."""
    folder = Path(verifier.__file__).parent / "files"
    others = {"read_profile.py", "credentials.py", "toml.py",
              "mapping/read_mapping.py", "observed.py"}  # fmt: skip
    found = set()
    for path in folder.rglob("*.py"):
        if path.relative_to(folder).as_posix() not in others:
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                found |= _told(node)
    assert found == {(r.name, r.severity) for r in READING}


SEVERITIES = {
    "error": "name-doubled site-unknown link-end-unknown uplink-circle address-not-a-host "
             "address-doubled gateway-outside-subnet gateway-is-itself tx-same-at-both-ends "
             "eirp-over-licence vlan-out-of-range mac-doubled",
    "warning": "address-for-documentation address-stays-local duplex-spacing-differs "
               "channel-off-raster capacity-over-key capacity-over-symbols power-over-mode "
               "licence-expired bench-overload path-length-differs copper-too-long "
               "name-differs-by-case azimuths-not-facing",
}  # fmt: skip


@pytest.mark.parametrize("severity", SEVERITIES)
def test_severities(severity: str) -> None:
    """What cannot be meant is an error, radio arithmetic a warning."""
    by_name = {r.name: r.severity for r in RULES}
    assert {by_name[name] for name in SEVERITIES[severity].split()} == {severity}


# --- for all rules -----------------------------------------------------------------------------


def test_all_faults_at_once_by_place(tmp_path: Path) -> None:
    """Faults of many kinds come together, those of reading among them, in order of line."""
    text = changed({
        5: ("198.18.20.250", "198.18.20.0"),
        15: ("266", "267"),
        33: ("quarry-harbour", "ferry"),
        A: ("02:00:5e:10:00:11", "rust", "management_vlan: 20", "management_vlan: 5000"),
    })  # fmt: skip
    found = [(line, rule) for line, rule, _ in sorted(told(problems_of(text, tmp_path)))]
    lines = [str(p.origin) for p in problems_of(text, tmp_path)]
    assert found == [
        (5, "address-not-a-host"), (27, "duplex-spacing-differs"), (33, "link-end-unknown"),
        (A, "unreadable-value"), (A, "vlan-out-of-range"),
    ]  # fmt: skip
    assert [line.split(",")[1] for line in lines] == [
        " line 5", " line 27", " line 33", f" line {A}", f" line {A}",
    ]  # fmt: skip


def test_line_numbers_sort_as_numbers(tmp_path: Path) -> None:
    """Line 9 comes before line 10, files and sheets stay together."""
    text = changed({9: ("47.1544", "147.1544"), 10: ("47.2011", "147.2011")})
    found = problems_of(text, tmp_path)
    assert [str(p.origin).split(",")[1] for p in found] == [" line 9", " line 10"]
    assert by_place(found[::-1]) == found


@pytest.mark.parametrize(
    "changes",
    [
        {8: ("latitude: 47.1000", "latitude: north")},
        {A: ("198.18.20.11/24", "198.18.20/24")},
        {A: ("uplink: [quarry-lighthouse]", "uplink: [harbour-quarry]"),
         39: ("198.18.20.14/24", "198.18.20.14")},
        {16: ("28", "wide")},
        {25: ("polarisation: V", "polarisation: up")},
        {A: ("gateway: 198.18.20.1", "gateway: router")},
        {A: ("management_vlan: 20, management_tagged: false",
             "management_vlan: twenty, management_tagged: true")},
    ],
)  # fmt: skip
def test_what_could_not_be_read_is_not_missing(tmp_path: Path, changes: Changes) -> None:
    """What was written but could not be read is told once, as unreadable."""
    rules = [p.rule for p in problems_of(changed(changes), tmp_path)]
    assert rules == ["unreadable-value"]


def test_no_devices_that_could_be_read(tmp_path: Path) -> None:
    text = "devices: [{name: one, address: nowhere}]\n"
    assert [p.rule for p in problems_of(text, tmp_path)] == ["unreadable-value"]


GARBAGE = st.one_of(
    st.text(max_size=30),
    st.integers(-(10**18), 10**18).map(str),
    st.floats(allow_nan=True).map(str),
    st.sampled_from(["null", "~", "[]", "{}", "'''", "[null]", "true", "1e309", "-0", "0", "::", "/"]),
)  # fmt: skip


@settings(
    max_examples=100,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.data())
def test_garbage_in_any_cell_is_told_never_a_traceback(tmp_path: Path, data: st.DataObject) -> None:
    """Any value of the plan replaced by anything: problems, or one message; the rest is read."""
    text = SOUND
    for _ in range(data.draw(st.integers(1, 4))):
        values = list(re.finditer(r"(?<=: )[^,\n{}\[\]]+", text))
        place = values[data.draw(st.integers(0, len(values) - 1))]
        garbage = data.draw(GARBAGE).encode("utf-8", "replace").decode()
        text = text[: place.start()] + garbage + text[place.end() :]
    try:
        problems = problems_of(text, tmp_path)
    except InputError as fault:
        problems = fault.problems
    assert all(p.rule and p.message and p.severity in {"error", "warning"} for p in problems)


ADDRESSES = st.ip_addresses().map(str).map(Address.parse)
st.register_type_strategy(Address, ADDRESSES)
st.register_type_strategy(
    Interface,
    st.builds(lambda a, p: Interface.of(a, min(p, a.bits)), ADDRESSES, st.integers(0, 128)),
)
st.register_type_strategy(
    Mac, st.binary(min_size=6, max_size=6).map(lambda b: Mac.parse(b.hex("-")))
)


@settings(max_examples=100, suppress_health_check=[HealthCheck.too_slow])
@given(st.from_type(Plan))
def test_no_plan_breaks_a_rule(plan: Plan) -> None:
    """Whatever values the model can hold, the rules end with problems."""
    for problem in check(plan, (), load_profiles(IDS), profile_ids=IDS, today=TODAY):
        assert problem.message
