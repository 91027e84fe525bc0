"""The system group, interfaces, ENTITY-MIB, LLDP-MIB and snmpEngine.

Sources: RFC 3418, RFC 2863, RFC 3635 (EtherLike-MIB), RFC 6933 (entPhysicalTable), IEEE 802.1AB
(LLDP-MIB), RFC 3411. net-snmp's agent shows the system group and interfaces alike
(tests/simulator/test_contract).
"""

from __future__ import annotations

from collections.abc import Iterator

from verifier import __version__
from verifier.model.mib import IF_SPEED_MAX
from verifier.simulator.agent import cells
from verifier.simulator.agent.cells import (
    UPTIME,
    Cell,
    Row,
    RunningCount,
    SecondsCell,
    counter,
    gauge,
    number,
    oid,
    pointer,
    text,
    ticks,
)
from verifier.simulator.condition import ShownDevice, ShownPort, management_mac

_SYSTEM = oid("1.3.6.1.2.1.1")
_ENGINE = oid("1.3.6.1.6.3.10.2.1")
_ENTITY = oid("1.3.6.1.2.1.47.1.1.1.1")
_LLDP_LOCAL = oid("1.0.8802.1.1.2.1.3")
_LLDP_REMOTE = oid("1.0.8802.1.1.2.1.4.1.1")
_PLAIN_OBJECT_ID = "1.3.6.1.4.1.32473"
"""sysObjectID of a device whose profile has none: the enterprise for examples (RFC 5612)."""
_SERVICES = {"radio": 2, "switch": 2, "router": 4, "other": 72}
"""sysServices: layer 2 bridge, layer 3 router, a host with applications (RFC 3418)."""
_CHASSIS = 3
_CHASSIS_BY_MAC, _CHASSIS_LOCAL, _PORT_BY_NAME = 4, 7, 5
"""LldpChassisIdSubtype and LldpPortIdSubtype."""
_MAX_MESSAGE = 65507
_IF_NUMBER = oid("1.3.6.1.2.1.2.1.0")
_IF_TABLE = oid("1.3.6.1.2.1.2.2.1")
_IF_X_TABLE = oid("1.3.6.1.2.1.31.1.1.1")
_DOT3 = oid("1.3.6.1.2.1.10.7.2.1")
_ETHERNET, _VIRTUAL = 6, 53
"""ifType: ethernetCsmacd, propVirtual."""
_UP, _DOWN = 1, 2
_TRUE, _FALSE = 1, 2
_HALF, _FULL = 2, 3
_BITS_PER_MBIT = 1_000_000
_LOAD_OCTETS_PER_S = 12_500
_LOAD_PACKETS_PER_S = 25
_ERRORS_PER_S = 7.0
_NO_COUNT = counter(0)


def system(shown: ShownDevice) -> Iterator[Row]:
    """The system group (RFC 3418)."""
    device, profile = shown.device, shown.profile
    software = f", software {device.software}" if device.software else ""
    title = profile.title or profile.id
    yield (*_SYSTEM, 1, 0), text(f"{title}, simulated by plan-verifier {__version__}{software}")
    yield (*_SYSTEM, 2, 0), pointer(oid(profile.object_id or _PLAIN_OBJECT_ID))
    yield (*_SYSTEM, 3, 0), UPTIME
    yield (*_SYSTEM, 4, 0), text("")
    yield (*_SYSTEM, 5, 0), text(device.name)
    yield (*_SYSTEM, 6, 0), text(shown.location)
    yield (*_SYSTEM, 7, 0), number(_SERVICES[profile.kind])


def engine(shown: ShownDevice) -> Iterator[Row]:
    """snmpEngine: id, boots, time, largest message (RFC 3411 section 5)."""
    yield (*_ENGINE, 1, 0), cells.octets(shown.engine_id)
    yield (*_ENGINE, 2, 0), number(shown.boots)
    yield (*_ENGINE, 3, 0), SecondsCell()
    yield (*_ENGINE, 4, 0), number(_MAX_MESSAGE)


def entity(shown: ShownDevice) -> Iterator[Row]:
    """The entPhysicalTable, with the chassis as its one row."""
    device = shown.device
    columns = {
        2: text(shown.profile.title or shown.profile.id),
        3: pointer(oid(shown.profile.object_id or "0.0")),
        4: number(0),
        5: number(_CHASSIS),
        6: number(-1),
        7: text("chassis"),
        8: text(""),
        9: text(""),
        10: text(device.software or ""),
        11: text(device.serial or ""),
        12: text(""),
        13: text(device.part_number or ""),
        14: text(""),
        15: text(""),
        16: number(1),
    }
    for column, cell in columns.items():
        yield (*_ENTITY, column, 1), cell


