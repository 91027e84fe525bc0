"""Each form of an index finds its row on a simulated device, and what is not there says so."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests.stopwatch import patience
from verifier.model.address import Interface
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Carrier, Device, End, Link, Plan, Port
from verifier.model.problem import Subject
from verifier.model.profile import Profile, ProfileReading
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import SnmpTarget, VarBind
from verifier.probes.world import ThisMachine
from verifier.session.ask import readings
from verifier.session.ask.polls import EvidencePoll
from verifier.session.recorder import Recorder
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

LEVEL = "1.3.6.1.4.1.32473.7.1.3"
MHZ = "1.3.6.1.4.1.32473.7.1.4"
WIDTH = "1.3.6.1.4.1.32473.7.1.5"
NAME = "1.3.6.1.4.1.32473.7.2.0"
ENTRY = SnmpEntry(name="bench", version="2c", community=Secret("coastal-read"))
LOOPBACK = "127.92.0.11"


def reading(field: Any, oid: str, index: str | None = None, **more: Any) -> ProfileReading:
    return ProfileReading(field=field, oid=oid, index=index, **({"type": "integer"} | more))


SHOWN = Profile(
    id="shown",
    kind="radio",
    reading=(
        reading("rx_level_dbm", LEVEL, "radio:4", scale=0.1),
        reading("rx_level_dbm", LEVEL, "radio:12", scale=0.1),
        reading("tx_mhz", MHZ, "radio:4"),
        reading("tx_mhz", MHZ, "radio:12"),
        reading("bandwidth_mhz", WIDTH, "port:eth2"),
        reading("serial", NAME, type="text"),
    ),
)
"""What the simulated device shows: two radios in the rows 4 and 12, and a value of eth2 (row 3)."""


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    """The UDP port of a simulated device at `LOOPBACK`."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
        trial.bind(("", 0))
        free = trial.getsockname()[1]
    hop = Link(
        name="Hop",
        bandwidth_mhz=28,
        carriers=tuple(
            Carrier(
                carrier=n,
                a=End(device="near", radio=row, tx_mhz=mhz, rx_level_dbm=level, tx_power_dbm=18),
                b=End(device="far", radio=row, tx_mhz=mhz - 266, rx_level_dbm=level),
            )
            for n, row, mhz, level in ((1, 4, 13143.0, -45.6), (2, 12, 13171.0, -50.0))
        ),
    )
    near = Device(
        name="near", address=Interface.parse(f"{LOOPBACK}/24"), profile="shown", snmp="bench",
        serial="000123", ports=(Port(name="eth1"), Port(name="eth2")),
    )  # fmt: skip
    far = Device(name="far", address=Interface.parse("127.92.0.12/24"), profile="shown")
    plan = Plan(devices=(near, far), links=(hop,))
    with running(SimulatedNetwork(plan, {"shown": SHOWN}, {"bench": ENTRY}, port=free)):
        yield free


def target(port: int, **more: Any) -> SnmpTarget:
    address = Interface.parse(f"{LOOPBACK}/24").address
    usual: dict[str, Any] = {"entry": ENTRY, "timeout_s": 0.5}
    return SnmpTarget(address=address, port=port, **(usual | more))


@pytest.fixture
def read(port: int) -> Callable[..., dict[str, readings.ReadingResult]]:
    """Reads the device by a profile of these readings; what came, by name."""

    def call(*wanted: ProfileReading, **more: Any) -> dict[str, readings.ReadingResult]:
        async def run() -> dict[str, readings.ReadingResult]:
            named = Profile(id="own", reading=wanted).named_readings()
            async with SnmpClient() as client:
                asked = target(port, **more)
                return {got.name: got async for got in readings.read(client, asked, named)}

        return asyncio.run(run())

    return call


@pytest.mark.parametrize(
    ("index", "oid", "value"),
    [
        (None, LEVEL + ".4", -45.6),
        ("12", LEVEL, -50.0),
        ("first", LEVEL, -45.6),
        ("radio:1", LEVEL, -45.6),
        ("radio:2", LEVEL, -50.0),
        ("port:eth2", WIDTH, 2.8),
    ],
)
@pytest.mark.parametrize("version", ["1", "2c"])
def test_every_form_of_an_index(
    read: Any, version: Any, index: Any, oid: str, value: float
) -> None:
    """`radio:N` counts rows, whatever their index; `port:NAME` goes by the interface's name."""
    entry = SnmpEntry(name="bench", version=version, community=Secret("coastal-read"))
    (got,) = read(reading("rx_level_dbm", oid, index, scale=0.1), entry=entry).values()
    assert (got.value, got.gap) == (value, "")


