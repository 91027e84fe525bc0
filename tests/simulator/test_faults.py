"""Every fault is seen from outside, by the project's own client, and is gone when taken off."""

from __future__ import annotations

import time

import pytest

from tests.simulator.conftest import ENTRIES
from tests.stopwatch import Stopwatch
from verifier.errors import UsageError
from verifier.files.read_profile import load_profiles
from verifier.model import mib
from verifier.simulator.faults import KINDS, PlantedFault
from verifier.simulator.network import SimulatedNetwork

RADIO, FAR, SWITCH = "lighthouse-quarry", "quarry-lighthouse", "lighthouse-switch"
LINK = "Hop 1"
PROFILE = "1.3.6.1.4.1.32473.1.1"
NAME, LOCATION, UPTIME = (mib.SYSTEM[n] for n in ("sysName", "sysLocation", "sysUpTime"))
LEVEL, TX_MODULATION, RX_MODULATION = f"{PROFILE}.1.0", f"{PROFILE}.2.0", f"{PROFILE}.3.0"
TX_MHZ, POWER, UNSAVED, TX_ON = (f"{PROFILE}.{n}.0" for n in (4, 7, 9, 10))
LOCKED, FAR_NAME, ERRORED, SERIAL, FORCED = (f"{PROFILE}.{n}.0" for n in (14, 16, 20, 26, 34))
RX_MHZ, BANDWIDTH, POWER_SET, ATPC, SNR = (f"{PROFILE}.{n}.0" for n in (5, 6, 8, 11, 12))
LINK_ID, TEST_MODE, ALARM, SOFTWARE = (f"{PROFILE}.{n}.0" for n in (15, 23, 24, 25))
NTP_LOCKED, POLARISATION = f"{PROFILE}.29.0", f"{PROFILE}.33.0"
DUPLEX, MTU = "1.3.6.1.2.1.10.7.2.1.19.2", f"{mib.IF_TABLE['ifMtu']}.2"
MASK = mib.IP_ADDR_TABLE["ipAdEntNetMask"] + ".127.80.0.11"
PREFIX = mib.IP_ADDRESS_TABLE["ipAddressPrefix"] + ".1.4.127.80.0.11"
ETH1 = 2
OPER, ADMIN, SPEED = (
    f"{mib.IF_TABLE[n]}.{ETH1}" for n in ("ifOperStatus", "ifAdminStatus", "ifSpeed")
)
HIGH_SPEED = f"{mib.IF_X_TABLE['ifHighSpeed']}.{ETH1}"
IN_ERRORS, FCS = f"1.3.6.1.2.1.2.2.1.14.{ETH1}", f"1.3.6.1.2.1.10.7.2.1.3.{ETH1}"
CIDR = f"{mib.IP_CIDR_ROUTE_TYPE}.0.0.0.0.0.0.0.0.0"
ROUTE = mib.IP_ROUTE_NEXT_HOP_DEFAULT

