"""A whole run against simulated devices: in one process and in several, whole and interrupted."""

from __future__ import annotations

import asyncio
import contextlib
import dataclasses
import datetime as dt
import itertools
import os
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.ports import free_port
from verifier.files.credentials import load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.observations import Observation
from verifier.model.problem import Subject
from verifier.model.profile import ProfileReading
from verifier.model.result import Result
from verifier.probes.world import ThisMachine
from verifier.session import Probing, Request, conductor, run
from verifier.session.ask import pollers
from verifier.session.ask.job import Poller
from verifier.session.recorder import Recorder
from verifier.session.request import Paces
from verifier.session.run import _jobs
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

PORT = free_port()
BUSY_MACHINE = 10
"""How often something is tried that a busy machine may be too slow for."""
DEVICES = 160
"""Enough for processes of their own."""


def request(folder: Path, devices: int, **more: Any) -> Request:
    rows = "".join(
        f"  - {{name: device-{n}, address: 127.91.0.{n + 1}/16, gateway: 127.91.255.1, snmp: bench,"
        " ports: [{name: eth1, status: up, speed_mbps: 1000}]}\n"
        for n in range(devices)
    )
    (folder / "plan.yaml").write_text(f"network: {{name: Many, example: true}}\ndevices:\n{rows}")
    plan, problems = read_plan(folder / "plan.yaml")
    assert problems == ()
    entry = {"PLAN_VERIFIER_BENCH_COMMUNITY": "coastal-read"}
    credentials = load_credentials({"bench"}, None, entry)
    credentials = {n: dataclasses.replace(e, port=PORT) for n, e in credentials.items()}
    values: dict[str, Any] = {
        "command": "verify",
        "plan": plan,
        "plan_sha256": "",
        "stage": "handover",
        "devices": plan.devices,
        "profiles": load_profiles({"mib2"}),
        "credentials": credentials,
        "probing": Probing(echoes=1, interval_s=0.01),
    }
    return Request(**{**values, **more})


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Request, SimulatedNetwork]]:
    """A simulated network of many devices, served from a thread."""
    asked = request(tmp_path_factory.mktemp("many"), DEVICES)
    network = SimulatedNetwork(asked.plan, asked.profiles, asked.credentials)
    with running(network):
        yield asked, network


def by_snmp(result: Result) -> list[tuple[str, str, str, Any]]:
    """Findings that rest on SNMP, without the ids of their evidence."""
    return [
        (f.check, str(f.subject), f.verdict, f.observed)
        for f in result.findings
        if not f.check.startswith(("echo.", "laptop."))
    ]


