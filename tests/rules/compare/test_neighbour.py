"""Who answers for an address: several, one for everybody, one after the other."""

from __future__ import annotations

from typing import Any

import pytest

from tests.as_seen import observation
from tests.said import compare
from verifier.model.address import Interface
from verifier.model.plan import Device, Plan
from verifier.model.problem import Subject
from verifier.model.profile import Profile
from verifier.model.result import Finding

pytestmark = pytest.mark.usefixtures("words")

M1, M2, ROUTER = "02:00:5e:10:00:01", "02:00:5e:10:00:02", "02:00:5e:10:00:99"
PLAN = Plan(devices=tuple(
    Device(name=name, address=Interface.parse(f"198.18.20.{n}/24"), snmp="field")
    for n, name in enumerate(("lighthouse-quarry", "quarry-lighthouse"), start=11)
))  # fmt: skip
A, B = (d.name for d in PLAN.devices)
Seen = tuple[str | None, str, Any]
"""A device (None: the laptop), what was seen, its value."""
FREE = (None, "unplanned-answer", {"address": "198.18.20.254", "macs": [ROUTER]})
HELD = {"oid": "1.3.6.1.2.1.4.20.1.3.198.18.20.254"}


def found(*seen: Seen) -> tuple[list[Finding], list[tuple[str, str]]]:
    """The findings about who holds an address or answers to a name, and the causes."""
    observations = [
        observation(
            id=n, subject=Subject("device", device) if device else Subject("laptop", "laptop"),
            probe="neighbour", what=what, value=value, at="",
            oid=HELD["oid"] if what == "ipAdEntNetMask" else None,
        )
        for n, (device, what, value) in enumerate(seen, start=1)
    ]  # fmt: skip
    judged = compare(PLAN, {"mib2": Profile(id="mib2")}, observations)
    wanted = {"neighbour.duplicate", "neighbour.proxy", "identity.name"}
    findings = [f for f in judged.findings if f.check in wanted and f.verdict != "not-tested"]
    return findings, [(c.kind, c.subject.name) for c in judged.causes]


@pytest.mark.parametrize(
    ("seen", "checks", "causes"),
    [
        ([(A, "holders", [M1]), (B, "holders", [M2])], [], []),
        ([(A, "answer", "answered"), (A, "holders", [M1, M2])], [("neighbour.duplicate", A, "fail")], [("address-twice", A)]),
        ([(A, "holders", [ROUTER]), (B, "holders", [M2]), FREE],
         [("neighbour.proxy", A, "warn")], [("proxy-arp", A)]),
        ([(A, "holders", [M1]), FREE], [], []),
        ([(A, "holders", [ROUTER]), FREE, (A, "ipAdEntNetMask", "255.255.255.0")], [], []),
        ([(A, "answer", "answered"), (A, "sysName", A), (A, "sysName", "ferry")],
         [("identity.name", A, "fail")], [("address-twice", A)]),
        ([(A, "answer", "answered"), (A, "sysName", A), (A, "sysName", A)],
         [("identity.name", A, "pass")], []),
    ],
    ids=["each its own", "two for one", "one for what nobody holds", "a stranger at a free address",
         "the device's own further address", "two names in turn", "one name twice"],
)  # fmt: skip
def test_holders(
    seen: list[Seen], checks: list[tuple[str, str, str]], causes: list[tuple[str, str]]
) -> None:
    """Exactly these findings, and the causes that follow."""
    findings, because = found(*seen)
    assert [(f.check, f.subject.name, f.verdict) for f in findings] == checks
    assert because == causes
    assert all(f.evidence for f in findings)
