"""Honest devices, broken ones and babbling neighbours, judged by whole runs; see `tests/hostile`."""

from __future__ import annotations

import dataclasses
import random
import socket
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Literal

from tests.cli.sweeping import free_port
from tests.hostile import Identity, Neighbour, babbling, heard, integer, split, tlv
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Plan
from verifier.probes.world import ThisMachine
from verifier.session import Probing, Request, run
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

PORT, OTHERS_PORT = free_port(), free_port()
PLAN = """\
network: {name: Bad company, example: true}
devices:
  - {name: lighthouse, address: 127.92.0.1/16, gateway: 127.92.255.1, snmp: community,
     ports: [{name: eth1, status: up, speed_mbps: 1000}]}
  - {name: quarry, address: 127.92.0.2/16, snmp: keys, ports: [{name: eth1, status: up}]}
  - {name: harbour, address: 127.92.0.3/16, snmp: first, ports: [{name: eth1, status: up}]}
  - {name: castle, address: 127.92.0.4/16, snmp: community}
  - {name: museum, address: 127.92.0.5/16, snmp: keys}
  - {name: signed, address: 127.92.0.6/16, snmp: signed}
  - {name: absent, address: 127.92.0.7/16, snmp: community}
  - {name: babbler, address: 127.92.0.8/16, snmp: plain}
  - {name: reporter, address: 127.92.0.9/16, snmp: strangers}
"""
"""Castle and museum have wrong names; absent does not answer; the last two are the neighbours."""
NEIGHBOURS = frozenset({"babbler", "reporter"})
ABSENT = "absent"
_TRIES = 10
_KEYS: dict[str, Any] = {
    "version": "3", "user": "ferry", "auth": "SHA-256", "auth_key": Secret("coastal-auth"),
}  # fmt: skip
ENTRIES = {
    "community": SnmpEntry(name="community", version="2c", community=Secret("coast"), port=PORT),
    "first": SnmpEntry(name="first", version="1", community=Secret("coast"), port=PORT),
    "keys": SnmpEntry(name="keys", **_KEYS, priv_key=Secret("coastal-priv"), port=PORT),
    "signed": SnmpEntry(name="signed", **{**_KEYS, "user": "pilot"}, port=PORT),
    "plain": SnmpEntry(name="plain", version="2c", community=Secret("coast"), port=OTHERS_PORT),
    "strangers": SnmpEntry(
        name="strangers", **_KEYS, priv_key=Secret("coastal-priv"), port=OTHERS_PORT
    ),
}
Verdicts = dict[tuple[str, str, str | None], tuple[str, Any]]