def lldp(shown: ShownDevice) -> Iterator[Row]:
    """What the device sends by LLDP, and for each port with a planned neighbour what it hears."""
    if not any(p.neighbour for p in shown.ports):
        return
    yield (*_LLDP_LOCAL, 1, 0), number(_CHASSIS_BY_MAC)
    yield (*_LLDP_LOCAL, 2, 0), cells.octets(management_mac(shown.device))
    yield (*_LLDP_LOCAL, 3, 0), text(shown.device.name)
    for port in (p for p in shown.ports if p.physical):
        yield (*_LLDP_LOCAL, 7, 1, 2, port.index), number(_PORT_BY_NAME)
        yield (*_LLDP_LOCAL, 7, 1, 3, port.index), text(port.name)
        yield (*_LLDP_LOCAL, 7, 1, 4, port.index), text(port.name)
        if port.neighbour and port.up:
            yield from _heard(shown, port, port.neighbour)


def _heard(shown: ShownDevice, port: ShownPort, neighbour: str) -> Iterator[Row]:
    """A row of lldpRemTable; its index is time mark, local port, number of the neighbour."""
    far = next((d for d in shown.plan.devices if d.name == neighbour), None)
    back = [p.name for p in far.ports if p.neighbour == shown.device.name] if far else []
    chassis = cells.octets(management_mac(far)) if far else text(neighbour)
    columns = {
        4: number(_CHASSIS_BY_MAC if far else _CHASSIS_LOCAL),
        5: chassis,
        6: number(_PORT_BY_NAME),
        7: text(back[0] if back else "1"),
        8: text(back[0] if back else ""),
        9: text(neighbour),
        10: text(""),
        11: cells.octets(b"\0\0"),
        12: cells.octets(b"\0\0"),
    }
    for column, cell in columns.items():
        yield (*_LLDP_REMOTE, column, 0, port.index, 1), cell


# --- interfaces --------------------------------------------------------------------------------


def interfaces(shown: ShownDevice) -> Iterator[Row]:
    """ifNumber, ifTable, ifXTable, and dot3StatsTable for the ports."""
    yield _IF_NUMBER, number(len(shown.ports))
    for port in shown.ports:
        for column, cell in _if_columns(port).items():
            yield (*_IF_TABLE, column, port.index), cell
        for column, cell in _if_x_columns(port).items():
            yield (*_IF_X_TABLE, column, port.index), cell
        if port.physical:
            for column, cell in _dot3_columns(port).items():
                yield (*_DOT3, column, port.index), cell


def _count(port: ShownPort, per_s: float, tag: int = cells.COUNTER32) -> Cell:
    """A traffic counter: stands while the port is down."""
    return RunningCount(per_s if port.up else 0.0, tag)


def _errors(port: ShownPort) -> Cell:
    return RunningCount(_ERRORS_PER_S) if port.errors else _NO_COUNT


def _if_columns(port: ShownPort) -> dict[int, Cell]:
    return {
        1: number(port.index),
        2: text(port.name),
        3: number(_ETHERNET if port.physical else _VIRTUAL),
        4: number(port.mtu),
        5: gauge(min(port.speed_mbps * _BITS_PER_MBIT, IF_SPEED_MAX)),
        6: cells.octets(port.mac),
        7: number(_UP if port.enabled else _DOWN),
        8: number(_UP if port.up else _DOWN),
        9: ticks(0),
        10: _count(port, _LOAD_OCTETS_PER_S),
        11: _count(port, _LOAD_PACKETS_PER_S),
        13: _NO_COUNT,
        14: _errors(port),
        15: _NO_COUNT,
        16: _count(port, _LOAD_OCTETS_PER_S),
        17: _count(port, _LOAD_PACKETS_PER_S),
        19: _NO_COUNT,
        20: _errors(port),
    }


def _if_x_columns(port: ShownPort) -> dict[int, Cell]:
    no_count = cells.integer(0, cells.COUNTER64)
    octets = _count(port, _LOAD_OCTETS_PER_S, cells.COUNTER64)
    packets = _count(port, _LOAD_PACKETS_PER_S, cells.COUNTER64)
    return {
        1: text(port.name),
        2: _NO_COUNT, 3: _NO_COUNT, 4: _NO_COUNT, 5: _NO_COUNT,
        6: octets, 7: packets, 8: no_count, 9: no_count,
        10: octets, 11: packets, 12: no_count, 13: no_count,
        14: number(_TRUE),
        15: gauge(port.speed_mbps),
        16: number(_FALSE),
        17: number(_TRUE if port.physical else _FALSE),
        18: text(""),
        19: ticks(0),
    }  # fmt: skip


def _dot3_columns(port: ShownPort) -> dict[int, Cell]:
    columns: dict[int, Cell] = {1: number(port.index), 2: _NO_COUNT, 3: _errors(port)}
    columns |= dict.fromkeys((4, 5, 6, 7, 8, 9, 10, 11, 13, 16), _NO_COUNT)
    columns[17] = pointer((0, 0))
    columns[18] = _NO_COUNT
    columns[19] = number(_FULL if port.full_duplex else _HALF)
    columns[20] = number(_TRUE)
    columns[21] = number(_TRUE)
    return columns
