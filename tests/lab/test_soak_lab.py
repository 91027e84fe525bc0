"""Soak and powercycle in the lab: counters of the kernel and real agents are the judges."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.lab.faults import Lab
from tests.lab.shell import ip_batch
from tests.lab.tool import HERE, Tool, Verified
from verifier.model.problem import Subject
from verifier.rules.soak.tally import soaked

pytestmark = pytest.mark.lab

DEVICE, PEER, ROUTED = "quarry-harbour", "harbour-quarry", "ferry-harbour"
QUICK = ("--echoes", "1", "--interval", "0.05s")


def plan_with(path: Path, **acceptance: Any) -> Path:
    """The lab's plan with other limits of acceptance."""
    plan = yaml.safe_load((HERE / "plan.yaml").read_text(encoding="utf-8"))
    plan["acceptance"] = {"echo_per_s": 25, **acceptance}
    path.write_text(yaml.safe_dump(plan), encoding="utf-8")
    return path


def soak(tool: Tool, place: Path, plan: Path, long_s: str, *more: str) -> tuple[Verified, Any]:
    """A soak of one device, and its samples."""
    evidence = place / "ev.json"
    evidence.unlink(missing_ok=True)  # a run never writes over another's
    seen = tool.verify(*QUICK, f"--soak={long_s}", "--evidence", str(evidence), *more, plan=plan)
    return seen, soaked(json.loads(evidence.read_text())["parts"]["samples"])


def test_loss_is_exactly_what_nftables_dropped(lab: Lab, tool: Tool, tmp_path: Path) -> None:
    """Every echo that the rules' counters saw or dropped is one of ours, and counted as it was.

    Echoes to the device are its management path and only warn; the host beyond judges the link.
    """
    pair = "198.18.30.1>manager-1"
    lab.lose_echoes(DEVICE, percent=12)
    lab.lose_echoes("manager", percent=12)
    plan = plan_with(tmp_path / "plan.yaml", max_loss_pct=0.5, traffic_pairs=[pair])
    seen, came_to = soak(tool, tmp_path, plan, "3s", "--device", DEVICE)
    came, dropped = lab.echo_counters(DEVICE)
    before = [
        o["value"] for o in seen.observations(DEVICE, "icmp") if o["what"] in {"echo", "warm-up"}
    ]
    sent_before = sum(v.get("sent", 1) for v in before)
    heard_before = sum(v.get("received", v.get("replied", 0)) for v in before)
    mine = came_to.of(Subject("device", DEVICE))
    sent, lost = sum(f.sent for f in mine), sum(f.lost for f in mine)
    assert sent == pytest.approx(2 * 3 * 25, abs=6)
    assert came == sent + sent_before
    assert dropped == lost + sent_before - heard_before
    assert lost > 0
    finding = seen.finding("echo.loss", DEVICE)
    assert f"management path: {lost} of {sent} echoes lost" in finding["reason"]
    assert finding["verdict"] == "warn"
    assert "see traffic.loss" in finding["reason"]
    came, dropped = lab.echo_counters("manager")
    beyond = came_to.of(Subject("host", "manager-1"))
    assert came == sum(f.sent for f in beyond)
    assert dropped == sum(f.lost for f in beyond)
    finding = seen.finding("traffic.loss", pair)
    assert finding["verdict"] == "fail"
    assert f"past 198.18.30.1 to manager-1: {dropped} of {came} echoes lost" in finding["reason"]
    assert seen.finding("traffic.round-trip", pair)["expected"] is None
    assert seen.code == 1


@pytest.mark.parametrize(
    ("device", "where", "port", "told"),
    [(DEVICE, "Lighthouse", "to-quarry", ""), (ROUTED, "router", "eth2", "198.18.20.1 reports")],
    ids=["silent bridge", "router that says so"],
)  # fmt: skip
def test_mtu_is_the_smallest_on_the_way(
    lab: Lab, tool: Tool, tmp_path: Path, device: str, where: str, port: str, told: str
) -> None:
    """1400 byte on one hop: found to the byte, whether anybody says so or not."""
    plan = plan_with(tmp_path / "plan.yaml", mtu_bytes=1500)
    try:
        ip_batch(lab.namespace(where), [f"link set {port} mtu 1400"])
        seen, _ = soak(tool, tmp_path, plan, "1s", "--device", device, "--timeout", "0.2s")
    finally:
        ip_batch(lab.namespace(where), [f"link set {port} mtu 1500"])
    finding = seen.finding("echo.mtu", device)
    assert (finding["verdict"], finding["expected"], finding["observed"]) == ("fail", 1500, 1400)
    assert told in finding["reason"]