class Company:
    """The devices, and runs against them."""

    def __init__(self, plan: Plan, neighbours: list[Neighbour]) -> None:
        self.plan, self.neighbours = plan, neighbours
        self.chance = random.Random(92)
        self.faults: tuple[Exception, ...] = ()
        self.reasons: dict[tuple[str, str, str | None], str] = {}
        self._right: dict[tuple[str, bool], Verdicts] = {}

    @property
    def forged(self) -> int:
        return sum(n.forged for n in self.neighbours)

    def verdicts(self, command: Literal["verify", "sweep"], *, with_absent: bool) -> Verdicts:
        """What is said of the others; devices are asked in an order of chance."""
        chosen = [d for d in self.plan.devices if with_absent or d.name != ABSENT]
        probing = Probing(echoes=1, interval_s=0.01, timeout_s=1.0, snmp_timeout_s=3.0)
        request = Request(
            command=command, plan=self.plan, plan_sha256="", stage="handover",
            devices=self.chance.sample(chosen, len(chosen)), profiles=load_profiles({"mib2"}),
            credentials=ENTRIES, probing=probing,
        )  # fmt: skip
        outcome = run(request, ThisMachine())
        assert not outcome.interrupted, "a signal ended this run: it says nothing"
        self.faults = outcome.faults
        self.reasons = {(f.check, f.subject.name, f.subject.port): f.reason
                        for f in outcome.result.findings}  # fmt: skip
        return {
            (f.check, f.subject.name, f.subject.port): (f.verdict, f.observed)
            for f in outcome.result.findings
            if f.subject.name not in NEIGHBOURS
            and not f.check.startswith("echo.")
            and f.check != "snmp.engine-id"  # two say to be one engine: that may be warned of
        }

    def round(self, command: Literal["verify", "sweep"], *, with_absent: bool) -> tuple[Any, Any]:
        """What is said while the neighbours keep to themselves, and while they babble."""
        key = command, with_absent
        if key not in self._right:
            self._babble(babbling=False)
            self._right[key] = self._all_answered(command, with_absent=with_absent)
            self._babble(babbling=True)
        return self._right[key], self.verdicts(command, with_absent=with_absent)

    def _all_answered(self, command: Literal["verify", "sweep"], *, with_absent: bool) -> Verdicts:
        """What is said in quiet, once no honest device was too slow for a busy machine."""
        for _ in range(_TRIES):
            said = self.verdicts(command, with_absent=with_absent)
            slow = {name for (check, name, _), (verdict, _) in said.items()
                    if check == "snmp.answer" and verdict != "pass"}  # fmt: skip
            if slow <= {ABSENT}:
                return said
        raise AssertionError(f"{slow} do not answer, though nobody disturbs them")

    def _babble(self, *, babbling: bool) -> None:
        for neighbour in self.neighbours:
            neighbour.babbling = babbling


def _engine_of(address: str) -> bytes:
    """The engine id of an SNMPv3 agent, by a discovery of our own (RFC 3414 section 4)."""
    head = tlv(0x30, integer(7) + integer(65507) + tlv(4, b"\x04") + integer(3))
    security = tlv(4, tlv(0x30, tlv(4, b"") + integer(0) * 2 + tlv(4, b"") * 3))
    pdu = tlv(0xA0, integer(7) + integer(0) * 2 + tlv(0x30, b""))
    message = integer(3) + head + security + tlv(0x30, tlv(4, b"") * 2 + pdu)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.settimeout(10)
        asking.sendto(tlv(0x30, message), (address, PORT))
        (_, answer), *_ = split(asking.recv(65535))
    assert heard(answer) is None
    _, _, (_, fields), _ = split(answer)
    return split(split(fields)[0][1])[0][1]


@contextmanager
def company(folder: Path, *, look: bool) -> Iterator[Company]:
    """All of them, running. `look`: the neighbours see what others are asked (needs root)."""
    (folder / "plan.yaml").write_text(PLAN, encoding="utf-8")
    plan, problems = read_plan(folder / "plan.yaml")
    assert not [p for p in problems if p.severity == "error"]
    there = [d for d in plan.devices if d.name not in {ABSENT, *NEIGHBOURS}]
    honest = dataclasses.replace(plan, devices=tuple(there))
    wrong = [
        PlantedFault(kind="wrong-name", device=u, value=f"{u}-of-old") for u in ("castle", "museum")
    ]
    network = SimulatedNetwork(honest, load_profiles({"mib2"}), ENTRIES, faults=wrong)
    lies = {
        str(d.address.address): d.name.encode() if d.name in {"castle", "museum", ABSENT} else b"x"
        for d in plan.devices
        if d.name not in NEIGHBOURS
    }
    at = {d.name: str(d.address.address) for d in plan.devices}
    with ExitStack() as opened:
        opened.enter_context(running(network))
        stolen = Identity(_engine_of(at["quarry"]), 2**31 - 1, 2**31 - 1)
        neighbours = [
            Neighbour(at[name], OTHERS_PORT, name.encode(), lies, frozenset({PORT}),
                      random.Random(n), impostor=stolen if name == "reporter" else None)
            for n, name in enumerate(sorted(NEIGHBOURS))
        ]  # fmt: skip
        opened.enter_context(babbling(neighbours, look=look))
        yield Company(plan, neighbours)