def test_processes_see_what_one_process_sees(
    many: tuple[Request, SimulatedNetwork], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same findings, faults among them, however the work is spread."""
    asked, network = many
    wrong = PlantedFault(kind="wrong-mask", device="device-7", value=24)
    network.put(wrong)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    several = run(asked, ThisMachine()).result
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    alone = run(asked, ThisMachine()).result
    network.take_off(wrong)
    assert pollers.worker_count(DEVICES) == 0
    assert by_snmp(several) == by_snmp(alone)
    assert {(c, s) for c, s, v, _ in by_snmp(alone) if v == "fail"} == {
        ("address.mask", "device-7")
    }


def test_pace_is_shared_by_all_processes(
    many: tuple[Request, SimulatedNetwork], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A limit that is given holds for all packets together, on loopback too."""
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    asked, _ = many
    limited = dataclasses.replace(asked.probing, max_packets_per_s=200.0)
    started = time.monotonic()
    result = run(dataclasses.replace(asked, probing=limited), ThisMachine()).result
    took_s = time.monotonic() - started
    packets = sum(2 + 5 for _ in asked.devices)
    assert {f.verdict for f in result.findings if f.check == "identity.name"} == {"pass"}
    assert took_s >= packets / 200 * 0.9


@pytest.mark.icmp
def test_the_dead_delay_nobody_and_are_asked_again_slowly(
    many: tuple[Request, SimulatedNetwork], monkeypatch: pytest.MonkeyPatch
) -> None:
    """30 % silent to SNMP: the others are read as fast as without them; then so many a second."""
    monkeypatch.setattr(conductor, "_AGAIN_PER_S", 20.0)
    asked, network = many
    asked = dataclasses.replace(
        asked, command="sweep", stage="service",
        probing=Probing(echoes=1, interval_s=0.01, timeout_s=0.5, snmp_timeout_s=1.0),
    )  # fmt: skip
    dead = [PlantedFault(kind="no-answer", device=f"device-{n}") for n in range(DEVICES * 3 // 10)]
    took_s = []
    for faults in ([], dead):
        for fault in faults:
            network.put(fault)
        result = run(asked, ThisMachine()).result
        names = {f.device for f in faults}
        others = [_seconds(o) for o in result.observations
                  if o.subject.name.startswith("device-") and o.subject.name not in names]  # fmt: skip
        assert len({o.subject.name for o in result.observations} - names) == 1 + DEVICES - len(
            faults
        )
        took_s.append(max(others) - min(others))
    for fault in dead:
        network.take_off(fault)
    assert took_s[1] < took_s[0] + 1.0, "less than one time of waiting for a dead one"
    first, again = (
        sorted(_seconds(o) for o in result.observations if (o.what, o.value) == (what, "silent"))
        for what in ("answer-first", "answer")
    )
    assert len(first) == len(again) == len(dead)
    assert first[-1] - first[0] < 1.0
    assert again[-1] - again[0] >= 0.9 * (len(dead) - 1) / 20.0
    verdicts = {f.subject.name: f.verdict for f in result.findings if f.check == "snmp.answer"}
    assert {name for name, verdict in verdicts.items() if verdict == "fail"} == names


def _seconds(seen: Observation[Any]) -> float:
    return dt.datetime.fromisoformat(seen.at).timestamp()


@pytest.mark.parametrize("cores", [1, 2])
def test_interrupted_in_the_middle(
    many: tuple[Request, SimulatedNetwork], monkeypatch: pytest.MonkeyPatch, cores: int
) -> None:
    """What was read by then is there; the rest is not tested and says so; nothing is left behind."""
    monkeypatch.setattr(os, "cpu_count", lambda: cores)
    asked, network = many
    slow = [
        PlantedFault(kind="slow", device=f"device-{n}", value=5.0) for n in range(0, DEVICES, 2)
    ]
    for fault in slow:
        network.put(fault)
    with interrupted_when(asked_twice(network, "device-1", monkeypatch)):
        outcome = run(asked, ThisMachine())
    for fault in slow:
        network.take_off(fault)
    answers = {f.subject.name: f for f in outcome.result.findings if f.check == "snmp.answer"}
    assert outcome.interrupted
    assert answers["device-1"].verdict == "pass"
    assert answers["device-2"].verdict == "not-tested"
    assert "interrupted" in answers["device-2"].reason


def test_a_process_that_dies_leaves_its_devices_untested(
    many: tuple[Request, SimulatedNetwork], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The others go on; nothing hangs, and nobody calls a device silent for it."""
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    asked, network = many
    slow = [PlantedFault(kind="slow", device=f"device-{n}", value=1.5) for n in range(DEVICES)]
    for fault in slow:
        network.put(fault)
    with one_more_killed():
        result = run(asked, ThisMachine()).result
    for fault in slow:
        network.take_off(fault)
    verdicts = [f.verdict for f in result.findings if f.check == "snmp.answer"]
    assert verdicts.count("not-tested") == DEVICES // 2
    assert verdicts.count("pass") == DEVICES // 2
    reasons = {f.reason for f in result.findings if f.verdict == "not-tested"}
    assert any("ended too early" in reason for reason in reasons)


def asked_twice(
    network: SimulatedNetwork, name: str, monkeypatch: pytest.MonkeyPatch
) -> threading.Event:
    """Set as soon as this device is asked its second question: its first answer was read by then."""
    device, happened, asked = network.devices[name], threading.Event(), itertools.count(1)
    real = type(device).kept_reply

    def prepared(self: Any, *words: Any) -> bytes | None:
        if self is device and next(asked) == 2:
            happened.set()
        return real(self, *words)

    monkeypatch.setattr(type(device), "kept_reply", prepared)
    return happened


@contextlib.contextmanager
def interrupted_when(happened: threading.Event) -> Iterator[None]:
    """As a terminal does: Ctrl-C goes to this process and to those that it has started since.

    Nothing is interrupted that is over before.
    """
    before, over = _children(), threading.Event()

    def interrupt() -> None:
        if happened.wait(60) and not over.is_set():
            for pid in (*(_children() - before), os.getpid()):
                os.kill(pid, signal.SIGINT)

    thread = threading.Thread(target=interrupt)
    thread.start()
    try:
        yield
    finally:
        over.set()
        happened.set()
        thread.join()


def _children() -> set[int]:
    listed = Path(f"/proc/self/task/{os.getpid()}/children").read_text()
    return {int(pid) for pid in listed.split()}


@contextlib.contextmanager
def one_more_killed() -> Iterator[None]:
    """Kills one process that is started meanwhile, a second after it appeared; never one of later."""
    before, over = _children(), threading.Event()

    def kill() -> None:
        while not (new := _children() - before):
            if over.wait(0.05):
                return
        if not over.wait(1.0):
            os.kill(min(new), signal.SIGKILL)

    thread = threading.Thread(target=kill)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def test_what_a_process_has_seen_so_far_is_handed_over_at_the_end(
    many: tuple[Request, SimulatedNetwork],
) -> None:
    """A slow device is left in the middle of its questions: what it said by then is kept."""
    asked, network = many
    network.put(slow := PlantedFault(kind="slow", device="device-3", value=0.7))
    jobs = _jobs(asked)

    async def leave(asking: Poller, record: Recorder) -> None:
        async with asking:
            poll = asyncio.create_task(asking.poll("device-3", record))
            await asyncio.sleep(1.2)
        poll.cancel()

    paces = Paces.of(asked.probing, ThisMachine(), shared=True)
    for _ in range(BUSY_MACHINE):  # may have heard nothing within that time
        record = Recorder(Subject("device", "device-3"), ThisMachine().clocks.now)
        with pollers.running_poller(jobs, paces, ThisMachine(), 2) as asking:
            asyncio.run(leave(asking, record))
        if "sysName" in {row.what for row in record.seen}:
            break
    network.take_off(slow)
    seen = {row.what: row.value for row in record.seen}
    assert (seen["answer"], seen["sysName"]) == ("answered", "device-3")
    assert "ifOperStatus" not in seen


def test_credentials_that_cannot_be_used_are_our_fault(tmp_path: Path) -> None:
    """What the library refuses to send is not tested; no unit is called silent for it."""
    asked = request(tmp_path, 1)
    short = SnmpEntry(name="bench", version="3", user="keeper", auth_key=Secret("short"))
    result = run(dataclasses.replace(asked, credentials={"bench": short}), ThisMachine()).result
    (answer,) = [f for f in result.findings if f.check == "snmp.answer"]
    assert answer.verdict == "not-tested"
    assert "8 characters" in answer.reason
    assert "short" not in answer.reason.replace("shorter", "")


@pytest.mark.parametrize("several", [3, DEVICES])
def test_a_fault_of_ours_leaves_one_device_unread_and_no_other(
    many: tuple[Request, SimulatedNetwork], several: int
) -> None:
    """A profile that no reader would let pass breaks one poll; the rest is judged."""
    asked, _ = many
    mib2 = asked.profiles["mib2"]
    faulty = ProfileReading(field="software", oid=None, type="text")  # type: ignore[arg-type]
    broken = dataclasses.replace(mib2, id="broken", reading=(faulty,))
    first = dataclasses.replace(asked.plan.devices[0], profile="broken")
    devices = (first, *asked.plan.devices[1:several])
    outcome = run(
        dataclasses.replace(asked, devices=devices, profiles={"mib2": mib2, "broken": broken}),
        ThisMachine(),
    )
    masks = {f.subject.name: f for f in outcome.result.findings if f.check == "address.mask"}
    assert len(outcome.faults) == 1
    assert masks["device-0"].verdict == "not-tested"
    assert "fault of this program" in masks["device-0"].reason
    assert {f.verdict for name, f in masks.items() if name != "device-0"} == {"pass"}


def test_default_community_is_not_tried_on_a_device_that_is_silent(tmp_path: Path) -> None:
    """What was asked for and could not be tested is said."""
    asked = request(tmp_path, 1, try_default_community=True)
    nobody = {"bench": dataclasses.replace(asked.credentials["bench"], port=PORT + 1)}
    result = run(dataclasses.replace(asked, credentials=nobody), ThisMachine()).result
    (refused,) = [f for f in result.findings if f.check == "snmp.default-refused"]
    assert refused.verdict == "not-tested"
