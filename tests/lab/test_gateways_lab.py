"""The default route: what the kernel of a device has, net-snmp's agent shows, and `verify` says."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from tests.lab.faults import Lab
from tests.lab.tool import Tool

pytestmark = pytest.mark.lab

QUICK = ("--echoes", "2", "--interval", "0.1s")
NEAR, V6, ROUTED = "quarry-harbour", "harbour-clock", "ferry-harbour"
GATEWAY, OTHER = "198.18.20.1", "198.18.20.254"
MANAGER = "203.0.113.10"


@dataclass(frozen=True, kw_only=True)
class Case:
    """Routes of a device's kernel, and what is to be said of its gateway."""

    device: str = NEAR
    routes: tuple[str, ...] = ()
    verdict: str
    words: str
    found: str


CASES = {
    "forgotten": Case(verdict="fail", words="the device has no gateway", found="none"),
    "forgotten, IPv6": Case(
        device=V6, verdict="fail", words="the device has no gateway", found="none"
    ),
    "a route to the manager by the planned gateway": Case(
        routes=(f"203.0.113.0/24 via {GATEWAY}",), verdict="pass",
        words="a route to the management host by the planned gateway", found=GATEWAY,
    ),
    "a route to the manager's half by the planned gateway, to all by another": Case(
        routes=(f"203.0.113.0/25 via {GATEWAY}", f"203.0.112.0/20 via {OTHER}"), verdict="pass",
        words="a route to the management host by the planned gateway", found=GATEWAY,
    ),
    "a nearer route to the manager by another gateway": Case(
        routes=(f"203.0.113.0/24 via {GATEWAY}", f"{MANAGER}/32 via {OTHER}"), verdict="fail",
        words=MANAGER, found="none",
    ),
    "it answers from afar": Case(
        device=ROUTED, routes=("198.18.20.0/24 via 198.18.30.1",), verdict="warn",
        words="it answered 198.18.20.250, which is outside its subnet", found="none",
    ),
    "two, the better one is another": Case(
        routes=(f"default via {GATEWAY} metric 200", f"default via {OTHER} metric 100"),
        verdict="fail", words=OTHER, found=f"{OTHER}, {GATEWAY}",
    ),
    "two, the better one is planned": Case(
        routes=(f"default via {OTHER} metric 200", f"default via {GATEWAY} metric 100"),
        verdict="pass", words="planned one", found=f"{GATEWAY}, {OTHER}",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_what_the_kernel_has_is_what_is_said(lab: Lab, tool: Tool, name: str) -> None:
    """Bad and sound ones side by side, as a real agent shows a real kernel's routes."""
    case = CASES[name]
    lab.set_routes(case.device, *case.routes)
    seen = tool.verify(*QUICK, "--device", case.device)
    finding = seen.finding("address.gateway", case.device)
    assert finding["verdict"] == case.verdict, finding
    assert case.words in finding["reason"]
    assert set(finding["observed"].split(", ")) == set(case.found.split(", "))
    left = {k: v for k, v in seen.not_passed.items() if k[0] != "laptop.fit"}
    expected = {} if case.verdict == "pass" else {("address.gateway", case.device): case.verdict}
    assert {k: v for k, v in left.items() if k[1] == case.device} == expected