SEEN = [
    # fault, device, objects, values when it is on; the values without it follow from the plan
    (PlantedFault(kind="wrong-name", device=RADIO), RADIO, [NAME], ["lighthouse-quarry-spare"]),
    (PlantedFault(kind="wrong-name", device=RADIO, value="bench 7"), RADIO, [NAME], ["bench 7"]),
    (PlantedFault(kind="wrong-name", device=RADIO, value="bench 7"), FAR, [FAR_NAME], ["bench 7"]),
    (PlantedFault(kind="swapped-ends", link=LINK), RADIO, [NAME, LOCATION, SERIAL, TX_MHZ, FAR_NAME],
     [FAR, "Quarry", "000124", 12877000, RADIO]),
    (PlantedFault(kind="swapped-ends", link=LINK), FAR, [NAME, LOCATION, SERIAL, TX_MHZ, FAR_NAME],
     [RADIO, "Lighthouse", "000123", 13143000, FAR]),
    (PlantedFault(kind="wrong-mask", device=RADIO), RADIO, [MASK, PREFIX],
     ["255.255.0.0", f"{mib.IP_ADDRESS_PREFIX_ENTRY}.1.1.4.127.80.0.0.16"]),
    (PlantedFault(kind="wrong-mask", device=RADIO, value=25), RADIO, [MASK], ["255.255.255.128"]),
    (PlantedFault(kind="wrong-gateway", device=RADIO), RADIO, [ROUTE, f"{CIDR}.127.80.0.3"],
     ["127.80.0.3", 4]),
    (PlantedFault(kind="wrong-gateway", device=RADIO, value="127.80.0.254"), RADIO, [ROUTE],
     ["127.80.0.254"]),
    (PlantedFault(kind="port-down", device=RADIO), RADIO, [OPER, ADMIN, SPEED], [2, 1, 1_000_000_000]),
    (PlantedFault(kind="port-slow", device=RADIO), RADIO, [OPER, SPEED, HIGH_SPEED], [1, 100_000_000, 100]),
    (PlantedFault(kind="port-slow", device=RADIO, port="eth1", value=10), RADIO, [HIGH_SPEED], [10]),
    (PlantedFault(kind="level-low", device=RADIO), RADIO, [LEVEL], [-576]),
    (PlantedFault(kind="level-low", device=RADIO, value=3), RADIO, [LEVEL], [-486]),
    (PlantedFault(kind="level-low", device=RADIO), FAR, [LEVEL], [-458]),
    (PlantedFault(kind="level-low", device=RADIO, value=24), RADIO, [RX_MODULATION, TX_MODULATION], [3, 8]),
    (PlantedFault(kind="level-low-both", link=LINK), RADIO, [LEVEL], [-576]),
    (PlantedFault(kind="level-low-both", link=LINK), FAR, [LEVEL], [-578]),
    (PlantedFault(kind="power-low", device=RADIO, value=6), RADIO, [POWER], [120]),
    (PlantedFault(kind="power-low", device=RADIO, value=6), FAR, [LEVEL], [-518]),
    (PlantedFault(kind="alignment-left", device=RADIO), RADIO, [TX_MODULATION, POWER], [1, 260]),
    (PlantedFault(kind="alignment-left", device=RADIO), FAR, [LEVEL, RX_MODULATION], [-378, 1]),
    (PlantedFault(kind="muted", device=RADIO), RADIO, [TX_ON, LEVEL], [2, -456]),
    (PlantedFault(kind="muted", device=RADIO), FAR, [LEVEL, LOCKED, FAR_NAME], [-990, 2, ""]),
    (PlantedFault(kind="unsaved", device=RADIO), RADIO, [UNSAVED], [1]),
    (PlantedFault(kind="switch-forced", device=RADIO), RADIO, [FORCED], [2]),
    (PlantedFault(kind="level-high", device=RADIO), RADIO, [LEVEL], [-336]),
    (PlantedFault(kind="power-set", device=RADIO), RADIO, [POWER, POWER_SET], [220, 220]),
    (PlantedFault(kind="power-low", device=RADIO, value=6), RADIO, [POWER, POWER_SET], [120, 180]),
    (PlantedFault(kind="frequency", device=RADIO), RADIO, [TX_MHZ], [13157000]),
    (PlantedFault(kind="frequency", device=RADIO), FAR, [LEVEL, LOCKED], [-990, 2]),
    (PlantedFault(kind="frequencies-crossed", link=LINK), RADIO, [TX_MHZ, RX_MHZ, LEVEL, LOCKED],
     [12877000, 13143000, -456, 1]),
    (PlantedFault(kind="bandwidth", device=RADIO), RADIO, [BANDWIDTH, LOCKED], [14000, 2]),
    (PlantedFault(kind="link-id", device=RADIO), RADIO, [LINK_ID, LOCKED], ["other", 2]),
    (PlantedFault(kind="link-id", device=RADIO), FAR, [LEVEL, LOCKED], [-458, 2]),
    (PlantedFault(kind="key", device=RADIO), FAR, [LEVEL, LOCKED], [-458, 2]),
    (PlantedFault(kind="polarisation", device=RADIO), RADIO, [POLARISATION, LEVEL], [2, -736]),
    (PlantedFault(kind="polarisation", device=RADIO), FAR, [LEVEL], [-738]),
    (PlantedFault(kind="modulation", device=RADIO), RADIO, [TX_MODULATION, POWER], [1, 180]),
    (PlantedFault(kind="modulation", device=RADIO), FAR, [RX_MODULATION, LOCKED], [1, 1]),
    (PlantedFault(kind="atpc", device=RADIO), RADIO, [ATPC], [1]),
    (PlantedFault(kind="test-mode", device=RADIO), RADIO, [TEST_MODE, LOCKED], [1, 1]),
    (PlantedFault(kind="test-mode", device=RADIO), FAR, [LEVEL, LOCKED], [-458, 2]),
    (PlantedFault(kind="interference", device=RADIO, value=5), RADIO, [LEVEL, SNR], [-456, 370]),
    (PlantedFault(kind="interference", device=RADIO), FAR, [TX_MODULATION], [3]),
    (PlantedFault(kind="no-name", device=RADIO), RADIO, [NAME], [""]),
    (PlantedFault(kind="no-name", device=RADIO), FAR, [FAR_NAME], [""]),
    (PlantedFault(kind="location", device=RADIO), RADIO, [LOCATION], ["elsewhere"]),
    (PlantedFault(kind="software", device=RADIO), RADIO, [SOFTWARE], ["3.9.0"]),
    (PlantedFault(kind="exchanged", device=RADIO), RADIO, [NAME, SERIAL], [RADIO, "990001"]),
    (PlantedFault(kind="another", device=RADIO), RADIO, [NAME, LOCATION, SERIAL],
     ["stranger", "elsewhere", "990001"]),
    (PlantedFault(kind="hardware-swapped", link=LINK), RADIO, [NAME, SERIAL, TX_MHZ],
     [RADIO, "000124", 13143000]),
    (PlantedFault(kind="hardware-swapped", link=LINK), FAR, [NAME, SERIAL, TX_MHZ],
     [FAR, "000123", 12877000]),
    (PlantedFault(kind="extra-address", device=RADIO), RADIO,
     [mib.IP_ADDR_TABLE["ipAdEntNetMask"] + ".127.81.0.11"], ["255.255.255.0"]),
    (PlantedFault(kind="half-duplex", device=RADIO), RADIO, [DUPLEX], [2]),
    (PlantedFault(kind="mtu", device=RADIO), RADIO, [MTU], [1400]),
    (PlantedFault(kind="alarm", device=RADIO), RADIO, [ALARM], [1]),
    (PlantedFault(kind="clock-free", device=RADIO), RADIO, [NTP_LOCKED], [2]),
    (PlantedFault(kind="reset", device=RADIO), RADIO, [NAME, LOCATION, TX_MHZ, LINK_ID],
     ["", "", 13157000, "factory"]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("fault", "device", "objects", "values"), SEEN,
    ids=[f"{f.kind}-{f.value}-at-{u}" for f, u, _, _ in SEEN],
)  # fmt: skip
def test_seen_while_it_is_on(network, ask, fault, device, objects, values):
    """Also where the same question was answered before: no kept reply outlives the change."""
    before = ask.values(device, *objects)
    network.put(fault)
    assert ask.values(device, *objects) == values
    assert values != before or device != fault.device
    network.take_off(fault)
    assert ask.values(device, *objects) == before


@pytest.mark.usefixtures("network")
def test_the_right_values(ask):
    """What the plan says is what is seen."""
    assert ask.values(RADIO, NAME, LOCATION, MASK, ROUTE, OPER, HIGH_SPEED) == [
        RADIO, "Lighthouse", "255.255.255.0", "127.80.0.1", 1, 1000,
    ]  # fmt: skip
    assert ask.values(RADIO, LEVEL, TX_MODULATION, TX_MHZ, POWER, UNSAVED, LOCKED, FAR_NAME) == [
        -456, 8, 13143000, 180, 0, 1, FAR,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "device", "outcome"),
    [
        ("no-answer", RADIO, "silent"), ("no-answer", SWITCH, "silent"),
        ("wrong-community", RADIO, "silent"), ("wrong-community", SWITCH, "wrong-digest"),
        ("truncated", RADIO, "undecodable"), ("garbage", RADIO, "undecodable"),
        ("truncated", SWITCH, "undecodable"), ("garbage", SWITCH, "undecodable"),
    ],
)  # fmt: skip
def test_no_answer(network, ask, kind, device, outcome):
    fault = PlantedFault(kind=kind, device=device)
    assert ask.get(device, NAME).outcome == "answered"
    network.put(fault)
    assert ask.get(device, NAME).outcome == outcome
    network.take_off(fault)
    assert ask.get(device, NAME).outcome == "answered"


