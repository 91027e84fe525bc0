"""Objects of the standard MIBs, each a kind of thing to be seen; what routing tables say.

Sources: SNMPv2-MIB RFC 3418, IF-MIB RFC 2863, IP-MIB RFC 4293 (and RFC 1213 for ipRouteTable),
IP-FORWARD-MIB RFC 4292 and RFC 2096, EtherLike-MIB RFC 3635, HOST-RESOURCES-MIB RFC 2790, RFC 3411
for snmpEngine, RFC 3414 for usmStats, IEEE 802.1AB for LLDP-MIB.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from verifier.model.address import Address
from verifier.model.kind import MibObject, Syntax

IF_SPEED_MAX = 4_294_967_295
"""ifSpeed's largest value; at or above it ifHighSpeed tells (RFC 2863, DESCRIPTION of ifSpeed)."""
TIME_TICKS_WRAP = 1 << 32
"""Hundredths of a second after which TimeTicks starts again: 497 d 2 h 27 m 52.96 s (RFC 2578)."""

OPER_STATUS = {
    1: "up", 2: "down", 3: "testing", 4: "unknown", 5: "dormant", 6: "notPresent",
    7: "lowerLayerDown",
}  # fmt: skip
ADMIN_STATUS = {1: "up", 2: "down", 3: "testing"}
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


def _text(what: str, oid: str, syntax: Syntax = TEXT) -> MibObject[str]:
    return MibObject(what, "snmp", str, oid=oid, syntax=syntax)


def _number(what: str, oid: str, syntax: Syntax = INTEGER32) -> MibObject[int]:
    return MibObject(what, "snmp", int, oid=oid, syntax=syntax)


def _named(what: str, oid: str, names: Mapping[int, str]) -> MibObject[str]:
    return MibObject(what, "snmp", str, oid=oid, syntax=_enumeration(len(names)), names=names)


def _enumeration(most: int) -> Syntax:
    return Syntax("number", 1, most, f"an enumeration of 1 to {most}")


def _counter(what: str, oid: str) -> MibObject[int]:
    return _number(what, oid, COUNTER64 if what.startswith("ifHC") else COUNTER32)


def _oids(*objects: MibObject[str] | MibObject[int]) -> Mapping[str, str]:
    return {o.what: o.oid for o in objects}


SYS_DESCR = _text("sysDescr", "1.3.6.1.2.1.1.1.0")
SYS_OBJECT_ID = _text("sysObjectID", "1.3.6.1.2.1.1.2.0", OBJECT_IDENTIFIER)
SYS_UP_TIME = _number("sysUpTime", "1.3.6.1.2.1.1.3.0", TIME_TICKS)
"""Hundredths of a second since the agent started; starts again after `TIME_TICKS_WRAP`."""
SYS_CONTACT = _text("sysContact", "1.3.6.1.2.1.1.4.0")
SYS_NAME = _text("sysName", "1.3.6.1.2.1.1.5.0")
SYS_LOCATION = _text("sysLocation", "1.3.6.1.2.1.1.6.0")
SYSTEM = _oids(SYS_DESCR, SYS_OBJECT_ID, SYS_UP_TIME, SYS_CONTACT, SYS_NAME, SYS_LOCATION)
SNMP_ENGINE_BOOTS = _number("snmpEngineBoots", "1.3.6.1.6.3.10.2.1.2.0", INDEX)
HR_SYSTEM_UPTIME = _number("hrSystemUptime", "1.3.6.1.2.1.25.1.1.0", TIME_TICKS)
UPTIMES = _oids(SYS_UP_TIME, SNMP_ENGINE_BOOTS, HR_SYSTEM_UPTIME)
"""Of the agent, its starts, and of the operating system (RFC 3418, RFC 3411, RFC 2790)."""
HR_SYSTEM_DATE = _text("hrSystemDate", "1.3.6.1.2.1.25.1.2.0", DATE_AND_TIME)
"""The device's time of day; the value is DateAndTime (RFC 2790, RFC 2579) as ISO 8601 text."""

