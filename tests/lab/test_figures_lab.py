"""Figures of the tool against those of iputils' ping and net-snmp's clients, on the same lab."""

from __future__ import annotations

import re
import statistics
import subprocess
from typing import Any

import pytest

from tests.lab.faults import Lab
from tests.lab.network import Unit
from tests.lab.tool import Tool, Verified

pytestmark = pytest.mark.lab

DEVICES = (
    *("lighthouse-quarry", "quarry-lighthouse", "quarry-harbour", "harbour-quarry"),
    *("harbour-clock", "ferry-harbour"),
)
DEVICE = "quarry-harbour"
SYS_UP_TIME = "1.3.6.1.2.1.1.3.0"
COLUMNS = {
    "ifName": "1.3.6.1.2.1.31.1.1.1.1",
    "ifDescr": "1.3.6.1.2.1.2.2.1.2",
    "ifAlias": "1.3.6.1.2.1.31.1.1.1.18",
}


def ping(lab: Lab, device: Unit, count: int) -> list[float]:
    """Round trip times in milliseconds of the answered echoes of iputils' ping."""
    argv = ["ping", "-n", "-c", str(count), "-i", "0.05", "-W", "1", str(device.address.ip)]
    done = subprocess.run(
        lab.inside("laptop", *argv), capture_output=True, text=True, timeout=60, check=False
    )
    return [float(t) for t in re.findall(r"icmp_seq=\d+ .*time=([\d.]+) ms", done.stdout)]


def echo(seen: Verified, device: str) -> dict[str, Any]:
    """The counted echoes to a device."""
    (counted,) = (o for o in seen.observations(device, "icmp") if o["what"] == "echo")
    return dict(counted["value"])


def plain(observation: dict[str, Any]) -> str:
    """An observation's raw value the way net-snmp's clients print it plainly."""
    kind, _, value = observation["raw"].partition(" ")
    if kind == "ObjectIdentifier":
        return f".{value}"
    if value.startswith("0x"):
        return " ".join(re.findall("..", value[2:].upper()))
    return str(value).strip('"')


@pytest.mark.parametrize("delay_ms", [5, 40])
def test_round_trip_times_agree_with_ping(lab: Lab, tool: Tool, delay_ms: int) -> None:
    """A device that answers late: the medians differ by less than 2 ms, and none is below.

    On a busy machine ping's own times are spread; so far the medians may then be apart, too.
    """
    lab.slow_echoes(DEVICE, delay_ms)
    seen = tool.verify("--device", DEVICE, "--echoes", "20", "--interval", "0.05s")
    measured = echo(seen, DEVICE)["rtt_ms"]
    theirs = ping(lab, lab.devices[DEVICE], 20)
    assert len(measured) == len(theirs) == 20
    assert min(measured) >= delay_ms
    median = statistics.median(measured)
    spread_ms = max(theirs) - min(theirs)
    assert median == pytest.approx(statistics.median(theirs), abs=2.0 + spread_ms)
    reported = seen.finding("echo.round-trip", DEVICE)
    assert (reported["unit"], reported["observed"]) == ("ms", pytest.approx(median, abs=0.001))


def test_loss_is_exactly_what_the_kernel_dropped(lab: Lab, tool: Tool) -> None:
    """The rule's own counters are the truth, for the tool (warm-up echo apart) and for ping."""
    lab.lose_echoes(DEVICE, percent=30)
    seen = tool.verify("--device", DEVICE, "--echoes", "40", "--interval", "0.05s")
    came, dropped = lab.echo_counters(DEVICE)
    counted = echo(seen, DEVICE)
    (warm_up,) = (o for o in seen.observations(DEVICE, "icmp") if o["what"] == "warm-up")
    assert counted["sent"] == 40
    assert came == 40 + 1
    assert 40 - counted["received"] == dropped - (not warm_up["value"]["replied"])
    loss = seen.finding("echo.loss", DEVICE)
    assert loss["unit"] == "%"
    assert loss["observed"] == pytest.approx(100 * (40 - counted["received"]) / 40)

    answered = len(ping(lab, lab.devices[DEVICE], 40))
    assert lab.echo_counters(DEVICE) == (came + 40, dropped + 40 - answered)


@pytest.mark.parametrize("device", DEVICES)
def test_values_are_those_of_snmpget(lab: Lab, right: Verified, device: str) -> None:
    """Every object the tool read, read again by net-snmp's own client."""
    read = {
        o["oid"]: o
        for o in right.observations(device, "snmp")
        if o["oid"] is not None and o["value"] is not None
    }
    assert len(read) > 20
    theirs: dict[str, str] = {}
    oids = list(read)
    for at in range(0, len(oids), 20):
        theirs |= lab.snmp("snmpget", device, *oids[at : at + 20])
    ticks = int(theirs.pop(SYS_UP_TIME))
    assert int(plain(read.pop(SYS_UP_TIME))) <= ticks
    assert {oid: plain(o) for oid, o in read.items()} == theirs


@pytest.mark.parametrize("device", DEVICES)
@pytest.mark.parametrize("column", COLUMNS)
def test_columns_are_those_of_snmpbulkwalk(
    lab: Lab, right: Verified, device: str, column: str
) -> None:
    """No row is missing, none is made up."""
    read = {o["oid"]: plain(o) for o in right.observations(device, "snmp") if o["what"] == column}
    assert read == lab.snmp("snmpbulkwalk", device, COLUMNS[column])
