"""Typing: every fault at once, each with its place; what can be read is read."""

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from verifier.errors import InputError
from verifier.files.canonical import plan_sha256
from verifier.files.faults import Faults
from verifier.files.plan.to_model import to_plan
from verifier.files.plan.tree import Mapping, Scalar, Sequence
from verifier.files.trade_words import looks_secret
from verifier.model.plan import NotTestedOk, Plan, Service
from verifier.model.problem import Origin, Subject

DEVICE = "devices:\n- name: r\n  address: 198.18.0.1/24\n  "
LINK = "links:\n- name: h\n  a: {device: r}\n  b: {device: s}\n  "


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (DEVICE + "gateway: 198.18.0.999", "'198.18.0.999' is not an IPv4 or IPv6 address"),
        (DEVICE + "gateway: 198.18.010.1", "has a leading zero: 198.18.10.1 if meant as decimal"),
        (DEVICE + "gateway: 198.18", "'198.18' is not an IPv4 or IPv6 address"),
        (DEVICE + "gateway: [198.18.0.1]", "is a list: one value is wanted"),
        (DEVICE + "gateway: {a: b}", "is a group of fields: one value is wanted"),
        (DEVICE + "present_address: 192.0.2.1", "has no prefix length"),
        (DEVICE + "present_address: 192.0.2.1/33", "/33 is not a prefix length"),
        (DEVICE + "mac: 02:00:5e:10:00", "is not a MAC address"),
        (DEVICE + "tx_band: hihg", "is none of high, low; did you mean high?"),
        (DEVICE + "management_vlan: 20.5", "'20.5' is not a whole number"),
        (DEVICE + "management_vlan: 1e1", "'1e1' is not a whole number"),
        (DEVICE + "management_vlan: " + "9" * 5000, "characters: at most 1000 are read"),
        (DEVICE + "management_vlan: " + "9" * 30, "is not a whole number"),
        (DEVICE + "management_tagged: maybe", "is neither true nor false"),
        (DEVICE + "services: {open: [443/udp]}", "is not a TCP service: write 443/tcp"),
        (DEVICE + "services: {open: [70000/tcp]}", "a port is a number from 1 to 65535"),
        (DEVICE + "services: 443/tcp", "is one value: a group of fields is wanted"),
        (DEVICE + "ports: eth1", "is one value: a list (each entry begins with -) is wanted"),
        (DEVICE + "ports: [eth1]", "is one value: a group of fields is wanted"),
        (DEVICE + 'label: "a\\e[31mb"', "holds a character that does not print: U+001B"),
        (DEVICE + 'label: "a\\u200bb"', "holds a character that does not print: U+200B"),
        (LINK + "path_km: inf", "'inf' is not a number"),
        (LINK + "path_km: .nan", "'.nan' is not a number"),
        (LINK + "path_km: 1_000", "'1_000' is not a number"),
        (LINK + "path_km: 0x10", "'0x10' is not a number"),
        (LINK + "path_km: 1e999", "is too large a number"),
        (LINK + "path_km: '11,42'", "write a decimal point, not a comma"),
        (LINK + "path_km: 11.42 km", "write the figure alone"),
        (LINK + "path_km: \u0661\u0662", "is not a number"),
        (LINK + "licence: {valid_until: 2026-02-30}", "is no day of the calendar"),
        (LINK + "licence: {valid_until: 30.6.2031}", "write year-month-day"),
        (LINK + "protection: 1+1", "is none of 1+0"),
        (LINK + "modulation: 4qam\n  adaptive: true", "leave out adaptive"),
        (LINK + "modulation: 4qam\n  modulation_max: 4qam", "leave out modulation_max"),
        (LINK + "carriers: [{a: {device: r}, b: {device: s}}]", "a belongs into each of carriers"),
        (DEVICE + "mask: 255.255.0.0", "is /16, but the address says /24: write one"),
        (DEVICE + "mask: 255.0.255.0", "is not a mask: the ones must come first"),
        (DEVICE + "mask: [24]", "a mask is one value"),
        ("devices: [{name: r, address: 198.18.0.1}]", "has no prefix length"),
        ("devices: [{name: r, address: 198.18.0.1, mask: x}]", "'x' is not"),
        ("devices: [{name: r}]", "address is missing"),
        ("devices: [{address: 198.18.0.1/24}]", "name is missing"),
        ("links: [{name: h}]", "a and b (or carriers) is missing"),
        ("links: [{name: h, a: {device: r}}]", "b is missing"),
        ("links: [{name: h, a: {device: r}, b: {tx_mhz: 1}}]", "device is missing"),
        ("devices: {r: {address: 198.18.0.1/24}}", "is a group of fields: a list"),
        ("network: x", "is one value: a group of fields is wanted"),
        ("stage: benhc", "is none of bench, alignment, handover, service; did you mean bench?"),
        ("maintenance: [{name: m, from: 2026-12-01, to: 2026-12-02T00:00Z}]", "a date with a time"),
        ("maintenance: [{name: m, from: 2026-12-01T08:00, to: 2026-12-02T00:00Z}]", "no time zone"),
        ("maintenance: [{name: m, from: 2026-12-01T25:00Z, to: 2026-12-02T00:00Z}]", "no moment"),
        (
            "maintenance: [{name: m, from: 0001-01-01T00:30+01:00, to: 2026-12-02T00:00Z}]",
            "no moment",
        ),
        ("maintenance: [{name: m, to: 2026-12-02T00:00Z}]", "from is missing"),
    ],
)
def test_each_fault_is_told_with_its_words(read: Any, text: str, words: str) -> None:
    plan, problems = read(text)
    assert isinstance(plan, Plan)
    assert any(words in p.message for p in problems), problems
    assert all(p.severity == "error" and len(p.message) < 300 for p in problems)