def test_slow(network, ask):
    """The answer comes, but not before its time; others are not held up."""
    network.put(PlantedFault(kind="slow", device=RADIO, value=0.25))
    assert ask.get(RADIO, NAME).took_ms >= 250
    stopwatch = Stopwatch()
    assert stopwatch.less_waiting(ask.get(FAR, NAME).took_ms / 1000) < 0.2
    assert ask.get(RADIO, NAME, timeout_s=0.1).outcome == "silent"


@pytest.mark.parametrize("device", [RADIO, SWITCH])
@pytest.mark.parametrize(("value", "responder"), [(None, "127.255.255.254"), ("127.3.2.1",) * 2])
def test_another_address_answers(network, ask, device, value, responder):
    assert ask.get(device, NAME).responder in {"127.80.0.11", "127.80.0.13"}
    network.put(PlantedFault(kind="other-address", device=device, value=value))
    reply = ask.get(device, NAME)
    assert (reply.outcome, [e.host for e in reply.elsewhere]) == ("silent", [responder])


def test_no_default_route(network, ask):
    """The route of its own subnet stays."""
    assert ask.values(RADIO, ROUTE) == ["127.80.0.1"]
    network.put(PlantedFault(kind="no-gateway", device=RADIO))
    assert ask.get(RADIO, ROUTE).bindings[0].missing
    table = ask.walk(RADIO, f"{mib.IP_CIDR_ROUTE_TYPE}")
    assert [suffix.startswith("127.80.0.0") for suffix in table.rows] == [True]


