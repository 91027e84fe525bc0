"""Three real agents with SNMPv3, and a neighbour that sends Reports to their questions."""

from __future__ import annotations

import asyncio
import os
import random
from typing import Any

import pytest

from tests.cli.sweeping import free_port
from tests.hostile import Identity, Neighbour, babbling
from tests.probes.conftest import snmpd
from tests.probes.snmp.test_snmpd import CONFIG, NAME, V2C, V3
from verifier.model.address import Address
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import SnmpReply, SnmpTarget

__all__ = ["snmpd"]
pytestmark = pytest.mark.snmpd
HONEST = ("127.0.0.121", "127.0.0.122", "127.0.0.123")
AT = "127.0.0.124"


@pytest.mark.parametrize("entry", [V3, V2C], ids=["v3 authPriv", "v2c"])
def test_reports_of_a_neighbour_fail_nobody(snmpd: Any, entry: Any) -> None:
    """net-snmp's agents: asked beside it ten times, from discovery on, each gives its own answer."""
    agents = [snmpd(CONFIG, address) for address in HONEST]
    neighbour = Neighbour(
        AT, free_port(), b"neighbour", dict.fromkeys(HONEST, b"another"),
        frozenset(a.port for a in agents), random.Random(1), impostor=Identity(boots=2**31 - 1),
    )  # fmt: skip

    def target(address: str, port: int) -> SnmpTarget:
        return SnmpTarget(address=Address.parse(address), port=port, entry=entry, timeout_s=3.0)

    async def run() -> tuple[list[SnmpReply], list[SnmpReply]]:
        replies: list[SnmpReply] = []
        async with SnmpClient() as alone:
            honest = [target(a.address, a.port) for a in agents]
            right = await asyncio.gather(*(alone.get(to, [NAME]) for to in honest))
        for _ in range(10):
            async with SnmpClient() as snmp:
                asks = [snmp.get(target(AT, neighbour.port), [NAME])]
                asks += [snmp.get(to, [NAME]) for to in honest]
                replies += (await asyncio.gather(*asks))[1:]
        return right, replies

    with babbling([neighbour], look=os.geteuid() == 0):
        right, replies = asyncio.run(run())
    assert {r.outcome for r in right} == {"answered"}
    assert [(r.outcome, r.bindings, r.elsewhere) for r in replies] == [
        ("answered", one.bindings, ()) for one in right
    ] * 10
    assert neighbour.forged