def test_a_fault_takes_only_its_own_value(read: Any) -> None:
    plan, problems = read(DEVICE + "gateway: x\n  serial: 000123\n  ports: [{name: e, mtu: y}]")
    assert plan.devices[0].gateway is None
    assert plan.devices[0].serial == "000123"
    assert plan.devices[0].ports[0].mtu is None
    assert [(p.subject, str(p.origin)) for p in problems] == [
        (Subject("device", "r"), "plan.yaml, line 4, field devices[0].gateway"),
        (Subject("port", "r", port="e"), "plan.yaml, line 6, field devices[0].ports[0].mtu"),
    ]


def test_an_entry_without_its_name_or_address_is_left_out_and_the_others_stay(read: Any) -> None:
    plan, problems = read(
        "devices:\n- {name: a, address: bad}\n- {name: b, address: 198.18.0.1/24}\n"
    )
    assert [d.name for d in plan.devices] == ["b"]
    assert len(problems) == 1


def test_a_link_knows_carrier_and_end_of_a_fault(read: Any) -> None:
    _, problems = read(
        "links: [{name: h, carriers: [{carrier: 2, a: {device: r, tx_mhz: x}, b: {device: s}}]}]"
    )
    assert problems[0].subject == Subject("link", "h", carrier=2, end="a")


def test_faults_are_in_order_of_place(read: Any) -> None:
    _, problems = read("stage: x\nsites: [{name: s, latitude: y}]\ndevices: [{name: d}]\nfoo: 1\n")
    lines = [int(str(p.origin).split("line ")[1].split(",")[0]) for p in problems]
    assert lines == sorted(lines) == [1, 2, 3, 4]


@pytest.mark.parametrize(
    ("text", "name", "hint"),
    [
        (DEVICE + "gatway: 198.18.0.1", "'gatway'", "gateway"),
        (DEVICE + "Gateway: 198.18.0.1", "'Gateway'", "gateway"),
        (LINK + "modulaton: 4qam", "'modulaton'", "modulation"),
        ("devcies: []", "'devcies'", "devices"),
        ("maintenance: [{name: m, form: x}]", "'form'", "from"),
    ],
)
def test_an_unknown_field_is_a_warning_with_the_nearest_name(
    read: Any, text: str, name: str, hint: str
) -> None:
    _, problems = read(text)
    unknown = [p for p in problems if p.rule == "unknown-field"]
    assert len(unknown) == 1
    assert unknown[0].severity == "warning"
    assert name in unknown[0].message
    assert unknown[0].message.endswith(f"did you mean {hint}?")