def test_counters_running(network, ask):
    """Error counters of ports and errored seconds grow; without the fault they stand at 0."""
    objects = [IN_ERRORS, FCS, ERRORED]
    assert ask.values(RADIO, *objects) == [0, 0, 0]
    fault = PlantedFault(kind="counters-running", device=RADIO)
    network.put(fault)
    first = ask.values(RADIO, *objects)
    time.sleep(2.1)
    assert all(b > a for a, b in zip(first, ask.values(RADIO, *objects), strict=True))
    network.take_off(fault)
    assert ask.values(RADIO, *objects) == [0, 0, 0]


def test_restarted(network, ask):
    """Both sysUpTime and the engine's time begin again, its boots grow by one."""
    engine = ["1.3.6.1.6.3.10.2.1.2.0", "1.3.6.1.6.3.10.2.1.3.0"]
    boots, time_s = ask.values(SWITCH, *engine)
    network.put(PlantedFault(kind="restarted", device=SWITCH))
    reply = ask.get(SWITCH, UPTIME, *engine)
    ticks, new_boots, new_time_s = (b.value for b in reply.bindings)
    assert (new_boots, reply.engine_boots) == (boots + 1, boots + 1)
    assert time_s > 86400
    assert ticks < 1000
    assert new_time_s < 10


