"""The system group, ENTITY-MIB, LLDP-MIB and snmpEngine.

Sources, from memory: RFC 3418, RFC 6933 (entPhysicalTable), IEEE 802.1AB (LLDP-MIB), RFC 3411.
"""

from __future__ import annotations

from collections.abc import Iterator

from verifier import __version__
from verifier.simulator.agent import ber
from verifier.simulator.agent.cells import UPTIME, Row, SecondsCell, number, oid, pointer, text
from verifier.simulator.mib.shown import ShownDevice, ShownPort, management_mac

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
    yield (*_ENGINE, 1, 0), ber.octets(shown.engine_id)
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
    yield (*_LLDP_LOCAL, 2, 0), ber.octets(management_mac(shown.device))
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
    chassis = ber.octets(management_mac(far)) if far else text(neighbour)
    columns = {
        4: number(_CHASSIS_BY_MAC if far else _CHASSIS_LOCAL),
        5: chassis,
        6: number(_PORT_BY_NAME),
        7: text(back[0] if back else "1"),
        8: text(back[0] if back else ""),
        9: text(neighbour),
        10: text(""),
        11: ber.octets(b"\0\0"),
        12: ber.octets(b"\0\0"),
    }
    for column, cell in columns.items():
        yield (*_LLDP_REMOTE, column, 0, port.index, 1), cell
