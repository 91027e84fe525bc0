"""Object identifiers of the standard MIBs, and the names of their enumerations.

Sources: SNMPv2-MIB RFC 3418, IF-MIB RFC 2863, IP-MIB RFC 4293 (and RFC 1213 for ipRouteTable),
IP-FORWARD-MIB RFC 4292 and RFC 2096, EtherLike-MIB RFC 3635, RFC 3411 for snmpEngine,
RFC 3414 for usmStats, IEEE 802.1AB for LLDP-MIB. Written from memory of those documents; the lab
reads all but LLDP from a real agent.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

SYSTEM = {
    "sysDescr": "1.3.6.1.2.1.1.1.0",
    "sysObjectID": "1.3.6.1.2.1.1.2.0",
    "sysUpTime": "1.3.6.1.2.1.1.3.0",
    "sysContact": "1.3.6.1.2.1.1.4.0",
    "sysName": "1.3.6.1.2.1.1.5.0",
    "sysLocation": "1.3.6.1.2.1.1.6.0",
}
UPTIMES = {
    "sysUpTime": "1.3.6.1.2.1.1.3.0",
    "snmpEngineBoots": "1.3.6.1.6.3.10.2.1.2.0",
    "hrSystemUptime": "1.3.6.1.2.1.25.1.1.0",
}
"""Of the agent, its starts, and of the operating system (RFC 3418, RFC 3411, RFC 2790)."""
HR_SYSTEM_DATE = "1.3.6.1.2.1.25.1.2.0"
"""The device's time of day as DateAndTime (RFC 2790, RFC 2579)."""
IP_ADDR_TABLE = {
    "ipAdEntIfIndex": "1.3.6.1.2.1.4.20.1.2",
    "ipAdEntNetMask": "1.3.6.1.2.1.4.20.1.3",
}
IP_ADDRESS_TABLE = {
    "ipAddressIfIndex": "1.3.6.1.2.1.4.34.1.3",
    "ipAddressType": "1.3.6.1.2.1.4.34.1.4",
    "ipAddressPrefix": "1.3.6.1.2.1.4.34.1.5",
}
IP_ADDRESS_PREFIX_ENTRY = "1.3.6.1.2.1.4.32.1.5"
IP_ROUTE_NEXT_HOP_DEFAULT = "1.3.6.1.2.1.4.21.1.7.0.0.0.0"
IP_ROUTE = {
    "ipRouteNextHop": "1.3.6.1.2.1.4.21.1.7",
    "ipRouteType": "1.3.6.1.2.1.4.21.1.8",
    "ipRouteMask": "1.3.6.1.2.1.4.21.1.11",
}
"""Indexed by the destination (RFC 1213)."""
IP_CIDR_ROUTE_TYPE = "1.3.6.1.2.1.4.24.4.1.6"
INET_CIDR_ROUTE_TYPE = "1.3.6.1.2.1.4.24.7.1.8"
IF_TABLE = {
    "ifDescr": "1.3.6.1.2.1.2.2.1.2",
    "ifMtu": "1.3.6.1.2.1.2.2.1.4",
    "ifSpeed": "1.3.6.1.2.1.2.2.1.5",
    "ifPhysAddress": "1.3.6.1.2.1.2.2.1.6",
    "ifAdminStatus": "1.3.6.1.2.1.2.2.1.7",
    "ifOperStatus": "1.3.6.1.2.1.2.2.1.8",
    "ifInErrors": "1.3.6.1.2.1.2.2.1.14",
    "ifOutErrors": "1.3.6.1.2.1.2.2.1.20",
}
IF_COUNTERS = {
    "ifInOctets": "1.3.6.1.2.1.2.2.1.10",
    "ifInUcastPkts": "1.3.6.1.2.1.2.2.1.11",
    "ifInDiscards": "1.3.6.1.2.1.2.2.1.13",
    "ifInErrors": "1.3.6.1.2.1.2.2.1.14",
    "ifOutOctets": "1.3.6.1.2.1.2.2.1.16",
    "ifOutUcastPkts": "1.3.6.1.2.1.2.2.1.17",
    "ifOutDiscards": "1.3.6.1.2.1.2.2.1.19",
    "ifOutErrors": "1.3.6.1.2.1.2.2.1.20",
    "ifHCInOctets": "1.3.6.1.2.1.31.1.1.1.6",
    "ifHCInUcastPkts": "1.3.6.1.2.1.31.1.1.1.7",
    "ifHCOutOctets": "1.3.6.1.2.1.31.1.1.1.10",
    "ifHCOutUcastPkts": "1.3.6.1.2.1.31.1.1.1.11",
    "ifCounterDiscontinuityTime": "1.3.6.1.2.1.31.1.1.1.19",
}
"""Counters of a port (RFC 2863)."""
IF_X_TABLE = {
    "ifName": "1.3.6.1.2.1.31.1.1.1.1",
    "ifHighSpeed": "1.3.6.1.2.1.31.1.1.1.15",
    "ifAlias": "1.3.6.1.2.1.31.1.1.1.18",
}
LLDP_LOCAL_PORTS = {
    "lldpLocPortId": "1.0.8802.1.1.2.1.3.7.1.3",
    "lldpLocPortDesc": "1.0.8802.1.1.2.1.3.7.1.4",
}
LLDP_NEIGHBOURS = {
    "lldpRemPortId": "1.0.8802.1.1.2.1.4.1.1.7",
    "lldpRemSysName": "1.0.8802.1.1.2.1.4.1.1.9",
}
"""Indexed by time mark, local port number, and a number of the neighbour."""
DUPLEX = {"dot3StatsDuplexStatus": "1.3.6.1.2.1.10.7.2.1.19"}