def test_non_increasing(network, ask):
    network.put(PlantedFault(kind="non-increasing", device=RADIO))
    table = ask.walk(RADIO, mib.IF_TABLE["ifDescr"])
    assert (table.outcome, table.complete) == ("loop", False)
    assert ask.get(RADIO, NAME).outcome == "answered"


@pytest.mark.parametrize("most", [1, 2, 5])
def test_too_big(network, ask, most):
    """Everything can still be read, in smaller parts; more objects at once cannot."""
    columns = list(mib.IF_TABLE.values())
    whole = ask.walk(RADIO, *columns)
    network.put(PlantedFault(kind="too-big", device=RADIO, value=most))
    assert ask.walk(RADIO, *columns).rows == whole.rows
    reply = ask.get(RADIO, NAME, LOCATION, LEVEL)
    assert [b.missing for b in reply.bindings] == [False] * 3
    assert (reply.took_ms > 0, reply.outcome) == (True, "answered")


def test_too_big_for_one(network, ask):
    network.put(PlantedFault(kind="too-big", device=RADIO, value=0))
    reply = ask.get(RADIO, NAME)
    assert (reply.outcome, reply.error_status) == ("error-status", mib.ERROR_STATUS.index("tooBig"))


def test_faults_add_up(network, ask):
    """Two on one device; each is taken off alone."""
    name, low = (
        PlantedFault(kind="wrong-name", device=RADIO),
        PlantedFault(kind="level-low", device=RADIO),
    )
    network.put(name)
    network.put(low)
    network.put(low)
    assert network.faults == (name, low, low)
    assert ask.values(RADIO, NAME, LEVEL) == ["lighthouse-quarry-spare", -696]
    network.take_off(name)
    network.take_off(low)
    assert ask.values(RADIO, NAME, LEVEL) == [RADIO, -576]


def test_every_kind_is_tested_here():
    tried = {f.kind for f, *_ in SEEN} | {
        "no-answer", "wrong-community", "truncated", "garbage", "slow", "other-address",
        "counters-running", "restarted", "non-increasing", "too-big", "no-gateway",
    }  # fmt: skip
    assert tried == set(KINDS)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda n: PlantedFault(kind="haunted", device=RADIO), "no fault 'haunted'"),
        (lambda n: PlantedFault(kind="muted"), "name the device"),
        (lambda n: PlantedFault(kind="swapped-ends", device=RADIO), "name the link"),
        (lambda n: n.put(PlantedFault(kind="muted", device="ferry")), "device 'ferry' is not known"),
        (lambda n: n.put(PlantedFault(kind="swapped-ends", link="Hop 9")), "link 'Hop 9' is not known"),
        (lambda n: n.put(PlantedFault(kind="port-down", device=RADIO, port="eth9")), "no port 'eth9'"),
        (lambda n: n.put(PlantedFault(kind="port-down", device=FAR)), "no port None"),
        (lambda n: n.put(PlantedFault(kind="other-address", device=RADIO, value="192.0.2.1")), "127.0.0.0/8"),
        (lambda n: n.put(PlantedFault(kind="wrong-mask", device=RADIO, value=40)), "/40"),
        (lambda n: n.put(PlantedFault(kind="slow", device=RADIO, value="soon")), "soon"),
        (lambda n: n.take_off(PlantedFault(kind="muted", device=RADIO)), "is not on"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told_and_changes_nothing(plan, make, message):
    network = SimulatedNetwork(plan, load_profiles({d.profile for d in plan.devices}), ENTRIES)
    with pytest.raises(UsageError, match=message):
        make(network)
    assert network.faults == ()
    assert all(u.condition == type(u.condition)() for u in network.devices.values())