def test_a_larger_mtu_than_the_laptops_own_is_not_the_devices_fault(
    tool: Tool, tmp_path: Path
) -> None:
    """The laptop's own interface refuses it: not tested."""
    plan = plan_with(tmp_path / "plan.yaml", mtu_bytes=9000)
    seen, _ = soak(tool, tmp_path, plan, "1s", "--device", DEVICE)
    finding = seen.finding("echo.mtu", DEVICE)
    assert finding["verdict"] == "not-tested"
    assert "this laptop's own interface" in finding["reason"]


def test_interface_down_and_up_is_the_laptops_fault(lab: Lab, tool: Tool, tmp_path: Path) -> None:
    """The cable of the laptop is out for a while: nothing is lost, that time is not tested."""
    plan = plan_with(tmp_path / "plan.yaml", max_loss_pct=0, mtu_bytes=1500)
    port = lab.far_end("laptop", "eth0")
    journal = tmp_path / "ev.json.journal"

    def unplug() -> None:
        while not (journal.exists() and b'"kind":"echo"' in journal.read_bytes()):
            time.sleep(0.05)
        ip_batch(lab.namespace("Lighthouse"), [f"link set {port} down"])
        time.sleep(1.5)
        ip_batch(lab.namespace("Lighthouse"), [f"link set {port} up"])

    person = threading.Thread(target=unplug)
    person.start()
    seen, came_to = soak(tool, tmp_path, plan, "5s", "--device", DEVICE)
    person.join()
    assert sum(f.lost for f in came_to.echoes) == 0
    assert seen.finding("echo.loss", DEVICE)["verdict"] == "pass"
    assert seen.finding("echo.mtu", DEVICE)["verdict"] == "pass"
    local = seen.finding("laptop.soak", "laptop")
    assert local["verdict"] == "not-tested"
    assert "this laptop's interface eth0 was down" in local["reason"]
    (gap,) = came_to.gaps
    assert 1.0 <= gap.long_s <= 3.5
    assert seen.code == 3


# -- powercycle -------------------------------------------------------------------------------


