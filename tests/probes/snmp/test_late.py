"""A thousand agents that answer late: what counts still counts, what was given up is nobody's answer."""

from __future__ import annotations

import asyncio
import gc
import multiprocessing
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import psutil
import pytest

from tests.cli.sweeping import free_port
from tests.stopwatch import patience
from verifier.files.read_profile import load_profiles
from verifier.model.address import Interface
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.mib import SYSTEM
from verifier.model.plan import Device, Network, Plan
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.engine import Engine, RequestPdu
from verifier.probes.snmp.fast import FastClient
from verifier.probes.snmp.values import SnmpReply, SnmpTarget
from verifier.probes.snmp.wire import read_header
from verifier.simulator.faults import PlantedFault
from verifier.simulator.running import Remote, running_process

HOW_MANY, UNIT_S = (1000, 1.0) if patience() == 1 else (100, 2.0)
"""A thousand, where the machine is free to ask and answer them all within the times below; and what
is a second there."""
NAME, UPTIME = SYSTEM["sysName"], SYSTEM["sysUpTime"]
DEVICES = tuple(
    Device(
        name=f"device-{n}",
        address=Interface.parse(f"127.86.{n // 250}.{n % 250 + 1}/16"),
        snmp="bench",
    )
    for n in range(HOW_MANY)
)


@contextmanager
def late_by(delay_s: float, timeout_s: float) -> Iterator[tuple[Remote, list[SnmpTarget]]]:
    """Many agents that answer so late, and how to ask them: twice, so long each time."""
    entry = SnmpEntry(name="bench", version="2c", community=Secret("harbour"), port=free_port())
    plan = Plan(network=Network(name="Late"), devices=DEVICES)
    faults = [PlantedFault(kind="slow", device=d.name, value=delay_s) for d in DEVICES]
    with running_process(plan, load_profiles({"mib2"}), {"bench": entry}, faults=faults) as remote:
        yield (
            remote,
            [
                SnmpTarget(address=d.address.address, entry=entry, timeout_s=timeout_s, retries=1)
                for d in DEVICES
            ],
        )


def names(replies: list[SnmpReply]) -> list[Any]:
    """Of each reply the name it tells, or what became of the question."""
    return [r.bindings[0].text if r.outcome == "answered" else r.outcome for r in replies]


async def ask(snmp: SnmpClient, targets: list[SnmpTarget], oid: str = NAME) -> list[SnmpReply]:
    return await asyncio.gather(*(snmp.get(target, [oid]) for target in targets))


@pytest.mark.parametrize("client", [SnmpClient, FastClient])
def test_answers_before_the_last_retry_ends_count(client: type[SnmpClient]) -> None:
    """Each is its own unit's; the answers to the second requests, which come later, are nobody's."""

    async def run(targets: list[SnmpTarget]) -> list[list[Any]]:
        async with client() as snmp:
            return [names(await ask(snmp, targets)) for _ in range(2)]

    with late_by(2.0 * UNIT_S, 1.5 * UNIT_S) as (_, targets):
        first, second = asyncio.run(run(targets))
    assert first == second == [d.name for d in DEVICES]


@pytest.mark.parametrize("client", [SnmpClient, FastClient])
def test_answers_to_questions_given_up_are_nobodys(client: type[SnmpClient]) -> None:
    """They arrive on the very socket while the next questions are out: those get their own answers."""
    process = psutil.Process()

    async def run(remote: Remote, targets: list[SnmpTarget]) -> None:
        async with client() as snmp:
            gone = await ask(snmp, targets, UPTIME)
            assert {r.outcome for r in gone} == {"silent"}
            for device in DEVICES:
                remote.take_off(PlantedFault(kind="slow", device=device.name, value=2.5 * UNIT_S))
            loop = asyncio.get_running_loop()
            until_s, rounds = loop.time() + 2.5 * UNIT_S, 0
            while loop.time() < until_s:  # the last of them arrives meanwhile
                replies = await ask(snmp, targets)
                assert names(replies) == [d.name for d in DEVICES]
                rounds += 1
            assert rounds >= 1
            waiting = [t._waiters or t._at_peer for t in snmp._transports.values()]
            assert not any(waiting), "nobody waits for what was given up"

    with late_by(2.5 * UNIT_S, 1.0 * UNIT_S) as (remote, targets):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ResourceWarning)
            gc.collect()  # files of earlier tests that nobody closed
        before = process.num_fds()
        asyncio.run(run(remote, targets))
        assert process.num_fds() <= before


def _first_ids(pipe: Any) -> None:
    entry = SnmpEntry(name="v2c", version="2c", community=Secret("harbour"))
    engine, question, peer = Engine(entry), RequestPdu("get", ((1, 3, 6),)), ("127.0.0.1", 161)
    made = [read_header(engine.encode(question, peer, lambda _: None)[1]) for _ in range(100)]
    pipe.send([header.id for header in made if header is not None])


def test_each_process_has_message_ids_of_its_own() -> None:
    """So an answer to a sweep that is over fits no question of the next one, whose process is new."""
    context = multiprocessing.get_context("fork")
    seen: list[int] = []
    for _ in range(5):
        ours, theirs = context.Pipe()
        process = context.Process(target=_first_ids, args=(theirs,))
        process.start()
        seen += ours.recv()
        process.join()
    assert len(set(seen)) == len(seen) == 500
    assert all(0 < number < 2**31 for number in seen)