IF_SPEED_MAX = 4_294_967_295
"""ifSpeed's largest value; at or above it ifHighSpeed tells (RFC 2863, DESCRIPTION of ifSpeed)."""
TIME_TICKS_WRAP = 1 << 32
"""Hundredths of a second after which TimeTicks starts again: 497 d 2 h 27 m 52.96 s (RFC 2578)."""

IF_OPER_STATUS = {
    1: "up", 2: "down", 3: "testing", 4: "unknown", 5: "dormant", 6: "notPresent",
    7: "lowerLayerDown",
}  # fmt: skip
IF_ADMIN_STATUS = {1: "up", 2: "down", 3: "testing"}
DUPLEX_STATUS = {1: "unknown", 2: "half", 3: "full"}
ERROR_STATUS = (
    "noError", "tooBig", "noSuchName", "badValue", "readOnly", "genErr", "noAccess", "wrongType",
    "wrongLength", "wrongEncoding", "wrongValue", "noCreation", "inconsistentValue",
    "resourceUnavailable", "commitFailed", "undoFailed", "authorizationError", "notWritable",
    "inconsistentName",
)  # fmt: skip
"""Names by number: RFC 3416 section 3."""
USM_STATS = {
    "1.3.6.1.6.3.15.1.1.1.0": "unsupported-level",
    "1.3.6.1.6.3.15.1.1.2.0": "not-in-time-window",
    "1.3.6.1.6.3.15.1.1.3.0": "unknown-user",
    "1.3.6.1.6.3.15.1.1.4.0": "unknown-engine-id",
    "1.3.6.1.6.3.15.1.1.5.0": "wrong-digest",
    "1.3.6.1.6.3.15.1.1.6.0": "decryption-error",
}
"""Report PDUs of RFC 3414 section 3.2, under our name of the outcome."""


@dataclass(frozen=True, slots=True)
class Syntax:
    """What an object's value may be (its SYNTAX clause).

    Attributes:
        kind: a number of any of SMIv2's numeric types, octets, an IPv4 address, or an OID.
        least, most: of a number its range, of octets how many.
        words: how the MIB calls it.
    """

    kind: Literal["number", "octets", "address", "oid"]
    least: int
    most: int
    words: str


