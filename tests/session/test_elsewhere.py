"""`verify` and `reach` look at the present and factory address of a silent device, in memory."""

from __future__ import annotations

from typing import Literal

import pytest

from tests.session.here.scenes import (
    ENTRIES,
    FACTORY,
    LAPTOP,
    LIGHTHOUSE,
    PLAN,
    PRESENT,
    PROFILES,
    QUARRY,
    made,
    settings,
)
from verifier.model.address import Interface
from verifier.model.observations import OTHER_ADDRESS
from verifier.model.result import Finding
from verifier.session.request import Request
from verifier.session.run import run
from verifier.simulator.memory import DeviceSettings, MemoryCable, MemoryDevice, MemoryWorld

BESIDE = Interface.parse("192.0.2.250/24")


def reply(
    device: MemoryDevice | None,
    *,
    command: Literal["verify", "reach"] = "verify",
    laptop: tuple[Interface, ...] = (LAPTOP, BESIDE),
    permitted: bool = True,
) -> tuple[Finding, list[object]]:
    """`echo.reply` of the Quarry's device, and what was seen of it elsewhere."""
    with MemoryWorld(MemoryCable([device] if device is not None else []), laptop) as world:
        world.cable.permitted = permitted
        request = Request(
            command=command,
            plan=PLAN,
            plan_sha256="0" * 64,
            stage="handover",
            devices=(QUARRY,),
            profiles=PROFILES,
            credentials=ENTRIES if command == "verify" else {},
            elsewhere=True,
        )
        result = run(request, world).result
    (found,) = (f for f in result.findings if f.check == "echo.reply")
    return found, [o.value for o in result.observations if o.kind is OTHER_ADDRESS]


def test_not_moved_yet() -> None:
    """It is at its present address: said with what to set."""
    found, seen = reply(made(QUARRY, 2, settings(QUARRY, PRESENT)))
    assert found.verdict == "fail"
    assert "the device is at 192.0.2.31, its present address" in found.reason
    assert found.advice == "set 198.18.20.12/24 in the device, save, and read it again"
    assert len(seen) == 2


def test_never_set() -> None:
    """At its factory address without a name, known by its serial number."""
    found, _ = reply(made(QUARRY, 2, DeviceSettings(address=FACTORY)))
    assert "the device is at 192.0.2.20, its factory address" in found.reason


def test_nobody_anywhere() -> None:
    """Only then it is asked whether it is at another address."""
    found, _ = reply(None)
    assert "nobody is at 192.0.2.31 and 192.0.2.20 either" in found.reason
    assert found.advice == "check power, cable and port; is the device at another address?"


def test_another_one_there() -> None:
    found, _ = reply(made(LIGHTHOUSE, 1, settings(LIGHTHOUSE, PRESENT)))
    assert "at 192.0.2.31, its present address, is lighthouse-quarry" in found.reason


@pytest.mark.parametrize("permitted", [True, False])
def test_without_an_address_beside_it(permitted: bool) -> None:  # noqa: FBT001
    """By ARP where that may be asked; else nothing is said of what was not asked."""
    found, seen = reply(None, laptop=(LAPTOP,), permitted=permitted)
    assert ("nobody is at" in found.reason) is permitted
    assert len(seen) == 2


def test_reach_knows_no_credentials() -> None:
    """An echo names nobody."""
    found, _ = reply(made(QUARRY, 2, settings(QUARRY, PRESENT)), command="reach")
    assert "at 192.0.2.31, its present address, is somebody who cannot be told" in found.reason


def test_one_that_answers_is_not_looked_for() -> None:
    found, seen = reply(made(QUARRY, 2))
    assert (found.verdict, seen) == ("pass", [])