def test_an_unknown_field_is_told_once_however_often_it_is_written(read: Any) -> None:
    _, problems = read("sites: [{name: a, colour: 1}, {name: b, colour: 2}]")
    assert len(problems) == 1


@pytest.mark.parametrize(
    "text",
    [
        DEVICE + "community: tide-table",
        DEVICE + "snmp_community: tide-table",
        DEVICE + "SNMP Community (RO): tide-table",
        DEVICE + "auth key: tide-table",
        DEVICE + "privkey: tide-table",
        DEVICE + "Passwort: tide-table",
        DEVICE + "login: {user: a, password: tide-table}",
        DEVICE + "snmp: {community: tide-table}",
        DEVICE + "gateway: [{secret: tide-table}]",
        "credentials: {snmp: {field: {auth_key: tide-table}}}",
        "passphrase: tide-table",
    ],
)
def test_a_secret_is_warned_of_and_its_value_is_nowhere(read: Any, text: str) -> None:
    plan, problems = read(text)
    secret = [p for p in problems if p.rule == "secret-in-plan"]
    assert secret
    assert all(p.severity == "warning" for p in secret)
    assert "tide-table" not in repr(problems) + repr(plan) + repr(plan.origins)


@pytest.mark.parametrize("name", ["default_community", "key_capacity_mbps"])
def test_fields_of_the_plan_are_no_secrets(read: Any, name: str) -> None:
    _, problems = read("acceptance: {default_community: true}\n" + LINK + "key_capacity_mbps: 1")
    assert problems == ()
    assert name == "key_capacity_mbps" or looks_secret(name)  # known names are looked up first


def test_a_list_may_be_written_as_one_text(read: Any) -> None:
    plan, problems = read(
        DEVICE + "uplink: a b; c\n  services: {open: 443/tcp 22/tcp}\n"
        "not_tested_ok: radio.polarisation=out of sight (by A. Example); echo.loss@a b=a=b\n"
        "management: {hosts: [{name: m, address: 2001:db8::1, uses: icmp, }]}\n"
        "acceptance: {traffic_pairs: a>b; b>a}\n"
    )
    assert problems == ()
    assert plan.devices[0].uplink == ("a b", "c")
    assert plan.devices[0].services.open == (Service(port=443), Service(port=22))
    assert plan.not_tested_ok == (
        NotTestedOk(check="radio.polarisation", reason="out of sight", by="A. Example"),
        NotTestedOk(check="echo.loss@a b", reason="a=b"),
    )
    assert plan.management.hosts[0].uses == ("icmp",)
    assert plan.acceptance.traffic_pairs == ("a>b", "b>a")


def test_modulation_alone_is_not_adaptive(read: Any) -> None:
    plan, problems = read(LINK + "modulation: 64qam")
    link = plan.links[0]
    assert problems == ()
    assert link.modulation_max == link.modulation_min == link.modulation_reference == "64qam"
    assert link.adaptive is False
    assert "line 5" in str(plan.origin("links", "h", "modulation_min"))


@pytest.mark.parametrize("mask", ["255.255.255.0", "24", "/24"])
def test_address_and_mask_are_one_interface(read: Any, mask: str) -> None:
    plan, problems = read(f"devices:\n- name: r\n  address: 198.18.0.1\n  mask: {mask}\n")
    assert problems == ()
    assert str(plan.devices[0].address) == "198.18.0.1/24"
    assert "line 4" in str(plan.origin("devices", "r", "mask"))


def test_mask_and_prefix_that_agree_are_welcome(read: Any) -> None:
    plan, problems = read(DEVICE + "mask: 255.255.255.0")
    assert problems == ()
    assert str(plan.devices[0].address) == "198.18.0.1/24"


def test_a_moment_is_kept_in_utc(read: Any) -> None:
    plan, _ = read("maintenance: [{name: m, from: 2026-12-01T08:00+02:00, to: 2026-12-01 09:00Z}]")
    assert plan.maintenance[0].start == dt.datetime(2026, 12, 1, 6, tzinfo=dt.UTC)
    assert plan.maintenance[0].start.tzinfo is dt.UTC


