"""A result with its plan, as a run leaves it, and one in which every text is hostile."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from tests.as_seen import observation
from verifier.model.address import Address, Interface
from verifier.model.plan import Carrier, Device, End, Licence, Link, Network, Plan, Port
from verifier.model.problem import Origin, Subject
from verifier.model.result import Cause, Finding, PlanReference, Result, Scope
from verifier.report.style import Annex, ReportSheet, ReportStyle

HOSTILE = (
    "<script>document.title='taken'</script>",
    '"><img src=x onerror="document.title=1">',
    "</style></title></textarea><h1>taken</h1>",
    "=cmd|'/C calc'!A0",
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1+1",
    "\r\n=1+1",
    "\uff1d1+1",
    "\x1b[2J\x07\x00bell",
    "\u202egnihtyna",
    "\u2066isolated\u2069",
    "]]>&amp;<!--",
    "{{ 7 * 7 }}{% raw %}",
    "javascript:alert(1)",
    "\ufffe\uffff",
    "\ud800 alone",
    "_x000D_",
    "x" * 10_000,
)
"""Markup, formulas, control characters, marks that turn the writing round, what is endless."""


def example() -> tuple[Result, Plan]:
    """Two devices on a link; one serial is wrong, one port was not tested."""
    quarry, ferry = Subject("device", "quarry"), Subject("device", "ferry")
    findings = (
        Finding(id="f1", check="identity.name", subject=quarry, verdict="pass", expected="quarry",
                observed="quarry", reason="the device reports the planned name", evidence=(1,)),
        Finding(id="f2", check="identity.serial", subject=quarry, verdict="fail", expected="000123",
                observed="000999", reason="the device reports another serial",
                advice="is this the right device?", origin=Origin("plan.yaml", 7), caused_by=("c1",)),
        Finding(id="f3", check="port.speed", subject=Subject("port", "ferry", port="eth1"),
                verdict="not-tested", expected=1000, unit="Mbit/s", reason="no answer"),
        Finding(id="f4", check="identity.location", subject=ferry, verdict="warn",
                expected="Ferry", observed="Quarry", reason="it names another place"),
        Finding(id="f5", check="radio.rx-level", subject=Subject("link", "Hop 1", end="a"),
                verdict="pass", expected=-45.6, observed=-46.0, unit="dBm", reason="near enough"),
    )  # fmt: skip
    cause = Cause(id="c1", kind="exchanged", subject=quarry, certainty="likely",
                  text="quarry was exchanged", try_first="read the sticker", for_=("f2",))  # fmt: skip
    end = End(device="quarry", tx_mhz=13143.0, rx_level_dbm=-45.6)
    link = Link(name="Hop 1", licence=Licence(reference="EX-0001"),
                carriers=(Carrier(a=end, b=dataclasses.replace(end, device="ferry")),))  # fmt: skip
    plan = Plan(
        network=Network(name="Coast", revision="3", example=True),
        devices=(
            Device(name="quarry", address=Interface.parse("192.0.2.11/24"), serial="000123",
                   gateway=Address.parse("192.0.2.1")),
            Device(name="ferry", address=Interface.parse("192.0.2.12/24"),
                   ports=(Port(name="eth1", speed_mbps=1000),)),
        ),
        links=(link,),
    )  # fmt: skip
    seen = observation(id=1, subject=quarry, probe="snmp", what="sysName", value="quarry",
                       raw="quarry", at="2026-11-24T10:00:01.000Z", took_ms=3.1)  # fmt: skip
    weather = observation(id=2, subject=Subject("network", "Coast"), probe="person",
                          what="weather", value="fog", at="2026-11-24T10:00:01.000Z")  # fmt: skip
    result = Result(
        command="verify", stage="handover", by="A. Example", place="Harbour",
        plan=PlanReference(name="Coast", revision="3", sha256="ab" * 32, file_sha256="cd" * 32),
        scope=Scope(whole=True, devices=(2, 2), links=(1, 1)),
        started="2026-11-24T10:00:00.000Z", finished="2026-11-24T10:00:02.500Z",
        findings=findings, causes=(cause,), observations=(seen, weather),
    )  # fmt: skip
    return result, plan


def hostile() -> tuple[Result, ReportStyle]:
    """Every text of result, plan and annex that comes from outside is hostile, in turn."""
    result, plan = example()
    findings: list[Finding] = []
    devices: list[Device] = []
    links: list[Link] = []
    for text in HOSTILE:
        findings.append(
            Finding(id=f"f{len(findings)}", check="identity.serial", subject=Subject("device", text),
                    verdict="fail", expected=text, observed=text, unit=text, reason=text,
                    advice=text, origin=Origin(text))
        )  # fmt: skip
        findings.append(
            Finding(id=f"f{len(findings)}", check="port.mtu", verdict="not-tested", reason=text,
                    subject=Subject("port", text, port=text))
        )  # fmt: skip
        findings.append(Finding(id=f"f{len(findings)}", check=f"plan.{text}", verdict="warn",
                                subject=Subject("link", text), reason=text))  # fmt: skip
        devices.append(Device(name=text, address=Interface.parse("192.0.2.1/24"), site=text,
                              label=text, serial=text))  # fmt: skip
        links.append(Link(name=text, licence=Licence(reference=text),
                          carriers=(Carrier(a=End(device=text), b=End(device=text)),)))  # fmt: skip
    causes = tuple(
        Cause(id=f"c{n}", kind="x", subject=Subject("device", t), certainty="likely", text=t,
              try_first=t, for_=("f0",))
        for n, t in enumerate(HOSTILE)
    )  # fmt: skip
    entered = tuple(
        observation(
            id=n, subject=Subject("device", t), probe="person", what=t, value=t, unit=t, at=t
        )
        for n, t in enumerate(HOSTILE)
    )
    everything = "".join(HOSTILE[:-1])
    result = dataclasses.replace(
        result, findings=tuple(findings), causes=causes, observations=entered, by=everything,
        place=everything, not_in_stage=HOSTILE,
        plan=dataclasses.replace(result.plan, name=everything, revision=everything),
    )  # fmt: skip
    network = Network(name=everything, revision=everything, prepared_by=everything)
    plan = dataclasses.replace(plan, network=network, devices=tuple(devices), links=tuple(links))
    sheet = ReportSheet(name="Devices", columns=(("name", "Name"), ("serial", "Serial")),
                  rows=tuple((t, t) for t in HOSTILE))  # fmt: skip
    return result, ReportStyle(annex=Annex(plan=plan, sheets=(sheet,)))


@pytest.fixture
def sample() -> tuple[Result, ReportStyle]:
    """The example and a look with its plan."""
    result, plan = example()
    sheets = (
        ReportSheet(name="Devices", columns=(("name", "Name"), ("serial", "Serial")),
              rows=(("quarry", "000123"), ("ferry", None))),
        ReportSheet(name="Ports", columns=(("device", "Device"), ("name", "Port"),
                                     ("speed_mbps", "Speed (Mbps)")),
              rows=(("ferry", "eth1", 1000),)),
        ReportSheet(name="Links", columns=(("name", "Link"), ("a.rx_level_dbm", "Rx level A (dBm)")),
              rows=(("Hop 1", -45.6),)),
    )  # fmt: skip
    hashes = {"plan": "ab" * 32, "result": "ef" * 32}
    return result, ReportStyle(annex=Annex(plan=plan, sheets=sheets, sha256=hashes))


@pytest.fixture
def evil() -> tuple[Result, ReportStyle]:
    """The hostile one."""
    return hostile()


@pytest.fixture
def evil_texts() -> Any:
    """The texts themselves."""
    return HOSTILE
