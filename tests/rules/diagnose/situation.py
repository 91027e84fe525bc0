"""Situations as text: a network, what was found in it, and the causes that are concluded.

A line of a situation is `SUBJECT CHECK VERDICT [EXPECTED [OBSERVED]]`, or `seen UNIT WHAT VALUE`.
A subject is a device, `unit:port`, `Hop-1/a` (an end), `Hop-1/` (a carrier without end), `Hop-1.2/a`
(an end of carrier 2) or `Hop-1` (the link). A cause is `KIND CERTAINTY SUBJECT`.
"""

from __future__ import annotations

import dataclasses
import json
from typing import Any

from tests.as_seen import observation
from tests.said import explain
from verifier.model.address import Address, Interface
from verifier.model.observations import Observation
from verifier.model.plan import Carrier, Device, End, Link, OtherAddress, Plan, Port
from verifier.model.problem import Subject
from verifier.model.profile import Limits, Profile
from verifier.model.result import Cause, Finding


def device(
    name: str, address: str, *uplink: str, gateway: str | None = None, **more: Any
) -> Device:
    values: dict[str, Any] = {"snmp": "field", "profile": "hop-radio", **more}
    return Device(name=name, address=Interface.parse(address), uplink=uplink,
                  gateway=Address.parse(gateway) if gateway else None, **values)  # fmt: skip


G20, G30, G40 = "198.18.20.1", "198.18.30.1", "198.18.40.1"
PLAN = Plan(
    devices=(
        # a -- b over Hop-1, b -- c on one site, c -- d over Hop-2; e hangs on b and d (a ring)
        device("a", "198.18.20.11/24", gateway=G20, serial="s-a",
               ports=(Port(name="eth1", neighbour="sw", media="copper"), Port(name="sfp1", media="fibre"))),
        device("b", "198.18.20.12/24", "a", gateway=G20, serial="s-b"),
        device("c", "198.18.20.13/24", "b", gateway=G20),
        device("d", "198.18.20.14/24", "c", gateway=G20, serial="s-d"),
        device("e", "198.18.20.15/24", "b", "d", gateway=G20, snmp="bench"),
        device("sw", "198.18.20.16/24", gateway=G20, snmp="bench", profile="switch",
               ports=(Port(name="p1", neighbour="a"),)),
        # a router that is a device of the plan, and what is behind it
        device("router", "198.18.20.2/24",
               other_addresses=(OtherAddress(address=Interface.parse("198.18.30.1/24")),)),
        device("r1", "198.18.30.11/24", gateway=G30),
        device("r2", "198.18.30.12/24", gateway=G30),
        # a gateway that nobody planned
        device("g1", "198.18.40.11/24", gateway=G40),
        device("g2", "198.18.40.12/24", gateway=G40),
        device("g3", "198.18.40.13/24", gateway=G40),
        # two branches behind one
        device("f", "198.18.60.11/24"),
        device("h1", "198.18.60.12/24", "f"),
        device("h2", "198.18.60.13/24", "f"),
        # a circle that hangs on nothing
        device("o1", "198.18.50.11/24", "o2"),
        device("o2", "198.18.50.12/24", "o1"),
        # both polarisations of one channel
        *(device(name, f"198.18.70.{n}/24") for n, name in enumerate(("v1", "v2", "w1", "w2"), 11)),
    ),
    links=(
        Link(name="Hop-1", carriers=(Carrier(a=End(device="a", tx_mhz=13143.0), b=End(device="b", tx_mhz=12877.0)),)),
        # 18 + 36.1 - 135.8 + 36.1 dBm by its own figures (ITU-R P.525), and planned 10 dB more
        Link(name="Hop-2", path_km=11.42, carriers=(Carrier(
            a=End(device="c", tx_mhz=12905.0, tx_power_dbm=18.0, antenna_dbi=36.1, rx_level_dbm=-35.6),
            b=End(device="d", tx_mhz=13171.0, tx_power_dbm=18.0, antenna_dbi=36.1, rx_level_dbm=-35.6)),)),
        Link(name="Hop-3", protection="2+0-xpic", carriers=(
            Carrier(a=End(device="v1", tx_mhz=13143.0), b=End(device="v2", tx_mhz=12877.0), polarisation="V"),
            Carrier(a=End(device="w1", tx_mhz=13143.0), b=End(device="w2", tx_mhz=12877.0), polarisation="H", carrier=2))),
    ),
)  # fmt: skip
PROFILES = {"hop-radio": Profile(id="hop-radio", limits=Limits(rx_max_dbm=-20.0))}


def value(text: str) -> Any:
    """A number, JSON, or text; `-` is None."""
    if text == "-":
        return None
    try:
        return json.loads(text)
    except json.JSONDecodeError:
        return text


def subject(text: str) -> Subject:
    if text.startswith("Hop"):
        name, slash, end = text.partition("/")
        name, _, carrier = name.partition(".")
        number = int(carrier or 1) if slash else None
        return Subject("link", name, carrier=number, end=end or None)  # type: ignore[arg-type]
    name, _, port = text.partition(":")
    return Subject("port", name, port=port) if port else Subject("device", name)


_REASONS = {
    "routed": "routed: x",
    "no-link": "the cable is out: no link on eth0; the device could not be tested",
}
"""Reasons of `laptop.fit` that causes are concluded from."""


def found(lines: str) -> tuple[tuple[Finding, ...], tuple[Observation[Any], ...]]:
    """The findings and observations of a situation."""
    findings: list[Finding] = []
    seen: list[Observation[Any]] = []
    for line in filter(None, map(str.strip, lines.splitlines())):
        words = line.split()
        if words[0] == "seen":
            what = value(" ".join(words[3:]))
            seen.append(observation(id=len(seen) + 1, subject=subject(words[1]), probe="snmp",
                                    what=words[2], value=what, at=""))  # fmt: skip
            continue
        who, check, verdict, *rest = words
        expected, observed = [*map(value, rest), None, None][:2]
        reason, advice = _REASONS.get(" ".join(rest), "x"), ""
        findings.append(Finding(id=f"f{len(findings) + 1}", check=check, subject=subject(who),
                                verdict=verdict, reason=reason, advice=advice,  # type: ignore[arg-type]
                                expected=expected, observed=observed))  # fmt: skip
    return tuple(findings), tuple(seen)


def explained(lines: str, plan: Plan = PLAN) -> tuple[tuple[Finding, ...], tuple[Cause, ...]]:
    findings, seen = found(lines)
    tied, causes = explain(plan, findings, seen, PROFILES)
    assert [dataclasses.replace(f, caused_by=()) for f in tied] == list(findings)
    return tied, causes


def short(cause: Cause) -> str:
    """A cause as a situation's table has it."""
    return f"{cause.kind} {cause.certainty} {str(cause.subject).replace(' ', '/')}"