@pytest.mark.parametrize(("word", "band"), [("Hi", "high"), ("LO", "low"), ("High", "high")])
def test_the_trades_words_for_a_choice_are_known(read: Any, word: str, band: str) -> None:
    assert read(DEVICE + f"tx_band: {word}")[0].devices[0].tx_band == band


def test_a_number_may_carry_a_typographic_minus_or_an_exponent(read: Any) -> None:
    plan, problems = read("sites: [{name: s, latitude: \u221247.5, longitude: 1.5e1}]")
    assert problems == ()
    assert (plan.sites[0].latitude, plan.sites[0].longitude) == (-47.5, 15.0)


def test_defaults_stand_where_nothing_is_written(read: Any) -> None:
    plan, problems = read(DEVICE + "profile: null\n  location: ~\n  label: ''\n  uplink:\n")
    device = plan.devices[0]
    assert problems == ()
    assert (device.profile, device.location, device.label) == ("mib2", None, None)
    assert ("devices", "r", "location") not in plan.origins


def test_more_faults_than_anybody_reads_end_in_one_message(refused: Any) -> None:
    error = refused("sites:\n" + "- {name: s, latitude: x}\n" * 10_001)
    assert str(error) == "plan.yaml: more than 10000 faults: is this the right file?"


GARBAGE = st.one_of(
    st.text(max_size=60),
    st.from_regex(r"[0-9a-fA-F:./%x+\-eE_,]{1,40}", fullmatch=True),
    st.sampled_from(["1" * 400, "1e400", "0.0.0.0/0", "::/0", "fe80::1%", "NaN", "\ud800", "\0"]),
)


def _scalars(text: str) -> Any:
    """Every path of the example at which a scalar stands."""
    found = []
    todo: list[tuple[tuple[Any, ...], Any]] = [((), yaml.compose(text, Loader=yaml.SafeLoader))]
    while todo:
        path, node = todo.pop()
        if isinstance(node, yaml.MappingNode):
            todo += [((*path, k.value), v) for k, v in node.value]
        elif isinstance(node, yaml.SequenceNode):
            todo += [((*path, n), v) for n, v in enumerate(node.value)]
        else:
            found.append(path)
    return sorted(found, key=str)


def _tree(node: Any, path: Any, change: Any) -> Any:
    origin = Origin("plan.yaml", node.start_mark.line + 1, ".".join(map(str, path)))
    if path in change:
        return Scalar(change[path], quoted=True, origin=origin)
    if isinstance(node, yaml.MappingNode):
        items = {k.value: _tree(v, (*path, k.value), change) for k, v in node.value}
        return Mapping(items, origin)
    if isinstance(node, yaml.SequenceNode):
        entries = [_tree(v, (*path, n), change) for n, v in enumerate(node.value)]
        return Sequence(tuple(entries), origin)
    return Scalar(node.value, quoted=False, origin=origin)


@settings(
    max_examples=100,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_any_text_in_any_place_gives_a_plan_and_perhaps_faults(
    example_yaml: Path, data: Any
) -> None:
    text = example_yaml.read_text()
    paths = _scalars(text)
    change = data.draw(st.dictionaries(st.sampled_from(paths), GARBAGE, min_size=1, max_size=5))
    faults = Faults()
    tree = _tree(yaml.compose(text, Loader=yaml.SafeLoader), (), change)
    plan = to_plan(tree, faults, "")
    assert all(p.message and len(p.message) < 500 for p in faults.problems())
    assert len(plan_sha256(plan)) == 64


@settings(
    max_examples=100,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(noise=st.one_of(st.binary(max_size=300), st.text(max_size=300)))
def test_any_file_gives_a_plan_or_one_plain_error(read: Any, noise: Any) -> None:
    try:
        plan, _ = read(noise if isinstance(noise, bytes) else noise.encode(errors="replace"))
    except InputError as error:
        told = str(error)
    else:
        told = str(type(plan).__name__)
    assert told == "Plan" or told.startswith("plan.yaml") or "plan.yaml: " in told
