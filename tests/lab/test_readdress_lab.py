"""Runbooks performed: each step is done in namespaces, and the kernel says whether it is right.

Before a change the device must answer the laptop; after it, when confirmed, it must answer at the new
address, and at the old one nobody, where the runbook says so.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator
from typing import Any

import pytest

from tests.lab.segment import ANSWER_S, OFFICE, Segment
from tests.rules.readdress.cases import planned
from tests.rules.readdress.replayer import judge

pytestmark = pytest.mark.lab

AFAR = {"laptop": ["203.0.113.9/24"], "laptop_gateway": "203.0.113.1", "setting": "remote"}
AFAR_V6 = {
    "laptop": ["2001:db8:ffff::9/64"],
    "laptop_gateway": "2001:db8:ffff::1",
    "setting": "remote",
}


def case(*moves: str, setting: str = "segment", many: bool = True, **more: Any) -> dict[str, Any]:
    """A case of moves: `present[,gateway] > planned[,gateway] [via UPLINK]`, devices a, b, c, ..."""
    devices: dict[str, Any] = {}
    for name, move in zip("abcdef", moves, strict=False):
        text, _, uplink = move.partition(" via ")
        old, new = (part.strip().partition(",") for part in text.split(">"))
        devices[name] = {
            "present": old[0], "present_gateway": old[2] or None,
            "planned": new[0], "gateway": new[2] or None,
            "uplink": [uplink] if uplink else [],
        }  # fmt: skip
    gateways = {g for u in devices.values() for g in (u["present_gateway"], u["gateway"]) if g}
    gateways -= set(more.pop("unit_gateways", ()))
    held = dict.fromkeys([*gateways, *more.pop("held", ())], "the gateway")
    made = {"setting": setting, "many": many, "laptop": [], "laptop_gateway": None, **more}
    if made["laptop_gateway"]:
        held[made["laptop_gateway"]] = "the laptop's gateway"
    return made | {"held": held, "devices": devices}


F, A, B = "192.0.2", "198.18.20", "198.18.30"
CASES = {
    "factory to plan": case(f"{F}.20/24 > {A}.11/24,{A}.1", f"{F}.21/24 > {A}.12/24,{A}.1"),
    "factory to plan, one address": case(f"{F}.20/24 > {A}.11/24,{A}.1", f"{F}.21/24 > {A}.12/24,{A}.1", many=False),
    "one factory address": case(f"{F}.20/24 > {A}.11/24", f"{F}.20/24 > {A}.12/24", f"{F}.20/24 > {A}.13/24", setting="one-at-a-time"),
    "one factory address, one at the laptop": case(f"{F}.20/24 > {A}.11/24", f"{F}.20/24 > {A}.12/24", setting="one-at-a-time", many=False),
    "swap": case(f"{A}.11/24 > {A}.12/24", f"{A}.12/24 > {A}.11/24"),
    "swap between subnets": case(f"{A}.11/24 > {B}.11/24", f"{B}.11/24 > {A}.11/24"),
    "swap between subnets, one address": case(f"{A}.11/24 > {B}.11/24", f"{B}.11/24 > {A}.11/24", many=False),
    "swap on the bench": case(f"{A}.11/24 > {A}.12/24", f"{A}.12/24 > {A}.11/24", setting="one-at-a-time"),
    "ring of three": case(f"{A}.11/24 > {A}.12/24", f"{A}.12/24 > {A}.13/24", f"{A}.13/24 > {A}.11/24"),
    "ring of three on the bench": case(f"{A}.11/24 > {A}.12/24", f"{A}.12/24 > {A}.13/24", f"{A}.13/24 > {A}.11/24", setting="one-at-a-time", many=False),
    "two rings": case(f"{A}.11/24 > {A}.12/24", f"{A}.12/24 > {A}.11/24", f"{B}.11/24 > {B}.12/24", f"{B}.12/24 > {B}.11/24", many=False),
    "chain": case(f"{A}.11/24 > {A}.12/24", f"{A}.12/24 > {A}.13/24", f"{A}.13/24 > {A}.14/24"),
    "chain through three subnets": case(f"{A}.11/24 > {B}.11/24", f"{B}.11/24 > {F}.11/24", f"{F}.11/24 > {A}.50/24", many=False),
    "/30 to /30": case("198.18.40.1/30 > 198.18.40.5/30", many=False),
    "/30 with its gateway": case(f"{F}.20/24 > 198.18.40.1/30", f"{F}.21/24 > 198.18.40.5/30"),
    "/30 borrowed on the bench": case(f"{F}.20/24 > 198.18.40.1/30", f"{F}.21/24 > 198.18.40.2/30", setting="one-at-a-time"),
    "/31": case(f"{F}.20/24 > 198.18.40.0/31", many=False),
    "/31 borrowed on the bench": case("198.18.40.0/31 > 198.18.41.0/31", "198.18.40.1/31 > 198.18.41.1/31", setting="one-at-a-time"),
    "mask made narrower": case(f"{A}.11/24 > {A}.11/25", f"{A}.12/24 > {A}.12/25", many=False),
    "mask made wider": case(f"{A}.11/25 > {A}.11/24", f"{A}.140/25 > {A}.140/24"),
    "gateway change": case(f"{A}.11/24,{A}.1 > {A}.11/24,{A}.254", f"{A}.12/24,{A}.1 > {A}.12/24,{A}.254"),
    "a whole subnet renumbered": case(*(f"{A}.{n}/24,{A}.1 > {B}.{n}/24,{B}.1" for n in range(11, 17)), many=False),
    "a full /29": case("198.18.40.1/29 > 198.18.40.4/29", "198.18.40.2/29 > 198.18.40.5/29", "198.18.40.3/29 > 198.18.41.3/29"),
    "the laptop moves out of the way": case(f"{F}.20/24 > {A}.250/24", laptop=[f"{A}.250/24"]),
    "IPv4 to IPv6": case(f"{F}.20/24 > 2001:db8:20::11/64", many=False),
    "IPv6 swap": case("2001:db8:20::11/64 > 2001:db8:20::12/64", "2001:db8:20::12/64 > 2001:db8:20::11/64"),
    "from afar, far end first": case(
        f"{A}.11/24,{A}.1 > {B}.11/24,{B}.1", f"{A}.12/24,{A}.1 > {B}.12/24,{B}.1 via a",
        f"{A}.13/24,{A}.1 > {B}.13/24,{B}.1 via b", **AFAR,  # type: ignore[arg-type]
    ),
    "from afar, swap": case(f"{A}.11/24,{A}.1 > {A}.12/24,{A}.1", f"{A}.12/24,{A}.1 > {A}.11/24,{A}.1", **AFAR),  # type: ignore[arg-type]
    "from afar, gateway change": case(f"{A}.11/24,{A}.1 > {A}.11/24,{A}.2", **AFAR),  # type: ignore[arg-type]
    "from afar, IPv6": case("2001:db8:20::11/64,2001:db8:20::1 > 2001:db8:30::11/64,2001:db8:30::1", **AFAR_V6),  # type: ignore[arg-type]
}  # fmt: skip


@pytest.fixture(scope="module")
def segment() -> Iterator[Segment]:
    with Segment() as built:
        yield built


def perform(segment: Segment, runbook: dict[str, Any]) -> Iterator[str]:
    """Does what the runbook says; what did not answer, or should not have."""
    case_ = segment.case
    at = {name: device["present"] for name, device in case_["devices"].items()}
    for step in runbook["steps"]:
        if step["action"] == "connect":
            segment.attach(case_["devices"] if step["device"] is None else [step["device"]])
        elif step["action"] == "set-laptop":
            segment.laptop(step["addresses"])
        elif step["action"] == "set-device":
            old, new = (step[k].split("/")[0] for k in ("from", "to"))
            if step["from"] != at[step["device"]] or not segment.answers(old):
                yield f"{step}: no contact at {old}"
            if new != old and segment.somebody(new):
                yield f"{step}: {new} is in use"
            at[step["device"]] = step["to"]
            segment.address(segment.names[step["device"]], [step["to"]], step["gateway"])
        else:
            if not segment.answers(step["address"]):
                yield f"{step}: no answer"
            if step["silent"] is not None and segment.somebody(step["silent"]):
                yield f"{step}: somebody answers at {step['silent']}"


@pytest.mark.parametrize("name", CASES)
def test_runbook_performed(segment: Segment, name: str) -> None:
    """Every device answers when it must, every left address is silent, and all get where they go."""
    runbook = planned(CASES[name])
    assert not runbook["blocked"]
    assert judge(CASES[name], runbook) == []
    segment.prepare(CASES[name])
    assert list(perform(segment, runbook)) == []


@pytest.mark.parametrize("fault", ["laptop left behind", "not saved", "two at one address"])
def test_a_wrong_runbook_is_found_out(
    segment: Segment, monkeypatch: pytest.MonkeyPatch, fault: str
) -> None:
    """The lab is no judge that nods: a runbook that is spoiled fails in it."""
    name = "factory to plan, one address" if fault == "laptop left behind" else "swap"
    monkeypatch.setattr(segment, "silence_s", ANSWER_S)  # somebody answers, which must be heard
    segment.prepare(CASES[name])
    runbook = planned(CASES[name])
    steps = runbook["steps"]
    if fault == "laptop left behind":
        runbook["steps"] = [s for n, s in enumerate(steps) if s["action"] != "set-laptop" or n == 0]
    elif fault == "not saved":
        change = next(s for s in steps if s["action"] == "set-device")
        change["to"] = change["from"]
    else:
        runbook["steps"] = [s for s in steps if not s.get("temporary")]
    assert next(perform(segment, runbook), None) is not None


def test_cases_are_many_and_valid() -> None:
    """At least 25 unlike cases; every address is of the ranges kept for examples."""
    assert len({str(c) for c in CASES.values()}) >= 25
    assert all(ipaddress.ip_interface(a) for a in OFFICE)