IP_AD_ENT_IF_INDEX = _number("ipAdEntIfIndex", "1.3.6.1.2.1.4.20.1.2", INDEX)
IP_AD_ENT_NET_MASK = _text("ipAdEntNetMask", "1.3.6.1.2.1.4.20.1.3", IP_ADDRESS)
IP_ADDR_TABLE = _oids(IP_AD_ENT_IF_INDEX, IP_AD_ENT_NET_MASK)
IP_ADDRESS_IF_INDEX = _number("ipAddressIfIndex", "1.3.6.1.2.1.4.34.1.3", INDEX)
IP_ADDRESS_TYPE = _number("ipAddressType", "1.3.6.1.2.1.4.34.1.4", _enumeration(3))
IP_ADDRESS_PREFIX = _text("ipAddressPrefix", "1.3.6.1.2.1.4.34.1.5", OBJECT_IDENTIFIER)
"""Points to a row of ipAddressPrefixTable, whose index ends in the length of the prefix."""
IP_ADDRESS_TABLE = _oids(IP_ADDRESS_IF_INDEX, IP_ADDRESS_TYPE, IP_ADDRESS_PREFIX)
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

IF_DESCR = _text("ifDescr", "1.3.6.1.2.1.2.2.1.2")
IF_MTU = _number("ifMtu", "1.3.6.1.2.1.2.2.1.4")
IF_SPEED = _number("ifSpeed", "1.3.6.1.2.1.2.2.1.5", GAUGE32)
"""Bit/s; see `IF_SPEED_MAX`."""
IF_PHYS_ADDRESS = _text("ifPhysAddress", "1.3.6.1.2.1.2.2.1.6", PHYS_ADDRESS)
"""Octets in hexadecimal digits with colons."""
IF_ADMIN_STATUS = _named("ifAdminStatus", "1.3.6.1.2.1.2.2.1.7", ADMIN_STATUS)
IF_OPER_STATUS = _named("ifOperStatus", "1.3.6.1.2.1.2.2.1.8", OPER_STATUS)
IF_IN_ERRORS = _counter("ifInErrors", "1.3.6.1.2.1.2.2.1.14")
IF_OUT_ERRORS = _counter("ifOutErrors", "1.3.6.1.2.1.2.2.1.20")
IF_TABLE = _oids(
    IF_DESCR, IF_MTU, IF_SPEED, IF_PHYS_ADDRESS, IF_ADMIN_STATUS, IF_OPER_STATUS, IF_IN_ERRORS,
    IF_OUT_ERRORS,
)  # fmt: skip
_COUNTERS = (
    _counter("ifInOctets", "1.3.6.1.2.1.2.2.1.10"),
    _counter("ifInUcastPkts", "1.3.6.1.2.1.2.2.1.11"),
    _counter("ifInDiscards", "1.3.6.1.2.1.2.2.1.13"),
    IF_IN_ERRORS,
    _counter("ifOutOctets", "1.3.6.1.2.1.2.2.1.16"),
    _counter("ifOutUcastPkts", "1.3.6.1.2.1.2.2.1.17"),
    _counter("ifOutDiscards", "1.3.6.1.2.1.2.2.1.19"),
    IF_OUT_ERRORS,
    _counter("ifHCInOctets", "1.3.6.1.2.1.31.1.1.1.6"),
    _counter("ifHCInUcastPkts", "1.3.6.1.2.1.31.1.1.1.7"),
    _counter("ifHCOutOctets", "1.3.6.1.2.1.31.1.1.1.10"),
    _counter("ifHCOutUcastPkts", "1.3.6.1.2.1.31.1.1.1.11"),
    _number("ifCounterDiscontinuityTime", "1.3.6.1.2.1.31.1.1.1.19", TIME_TICKS),
)
IF_COUNTERS = _oids(*_COUNTERS)
"""Counters of a port (RFC 2863)."""
IF_NAME = _text("ifName", "1.3.6.1.2.1.31.1.1.1.1")
IF_HIGH_SPEED = _number("ifHighSpeed", "1.3.6.1.2.1.31.1.1.1.15", GAUGE32)
"""Mbit/s, rounded."""
IF_ALIAS = _text("ifAlias", "1.3.6.1.2.1.31.1.1.1.18")
IF_X_TABLE = _oids(IF_NAME, IF_HIGH_SPEED, IF_ALIAS)
DOT3_STATS_DUPLEX_STATUS = _named("dot3StatsDuplexStatus", "1.3.6.1.2.1.10.7.2.1.19", DUPLEX_STATUS)
DUPLEX = _oids(DOT3_STATS_DUPLEX_STATUS)