@pytest.mark.parametrize(
    ("wanted", "gap"),
    [
        (reading("tx_mhz", LEVEL, "radio:3"), "the column has no such row, 2 were found"),
        (reading("tx_mhz", LEVEL, "radio:70"), "the column has no such row, 2 were found"),
        (reading("tx_mhz", NAME, "first"), "the column has no such row, 0 were found"),
        (reading("tx_mhz", MHZ, "port:eth9"), "no interface is called 'eth9'"),
        (reading("tx_mhz", MHZ, "99"), "no such object (noSuchInstance)"),
        (reading("tx_mhz", LEVEL + ".5"), "no such object (noSuchInstance)"),
        (reading("tx_mhz", "1.3.6.1.4.1.32473.9.0"), "no such object (noSuchObject)"),
        (reading("tx_modulation", LEVEL, "first", type="enumeration", values={1: "4qam"}),
         "the profile's values do not say"),
        (reading("tx_mhz", "1.3.6.1.2.1.1.5.0"), "it is not a number"),
    ],
    ids=lambda x: x.oid + str(x.index) if isinstance(x, ProfileReading) else None,
)  # fmt: skip
def test_what_is_not_there_says_so(read: Any, wanted: ProfileReading, gap: str) -> None:
    """No row, no object, no meaning: no value, and the reason."""
    (got,) = read(wanted).values()
    assert got.value is None
    assert gap in got.gap


def test_silence_is_the_reason(read: Any) -> None:
    """A device that does not answer gives no value for any form, and no exception."""
    entry = SnmpEntry(name="wrong", version="2c", community=Secret("not-it"))
    wanted = [reading("tx_mhz", MHZ + ".4"), reading("rx_mhz", MHZ, "first"),
              reading("bandwidth_mhz", WIDTH, "port:eth2")]  # fmt: skip
    found = read(*wanted, entry=entry, timeout_s=0.1 * patience(), retries=0)
    assert len(found) == 3
    assert all("silent" in got.gap and got.value is None for got in found.values())


def test_no_signal_is_no_value_and_no_gap(read: Any) -> None:
    (got,) = read(reading("rx_level_dbm", LEVEL, "first", no_signal=(-456,))).values()
    assert (got.value, got.gap, got.no_signal) == (None, "", True)


def test_one_field_of_two_radios_has_two_names(read: Any) -> None:
    """The second reading of a field is told apart by its index."""
    found = read(*(reading("tx_mhz", MHZ, f"radio:{n}") for n in (1, 2)))
    assert {name: got.value for name, got in found.items()} == {
        "tx_mhz": 13143.0, "tx_mhz radio:2": 13171.0,
    }  # fmt: skip


def test_a_poll_writes_each_reading_down(port: int) -> None:
    """One observation a reading: value, raw, OID and device; or the reason where there is none."""
    wanted = (
        reading("tx_mhz", MHZ, "radio:2", unit="MHz"), reading("serial", NAME, type="text"),
        reading("rx_mhz", MHZ, "port:eth9"),
    )  # fmt: skip
    record = Recorder(Subject("device", "near"), ThisMachine().clocks.now)
    device = Device(name="near", address=Interface.parse(f"{LOOPBACK}/24"), snmp="bench")

    async def run() -> None:
        async with SnmpClient() as client:
            profile = Profile(id="own", reading=wanted)
            await EvidencePoll(client, target(port), device, profile, record).run(10)

    asyncio.run(run())
    seen = {o.what: (o.value, o.raw, o.oid, o.unit) for o in record.seen}
    assert seen["tx_mhz"] == (13171.0, "Integer32 13171", MHZ + ".12", "MHz")
    assert seen["serial"] == ("000123", 'OctetString "000123"', NAME, None)
    assert seen["rx_mhz"] == (None, "no interface is called 'eth9'", MHZ, None)


@pytest.mark.parametrize(
    ("type_", "more", "octets", "value"),
    [
        ("integer", {"scale": 0.1}, 3, 0.3),
        ("integer", {"scale": 0.001}, 13143250, 13143.25),
        ("integer", {"scale": -0.1}, 456, -45.6),
        ("integer", {}, b"-45.6", -45.6),
        ("integer", {}, b" 7 ", 7.0),
        ("integer", {}, b"1e5", None),
        ("integer", {}, b"NaN", None),
        ("integer", {}, b"", None),
        ("integer", {"no_signal": (-99,)}, b"-99.0", None),
        ("enumeration", {"values": {8: "256qam"}}, 8, "256qam"),
        ("enumeration", {"values": {8: "256qam"}}, b"8.5", None),
        ("enumeration", {"values": {8: "256qam"}}, 3, None),
        ("text", {}, b"4.20\0", "4.20"),
        ("text", {}, b"", ""),
    ],
)
def test_decoding(type_: Any, more: Any, octets: Any, value: Any) -> None:
    """Scaled exactly, as written in decimal: 3 times 0.1 is 0.3; a decimal may come as text."""
    kind: Any = "OctetString" if isinstance(octets, bytes) else "Integer32"
    asked = reading("rx_level_dbm", LEVEL, type=type_, **more)
    assert readings.decoded(asked, VarBind(LEVEL, kind, octets)) == value
