"""Were settings saved: what hangs behind a device, what changed, and what is said of it."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from tests.as_seen import observation
from verifier.model.address import Interface
from verifier.model.observations import Observation, RestartTimes
from verifier.model.plan import Carrier, Device, End, Link, Plan, Port
from verifier.model.problem import Subject
from verifier.model.profile import Profile
from verifier.model.result import Cause, Finding
from verifier.rules.compare.judge import Judgement
from verifier.rules.observations import settings
from verifier.rules.outage import behind
from verifier.rules.powercycle import changes, judge, unread

PROFILE = Profile(id="mib2", boot_s=45)


def device(name: str, *uplink: str, **more: Any) -> Device:
    return Device(name=name, address=Interface.parse("198.18.20.11/24"), uplink=uplink, **more)


def link(name: str, a: str, b: str) -> Link:
    return Link(name=name, carriers=(Carrier(a=End(device=a), b=End(device=b)),))


CHAIN = Plan(
    devices=(device("lighthouse"), device("quarry", "lighthouse"), device("harbour", "quarry"),
             device("ferry", "harbour")),
    links=(link("Hop 1", "lighthouse", "quarry"), link("Hop 2", "harbour", "ferry")),
)  # fmt: skip
RING = Plan(
    devices=(device("lighthouse"), device("quarry", "lighthouse", "harbour"),
             device("harbour", "quarry", "ferry"), device("ferry", "lighthouse", "harbour")),
    links=(link("Hop 1", "lighthouse", "quarry"),),
)  # fmt: skip


@pytest.mark.parametrize(
    ("plan", "down", "devices", "links"),
    [
        (CHAIN, ["ferry"], (), ("Hop 2",)),
        (CHAIN, ["harbour"], ("ferry",), ("Hop 2",)),
        (CHAIN, ["quarry"], ("harbour", "ferry"), ("Hop 1", "Hop 2")),
        (CHAIN, ["lighthouse"], ("quarry", "harbour", "ferry"), ("Hop 1", "Hop 2")),
        (CHAIN, ["harbour", "ferry"], (), ("Hop 2",)),
        (RING, ["quarry"], (), ("Hop 1",)),
        (RING, ["quarry", "ferry"], ("harbour",), ("Hop 1",)),
        (RING, ["harbour"], (), ()),
    ],
)  # fmt: skip
def test_what_hangs_behind(
    plan: Plan, down: list[str], devices: tuple[str, ...], links: tuple[str, ...]
) -> None:
    """All that has no other way; in a ring there is another way unless both neighbours go."""
    cut = behind(plan, down)
    assert (cut.devices, cut.links) == (devices, links)
    assert cut.anything is bool(devices or links)


@pytest.mark.parametrize(
    ("plan", "down", "devices"),
    [
        (CHAIN, ["lighthouse"], ()),  # quarry's way is Hop 1
        (CHAIN, ["quarry"], ("harbour",)),  # both in one cabinet; ferry's way is Hop 2
        (CHAIN, ["harbour"], ()),
        (RING, ["lighthouse"], ("quarry", "harbour", "ferry")),  # all others hang on it
        (RING, ["quarry"], ()),
    ],
)
def test_what_hangs_behind_on_the_bench(
    plan: Plan, down: list[str], devices: tuple[str, ...]
) -> None:
    """No link is built: none is cut, and what lies beyond one is not reached over it."""
    cut = behind(plan, down, stage="bench")
    assert (cut.devices, cut.links) == (devices, ())
    for stage in ("alignment", "handover", "service"):
        assert behind(plan, down, stage=stage).links


DEVICE = device(
    "lighthouse-quarry", location="Lighthouse", snmp="bench", ports=(Port(name="eth1", mtu=1500),)
)
PLAN = Plan(devices=(DEVICE,))
RIGHT = {
    "sysName": DEVICE.name,
    "sysLocation": "Lighthouse",
    "tx_mhz": 13143.0,
    "rx_level_dbm": -45.0,
}


def seen(values: dict[str, Any], index: int = 3, mtu: int = 1500) -> list[Observation[Any]]:
    """What a device says; its port at some index."""
    named: dict[str, tuple[Any, str | None]] = {k: (v, None) for k, v in values.items()}
    if values:
        named |= {
            "answer": ("answered", None),
            "ifName": ("eth1", f"1.3.6.1.2.1.31.1.1.1.1.{index}"),
            "ifMtu": (mtu, f"1.3.6.1.2.1.2.2.1.4.{index}"),
        }
    return [
        observation(id=0, subject=Subject("device", DEVICE.name), probe="snmp", what=what, value=value,
                    oid=oid, at="2026-11-24T10:00:00.000Z")
        for what, (value, oid) in named.items()
    ]  # fmt: skip


def saved(
    old: list[Observation[Any]], new: list[Observation[Any]], went: RestartTimes | None
) -> tuple[Finding, list[Finding]]:
    """`settings.saved`, and all findings."""
    judged = judgement(old, new, went)
    (finding,) = (f for f in judged.findings if f.check == "settings.saved")
    return finding, list(judged.findings)


def judged_causes(
    old: list[Observation[Any]], new: list[Observation[Any]], went: RestartTimes | None
) -> tuple[Cause, ...]:
    """The causes, in order."""
    return judgement(old, new, went).causes


def judgement(
    old: list[Observation[Any]], new: list[Observation[Any]], went: RestartTimes | None
) -> Judgement:
    before = [dataclasses.replace(o, before=True) for o in old]
    restart = observation(id=0, subject=Subject("device", DEVICE.name), probe="icmp", what="restart",
                          value=went, at="2026-11-24T10:00:00.000Z")  # fmt: skip
    everything = [*new, *before, *([restart] if went else [])]
    numbered = [dataclasses.replace(o, id=n) for n, o in enumerate(everything, start=1)]
    return judge(PLAN, {"mib2": PROFILE}, numbered, stage="alignment", devices=[DEVICE])


BACK = RestartTimes(gone_s=3.0, ping_s=20.0, snmp_s=31.0, restarted=True, waited_s=180)
SITUATIONS: dict[str, tuple[list[Observation[Any]], list[Observation[Any]], RestartTimes | None, str, str]] = {
    "all as before": (seen(RIGHT), seen(RIGHT), BACK, "pass", "all 4 settings are as before"),
    "only a level differs": (
        seen(RIGHT), seen(RIGHT | {"rx_level_dbm": -47.0}), BACK, "pass", "back to echoes after 20 s"),
    "its ports have other indexes": (seen(RIGHT), seen(RIGHT, index=7), BACK, "pass", "as before"),
    "another name": (
        seen(RIGHT), seen(RIGHT | {"sysName": "device"}), BACK, "fail",
        f"name: '{DEVICE.name}' before, 'device' now. As planned before and not any more: identity.name"),
    "another location, which is a warning": (
        seen(RIGHT), seen(RIGHT | {"sysLocation": "unknown"}), BACK, "fail",
        "As planned before and not any more: identity.location of lighthouse-quarry"),
    "a frequency is gone": (
        seen(RIGHT), seen({k: v for k, v in RIGHT.items() if k != "tx_mhz"}), BACK, "fail",
        "transmit frequency: 13143.0 before, nothing now"),
    "another MTU": (seen(RIGHT), seen(RIGHT, mtu=9000), BACK, "fail", "eth1 MTU: 1500 before, 9000 now"),
    "never went away": (
        seen(RIGHT), seen(RIGHT), RestartTimes(restarted=False, waited_s=180, ping_held=True), "not-tested",
        "it was not restarted: it answered throughout the 3 min"),
    "never went away, no SNMP": (
        [], [], RestartTimes(waited_s=180, ping_held=True), "not-tested", "it was not restarted"),
    "its cable was pulled": (
        seen(RIGHT), seen(RIGHT), dataclasses.replace(BACK, restarted=False), "not-tested",
        "its uptime went on"),
    "never came back": (
        seen(RIGHT), [], RestartTimes(gone_s=3.0, waited_s=180), "fail", "did not come back within 3 min"),
    "came back at its factory address": (
        seen(RIGHT), [], RestartTimes(gone_s=3.0, waited_s=180, found_at="192.0.2.21", found_as="factory"),
        "fail", "it came back at 192.0.2.21, its factory address: nothing was saved"),
    "echoes only": (
        seen(RIGHT), [], RestartTimes(gone_s=3.0, ping_s=9.0, waited_s=180), "not-tested",
        "it gives no settings any more: back to echoes after 9 s"),
    "told nothing before": (
        [], seen(RIGHT), BACK, "not-tested", "it gave no settings before the restart"),
    "cut short": (seen(RIGHT), seen(RIGHT), None, "not-tested", "not waited for to the end"),
}  # fmt: skip


@pytest.mark.parametrize("case", SITUATIONS.values(), ids=list(SITUATIONS))
def test_what_is_said_of_a_restart(
    case: tuple[list[Observation[Any]], list[Observation[Any]], RestartTimes | None, str, str],
) -> None:
    """The verdict and the words that must be in the reason; asked at every stage."""
    old, new, went, verdict, words = case
    finding, _ = saved(old, new, went)
    assert finding.verdict == verdict, finding.reason
    assert words in finding.reason
    assert bool(finding.advice) is (verdict == "fail" or "not restarted" in str(finding.observed))


SILENT = {"sent": 5, "received": 0, "rtt_ms": [None] * 5, "duplicates": 0, "reordered": 0,
          "silence": [{"reason": "timed-out", "text": "no answer"}]}  # fmt: skip


def gone(name: str = DEVICE.name) -> list[Observation[Any]]:
    """What is seen of a device that is not at its address."""
    rows: list[tuple[Any, str, Any]] = [("icmp", "echo", SILENT), ("snmp", "answer", "silent")]
    route = {"interface": "eth0", "source": "198.18.20.250", "next_hop": None}
    laptop = {
        "interfaces": [{"name": "eth0", "up": True, "addresses": ["198.18.20.250/24"],
                        "vlan": None}], "gateways": [], "assumed": False,
    }  # fmt: skip
    return [
        observation(subject=Subject("laptop", "laptop"), probe="laptop", what="interfaces",
                    value=laptop),
        observation(subject=Subject("device", name), probe="laptop", what="route", value=route),
    ] + [
        observation(id=0, subject=Subject("device", name), probe=probe, what=what, value=value,
                    raw="no answer", at="2026-11-24T10:10:00.000Z")
        for probe, what, value in rows
    ]  # fmt: skip


@pytest.mark.parametrize("kind", ["former", "factory"])
def test_nothing_was_saved_is_the_first_cause(kind: str) -> None:
    """After a return to another address the silent one hangs on that, and on nothing else."""
    went = RestartTimes(gone_s=3.0, waited_s=180, found_at="192.0.2.21", found_as=kind)
    finding, findings = saved(seen(RIGHT), gone(), went)
    causes = judged_causes(seen(RIGHT), gone(), went)
    first = causes[0]
    assert (first.kind, first.subject.name) == ("settings-unsaved", DEVICE.name)
    assert "nothing was saved" in first.text
    assert f"192.0.2.21, its {kind} address" in first.text
    assert first.for_[0] == finding.id
    wrong = [f for f in findings if f.verdict != "pass" and not f.check.startswith("laptop.")]
    assert {f.check for f in wrong} >= {"settings.saved", "echo.reply"}
    assert all(f.caused_by == (first.id,) for f in wrong), [(f.check, f.caused_by) for f in wrong]
    assert set(first.for_) == {f.id for f in wrong}
    assert len(causes) == 1


def test_a_silent_device_that_was_not_found_keeps_its_causes() -> None:
    """Where it is is not known: what it may be is said as before."""
    went = RestartTimes(gone_s=3.0, waited_s=180)
    kinds = [c.kind for c in judged_causes(seen(RIGHT), gone(), went)]
    assert kinds
    assert "settings-unsaved" not in kinds


def found(check: str, verdict: Any, reason: str, *causes: str) -> Finding:
    return Finding(check=check, subject=Subject("device", DEVICE.name), verdict=verdict,
                   reason=reason, caused_by=causes)  # fmt: skip


@pytest.mark.parametrize(
    ("device_", "findings", "words"),
    [
        (DEVICE, [found("laptop.fit", "pass", "direct"), found("echo.reply", "fail", "no echo"),
                found("identity.name", "not-tested", "silent")], "no echo"),
        (DEVICE, [found("echo.reply", "pass", "ok"), found("neighbour.mac", "fail", "another"),
                found("snmp.answer", "not-tested", "refused")], "refused"),
        (DEVICE, [found("laptop.fit", "not-tested", "off-subnet", "c7")], "the cable is out"),
        (DEVICE, [], "it gave none of its settings"),
        (dataclasses.replace(DEVICE, snmp=None), [], "the plan says no snmp entry for it"),
    ],
)  # fmt: skip
def test_nothing_was_read_before(device_: Device, findings: list[Finding], words: str) -> None:
    """A restart would prove nothing then; why stands beside the device, its cause where known."""
    cause = Cause(id="c7", kind="x", subject=Subject("laptop", "laptop"), certainty="likely",
                  text="the cable is out")  # fmt: skip
    gaps = unread([device_], findings, [cause], gone())
    assert list(gaps) == [device_.name]
    assert gaps[device_.name].startswith(words)


def test_something_was_read_before() -> None:
    """One setting is enough to compare."""
    assert unread([DEVICE], (), (), seen({"sysName": DEVICE.name})) == {}


@pytest.mark.parametrize(("took_s", "verdict"), [(31.0, "pass"), (45.0, "pass"), (50.0, "warn")])
def test_time_to_come_back_against_the_profile(took_s: float, verdict: str) -> None:
    """`state.restarts`: how long it was away; longer than its profile's boot time is a warning."""
    _, findings = saved(seen(RIGHT), seen(RIGHT), dataclasses.replace(BACK, snmp_s=took_s))
    (uptime,) = (f for f in findings if f.check == "state.restarts")
    assert (uptime.verdict, uptime.observed, uptime.expected) == (verdict, took_s, 45)
    assert len({f.id for f in findings}) == len(findings)


def test_settings_are_read_back_from_observations() -> None:
    """Masks by address, next hops sorted; a second radio's reading has its index in its name."""
    more = [
        ("ipAdEntNetMask", "255.255.255.0", "1.3.6.1.2.1.4.20.1.3.198.18.20.11"),
        ("default-route", {"next_hop": "198.18.20.2", "metric": 1}, "x"),
        ("default-route", {"next_hop": "198.18.20.1", "metric": 1}, "y"),
        ("tx_mhz radio:2", 12877.0, "z"),
    ]
    extra = [
        observation(id=0, subject=Subject("device", DEVICE.name), probe="snmp", what=w, value=v, oid=o,
                    at="") for w, v, o in more
    ]  # fmt: skip
    found = settings(DEVICE, [*seen(RIGHT), *extra])
    assert found["mask of 198.18.20.11"] == "255.255.255.0"
    assert found["default route"] == "198.18.20.1, 198.18.20.2"
    assert found["transmit frequency radio:2"] == 12877.0
    assert found["eth1 MTU"] == 1500
    assert not changes(found, dict(found))