LLDP_LOC_PORT_ID = _text("lldpLocPortId", "1.0.8802.1.1.2.1.3.7.1.3")
LLDP_LOC_PORT_DESC = _text("lldpLocPortDesc", "1.0.8802.1.1.2.1.3.7.1.4")
LLDP_LOCAL_PORTS = _oids(LLDP_LOC_PORT_ID, LLDP_LOC_PORT_DESC)
LLDP_REM_PORT_ID = _text("lldpRemPortId", "1.0.8802.1.1.2.1.4.1.1.7")
LLDP_REM_SYS_NAME = _text("lldpRemSysName", "1.0.8802.1.1.2.1.4.1.1.9")
LLDP_NEIGHBOURS = _oids(LLDP_REM_PORT_ID, LLDP_REM_SYS_NAME)
"""Indexed by time mark, local port number, and a number of the neighbour."""

_OBJECTS: tuple[MibObject[str] | MibObject[int], ...] = (
    SYS_DESCR, SYS_OBJECT_ID, SYS_UP_TIME, SYS_CONTACT, SYS_NAME, SYS_LOCATION,
    SNMP_ENGINE_BOOTS, HR_SYSTEM_UPTIME, HR_SYSTEM_DATE, IP_AD_ENT_IF_INDEX, IP_AD_ENT_NET_MASK,
    IP_ADDRESS_IF_INDEX, IP_ADDRESS_TYPE, IP_ADDRESS_PREFIX, IF_DESCR, IF_MTU, IF_SPEED,
    IF_PHYS_ADDRESS, IF_ADMIN_STATUS, IF_OPER_STATUS, *_COUNTERS, IF_NAME, IF_HIGH_SPEED, IF_ALIAS,
    DOT3_STATS_DUPLEX_STATUS, LLDP_LOC_PORT_ID, LLDP_LOC_PORT_DESC, LLDP_REM_PORT_ID,
    LLDP_REM_SYS_NAME,
)  # fmt: skip
OBJECTS: Mapping[str, MibObject[str] | MibObject[int]] = {o.what: o for o in _OBJECTS}
"""By name: what a poll notes under its own name."""
SYNTAX: Mapping[str, Syntax] = {
    **{o.oid: o.syntax for o in _OBJECTS},
    IP_ROUTE_NEXT_HOP_DEFAULT: IP_ADDRESS,
    IP_CIDR_ROUTE_TYPE: _enumeration(4),
    IP_CIDR_ROUTE_TYPE.removesuffix(".6") + ".11": INTEGER32,
    INET_CIDR_ROUTE_TYPE: _enumeration(5),
    INET_CIDR_ROUTE_TYPE.removesuffix(".8") + ".12": INTEGER32,
}
"""By scalar or column; each from the MIB that its name is from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BestRoute:
    """One of a device's routes to 0/0, one of which is the best.

    Attributes:
        next_hop: an address as text; `0.0.0.0` or `::` where the route has none.
        metric: the smaller the better; None where it is not told.
        older: whether ipRouteTable says so, which holds one route for each destination.
    """

    next_hop: str
    metric: int | None = None
    older: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Routes:
    """What was asked of the routing tables.

    Attributes:
        connected: whether a table holds the route of the device's own subnet, which proves that it
            is the table of that address.
        to_hosts: next hops towards management hosts, by the host's address; none where no route
            leads there. Asked only where there is no default route.
        gap: why no default route is known; empty where one is.
    """

    defaults: tuple[BestRoute, ...] = ()
    connected: bool = False
    to_hosts: tuple[tuple[str, tuple[str, ...]], ...] = ()
    gap: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DefaultRoute:
    """A row of a routing table for 0/0 or ::/0; the table is told by the observation's `oid`.

    Attributes:
        next_hop: 0.0.0.0 or :: where the route has none.
        metric: the smaller the better; None where it is not told.
    """

    next_hop: Address
    metric: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ConnectedRoute:
    """The route of the device's own subnet `to`."""

    to: str
    next_hop: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HostRoute:
    """The most specific route to a management host, the default route aside.

    Attributes:
        to: its subnet.
        next_hops: of its rows.
    """

    host: Address
    to: str
    next_hops: tuple[str, ...]