INTEGER32 = Syntax("number", -(2**31), 2**31 - 1, "Integer32")
INDEX = Syntax("number", 1, 2**31 - 1, "INTEGER (1..2147483647)")
COUNTER32 = Syntax("number", 0, 2**32 - 1, "Counter32")
GAUGE32 = Syntax("number", 0, 2**32 - 1, "Gauge32")
TIME_TICKS = Syntax("number", 0, 2**32 - 1, "TimeTicks")
COUNTER64 = Syntax("number", 0, 2**64 - 1, "Counter64")
"""RFC 2578 section 7.1; the index of an interface: RFC 2863, InterfaceIndex."""
TEXT = Syntax("octets", 0, 255, "DisplayString (SIZE (0..255))")
PHYS_ADDRESS = Syntax("octets", 0, 65535, "PhysAddress")
DATE_AND_TIME = Syntax("octets", 8, 11, "DateAndTime (SIZE (8 | 11))")
"""RFC 2579; SnmpAdminString (RFC 3411) and texts of LLDP have the same limit as DisplayString."""
IP_ADDRESS = Syntax("address", 0, 0, "IpAddress")
OBJECT_IDENTIFIER = Syntax("oid", 0, 0, "OBJECT IDENTIFIER")


def _named(most: int) -> Syntax:
    return Syntax("number", 1, most, f"an enumeration of 1 to {most}")


_OF_COUNTERS = {
    name: COUNTER64 if name.startswith("ifHC") else COUNTER32 for name in IF_COUNTERS
} | {"ifCounterDiscontinuityTime": TIME_TICKS}
SYNTAX: Mapping[str, Syntax] = {
    **{oid: TEXT for name, oid in SYSTEM.items() if name not in {"sysObjectID", "sysUpTime"}},
    SYSTEM["sysObjectID"]: OBJECT_IDENTIFIER,
    SYSTEM["sysUpTime"]: TIME_TICKS,
    UPTIMES["snmpEngineBoots"]: INDEX,
    UPTIMES["hrSystemUptime"]: TIME_TICKS,
    HR_SYSTEM_DATE: DATE_AND_TIME,
    IP_ADDR_TABLE["ipAdEntIfIndex"]: INDEX,
    IP_ADDR_TABLE["ipAdEntNetMask"]: IP_ADDRESS,
    IP_ADDRESS_TABLE["ipAddressIfIndex"]: INDEX,
    IP_ADDRESS_TABLE["ipAddressType"]: _named(3),
    IP_ADDRESS_TABLE["ipAddressPrefix"]: OBJECT_IDENTIFIER,
    IP_ROUTE_NEXT_HOP_DEFAULT: IP_ADDRESS,
    IP_CIDR_ROUTE_TYPE: _named(4),
    IP_CIDR_ROUTE_TYPE.removesuffix(".6") + ".11": INTEGER32,
    INET_CIDR_ROUTE_TYPE: _named(5),
    INET_CIDR_ROUTE_TYPE.removesuffix(".8") + ".12": INTEGER32,
    IF_TABLE["ifDescr"]: TEXT,
    IF_TABLE["ifMtu"]: INTEGER32,
    IF_TABLE["ifSpeed"]: GAUGE32,
    IF_TABLE["ifPhysAddress"]: PHYS_ADDRESS,
    IF_TABLE["ifAdminStatus"]: _named(len(IF_ADMIN_STATUS)),
    IF_TABLE["ifOperStatus"]: _named(len(IF_OPER_STATUS)),
    **{oid: _OF_COUNTERS[name] for name, oid in IF_COUNTERS.items()},
    IF_X_TABLE["ifName"]: TEXT,
    IF_X_TABLE["ifHighSpeed"]: GAUGE32,
    IF_X_TABLE["ifAlias"]: TEXT,
    **dict.fromkeys((*LLDP_LOCAL_PORTS.values(), *LLDP_NEIGHBOURS.values()), TEXT),
    DUPLEX["dot3StatsDuplexStatus"]: _named(len(DUPLEX_STATUS)),
}
"""By scalar or column; each from the MIB that its name is from."""
