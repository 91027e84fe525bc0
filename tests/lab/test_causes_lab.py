"""Causes in the lab: one address held twice, a router that answers for others, dead uplinks."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from tests.lab.faults import Lab
from tests.lab.test_verify_lab import QUICK, V2C, V2C_PEER, V3, V3_PEER, V6
from tests.lab.tool import HERE, Tool, Verified

pytestmark = pytest.mark.lab


def kinds(seen: Verified) -> set[tuple[str, str, str]]:
    return {(c["kind"], c["certainty"], c["subject"]["name"]) for c in seen.document["causes"]}


def test_one_address_held_twice(lab: Lab, tool: Tool) -> None:
    """Both hardware addresses are named, whoever of the two the laptop talks to."""
    lab.hold(V2C_PEER, f"{lab.devices[V3].address.ip}/32")
    seen = tool.verify(*QUICK)
    found = seen.finding("neighbour.duplicate", V3)
    assert found["verdict"] == "fail"
    assert lab.devices[V3].mac in found["observed"]
    assert lab.devices[V2C_PEER].mac in found["observed"]
    assert {(k, n) for k, _, n in kinds(seen)} >= {("address-twice", V3)}


def test_a_router_that_answers_for_everybody(lab: Lab, tool: Tool) -> None:
    """It answers for an address that nobody holds too, so an echo proves nothing: proxy ARP."""
    lab.answer_for_all("router", "eth1")
    seen = tool.verify(*QUICK)
    assert seen.finding("neighbour.proxy", V2C)["verdict"] == "warn"
    assert "nobody in the plan holds" in seen.finding("neighbour.proxy", V2C)["reason"]
    assert "proxy-arp" in {kind for kind, *_ in kinds(seen)}


def test_no_two_agents_of_the_lab_share_an_engine_id(lab: Lab) -> None:
    """Each is made for its agent, and none hangs on the moment of a start: snmpEngineID.0."""
    engine_id = "1.3.6.1.6.3.10.2.1.1.0"
    held = [lab.snmp("snmpget", device, "-Ox", engine_id)[engine_id] for device in lab.devices]
    assert len(set(held)) == len(lab.devices)
    assert all(h.replace(" ", "").startswith("80007ED905") for h in held)


def test_two_devices_with_one_engine_id(lab: Lab, tool: Tool) -> None:
    """Cloned: their names differ and their engine ids do not."""
    for device in (V3, V3_PEER):
        lab.set_engine_id(device, "80007ed9040a0b0c0d")
    assert kinds(tool.verify(*QUICK)) == {("engine-id-cloned", "certain", V3)}


def test_dead_uplink_and_agents_that_do_not_answer(lab: Lab, tool: Tool, tmp_path: Path) -> None:
    """One root for two silent devices; off, a wrong privacy key, an unknown user told apart."""
    lab.kill(V2C)
    lab.kill(V2C_PEER)
    lab.set_access(V3, priv_key="another-priv-key")
    lab.set_access(V3_PEER, user="somebody")
    lab.stop_agent(V6)
    plan = yaml.safe_load((HERE / "plan.yaml").read_text(encoding="utf-8"))
    uplinks = {V2C_PEER: [V2C], V2C: [V3_PEER]}
    for device in plan["devices"]:
        device["uplink"] = uplinks.get(device["name"], [])
    (tmp_path / "plan.yaml").write_text(yaml.safe_dump(plan, allow_unicode=True, sort_keys=False))
    seen = tool.verify(*QUICK, plan=tmp_path / "plan.yaml")
    assert kinds(seen) == {
        ("uplink-down", "likely", V2C),  # two that are off by themselves look the same
        ("snmp-off", "likely", V6),
        ("snmp-wrong-key", "likely", V3),
        ("snmp-refused", "likely", V3_PEER),  # another device there would not know the user either
    }
    root = next(c for c in seen.document["causes"] if c["kind"] == "uplink-down")
    assert set(root["for"]) == {
        f["id"] for f in seen.document["findings"]
        if f["verdict"] != "pass" and f["subject"]["name"] in {V2C, V2C_PEER, "Hop 2"}
    }  # fmt: skip