class Restart:
    """`powercycle` in the laptop, and a person who does something once it asks."""

    def __init__(
        self,
        lab: Lab,
        tool: Tool,
        does: Callable[[], None],
        *words: str,
        plan: Path = HERE / "plan.yaml",
    ) -> None:
        files = ("--credentials", str(tool._credentials), "--profiles", str(HERE / "profiles"))
        argv = [sys.executable, "-m", "verifier", "powercycle", str(plan), *words,
                *files, "--accept-outage", "--format", "json"]  # fmt: skip
        process = subprocess.Popen(
            lab.inside("laptop", *argv), cwd=tool._directory,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert process.stderr is not None
        said = []
        for line in process.stderr:
            said.append(line)
            if line.startswith("restart "):
                break
        does()
        out, err = process.communicate(timeout=120)
        self.said = "".join(said) + err
        self.seen = Verified(
            code=process.returncode, document=json.loads(out), said=self.said, took_s=0.0
        )

    def saved(self, device: str) -> dict[str, Any]:
        return self.seen.finding("settings.saved", device)


@pytest.fixture
def agent(lab: Lab) -> Iterator[Lab]:
    """The lab, whose agents have been up for longer than a restart could be mistaken for."""
    yield lab
    lab.restore()


def test_an_agent_that_keeps_its_settings(agent: Lab, tool: Tool) -> None:
    """A real `snmpd`, killed and started again with the same settings: saved, and how long it took."""

    def restart() -> None:
        agent.stop_agents(DEVICE)
        time.sleep(1.5)
        agent.start_agents(DEVICE)

    done = Restart(agent, tool, restart, DEVICE, "--wait", "20s")
    saved = done.saved(DEVICE)
    assert saved["verdict"] == "pass", saved
    assert "settings are as before" in saved["reason"]
    assert "it answered echoes throughout, only its agent was away" in saved["reason"]
    took = done.seen.finding("state.restarts", DEVICE)
    assert 1.0 <= took["observed"] <= 10
    assert "gone after" in done.said
    assert "restarted, up for" in done.said


def test_an_agent_that_comes_back_with_others(agent: Lab, tool: Tool) -> None:
    """It has lost its name and location: what was, what is, what the plan says. Both ends at once."""

    def restart() -> None:
        agent.set_name(DEVICE, "device-0000")
        agent.stop_agents(PEER)
        time.sleep(1.2)
        agent.start_agents(PEER)

    done = Restart(agent, tool, restart, DEVICE, PEER, "--wait", "5s")
    saved = done.saved(DEVICE)
    assert saved["verdict"] == "fail", saved
    assert f"name: '{DEVICE}' before, 'device-0000' now" in saved["reason"]
    assert f"identity.name of {DEVICE} (planned {DEVICE}, found device-0000)" in saved["reason"]
    assert done.saved(PEER)["verdict"] == "pass", done.saved(PEER)
    assert done.seen.code == 1


def test_a_device_that_never_went_away(agent: Lab, tool: Tool) -> None:
    """Nobody restarted it, and that is said: nothing is proved."""
    done = Restart(agent, tool, lambda: None, DEVICE, "--wait", "1.5s")
    saved = done.saved(DEVICE)
    assert saved["verdict"] == "not-tested"
    assert "it was not restarted: it answered throughout" in saved["reason"]
    assert done.seen.code == 3


def test_a_cable_that_was_pulled_is_no_restart(agent: Lab, tool: Tool) -> None:
    """The device was away, but its uptime went on."""
    site, far_end = agent.namespace(agent.devices[DEVICE].site), agent.far_end(DEVICE, "eth1")

    def pull() -> None:
        ip_batch(site, [f"link set {far_end} down"])
        time.sleep(2.5)
        ip_batch(site, [f"link set {far_end} up"])

    done = Restart(agent, tool, pull, DEVICE, "--wait", "5s")
    saved = done.saved(DEVICE)
    assert saved["verdict"] == "not-tested", saved
    assert "its uptime went on" in saved["reason"]


def refused(lab: Lab, tool: Tool, *words: str) -> str:
    """What `powercycle` says where it does not begin: exit code 3, and nobody is asked."""
    files = ("--credentials", str(tool._credentials), "--profiles", str(HERE / "profiles"))
    argv = [sys.executable, "-m", "verifier", "powercycle", str(HERE / "plan.yaml"), *words,
            *files, "--accept-outage"]  # fmt: skip
    done = subprocess.run(
        lab.inside("laptop", *argv), cwd=tool._directory, capture_output=True, text=True,
        timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (3, ""), done.stderr
    assert not [x for x in done.stderr.splitlines() if x.startswith("restart ")]
    said = " ".join(done.stderr.split())
    assert "leave the supply on: nothing was read" in said
    return said


def test_no_reading_from_before(agent: Lab, tool: Tool) -> None:
    """A wrong community, a cable that is out, one device of two: nobody is told to switch."""
    agent.set_access(DEVICE, community="other-0000", user="nobody-0000")
    assert f"compared with: {DEVICE}: " in refused(agent, tool, DEVICE, PEER)
    agent.restore()
    site, far_end = agent.namespace(agent.devices[DEVICE].site), agent.far_end(DEVICE, "eth1")
    ip_batch(site, [f"link set {far_end} down"])
    try:
        assert f"compared with: {DEVICE}: " in refused(agent, tool, DEVICE)
    finally:
        ip_batch(site, [f"link set {far_end} up"])


def test_a_device_that_falls_back_to_a_former_address(
    agent: Lab, tool: Tool, tmp_path: Path
) -> None:
    """It is found at the address that it had before the plan's: nothing was saved."""
    plan = yaml.safe_load((HERE / "plan.yaml").read_text(encoding="utf-8"))
    device = next(d for d in plan["devices"] if d["name"] == DEVICE)
    device["present_address"] = "198.18.20.77/24"
    path = tmp_path / "plan.yaml"
    path.write_text(yaml.safe_dump(plan), encoding="utf-8")
    own = str(agent.devices[DEVICE].address)

    def fall_back() -> None:
        agent.stop_agents(DEVICE)
        move = ["address delete {} dev eth1", "address add {} dev eth1"]
        ip_batch(agent.namespace(DEVICE), [move[0].format(own), move[1].format("198.18.20.77/24")])

    try:
        done = Restart(agent, tool, fall_back, DEVICE, "--wait", "3s", plan=path)
    finally:
        ip_batch(agent.namespace(DEVICE), [
            "address delete 198.18.20.77/24 dev eth1", f"address add {own} dev eth1",
            f"route replace default via {agent.devices[DEVICE].gateway}",
        ])  # fmt: skip
        agent.start_agents(DEVICE)
    saved = done.saved(DEVICE)
    assert saved["verdict"] == "fail", saved
    assert "came back at 198.18.20.77, its former address" in saved["reason"]
    first, *others = done.seen.document["causes"]
    assert first["text"].startswith(f"nothing was saved in {DEVICE}")
    assert first["for"][0] == saved["id"]
    silent = done.seen.finding("echo.reply", DEVICE)
    assert (silent["verdict"], silent["caused_by"]) == ("fail", [first["id"]])
    assert silent["id"] not in {i for c in others for i in c["for"]}
