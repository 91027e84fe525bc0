"""From what was seen to findings: each situation ends with exactly the findings expected."""

from __future__ import annotations

import dataclasses
import ipaddress
from collections.abc import Callable
from typing import Any

import pytest

from tests.as_seen import Everywhere, observation, seen_again
from tests.said import compare
from verifier.model import mib
from verifier.model.address import Address, Interface, Mac
from verifier.model.kind import Probe
from verifier.model.observations import Observation
from verifier.model.plan import (
    Acceptance,
    Carrier,
    Device,
    End,
    Host,
    Link,
    Management,
    NotTestedOk,
    Plan,
    Port,
    Service,
    Services,
)
from verifier.model.problem import Origin, Problem, Subject
from verifier.model.profile import Profile, ProfileReading
from verifier.model.result import Finding
from verifier.rules.compare import REACH
from verifier.rules.compare.judge import Judgement

pytestmark = pytest.mark.usefixtures("words")

A, B = "lighthouse-quarry", "quarry-lighthouse"
OIDS = {
    **mib.SYSTEM, **mib.IP_ADDR_TABLE, **mib.IP_ADDRESS_TABLE, **mib.IF_TABLE, **mib.IF_X_TABLE,
    **mib.DUPLEX, **mib.LLDP_LOCAL_PORTS, **mib.LLDP_NEIGHBOURS,
}  # fmt: skip
RTTS = (0.5, 0.6, 0.4, 0.5, 0.5)
LAPTOP = {
    "interfaces": [{"name": "eth0", "up": True, "addresses": ["198.18.20.250/24"], "vlan": None}],
    "gateways": [],
    "assumed": False,
}
PROFILE = Profile(
    id="hop-radio",
    object_id="1.3.6.1.4.1.32473.1",
    reading=(ProfileReading(field="serial", oid="1.3.6.1.4.1.32473.1.5.0", type="text"),),
)


class Unit:
    """What a device would show; `seen` gives it as observations. Right unless changed."""

    def __init__(self, name: str, address: str) -> None:
        self.name = name
        self.seen: list[Observation[Any]] = []
        self.note(
            "laptop", "route", {"interface": "eth0", "source": "198.18.20.250", "next_hop": None}
        )
        self.note("icmp", "warm-up", {"replied": True, "silence": []})
        self.echo(RTTS)
        self.note("tcp", "tcp/443", "open", raw="connection opened")
        self.note("tcp", "tcp/23", "closed", raw="connection refused")
        self.note("snmp", "answer", "answered", raw="")
        self.note("snmp", "sysName", name)
        self.note("snmp", "sysLocation", "Lighthouse, cabinet 2")
        self.note("snmp", "sysObjectID", "1.3.6.1.4.1.32473.1.2")
        self.note("snmp", "serial", "000123")
        self.cell("ipAdEntIfIndex", address, 3)
        self.cell("ipAdEntNetMask", address, "255.255.255.0")
        self.note("snmp", "default-route", {"next_hop": "198.18.20.1", "metric": None})
        self.note("neighbour", "neighbour", "02:00:5e:10:00:01")
        self.port("3", ifName="eth1", ifDescr="Ethernet 1", ifAlias="to the switch")

    def note(
        self, probe: Probe, what: str, value: Any, raw: str = "", oid: str | None = None
    ) -> None:
        subject = Subject("device", self.name)
        oid = oid or OIDS.get(what)
        seen = observation(
            id=0, subject=subject, probe=probe, what=what, value=value, raw=raw, oid=oid, at=""
        )
        self.seen.append(seen)

    def cell(self, column: str, index: str, value: Any, raw: str = "") -> None:
        self.note("snmp", column, value, raw, f"{OIDS[column]}.{index}")

    def port(self, index: str, **values: Any) -> None:
        right = {"ifOperStatus": "up", "ifAdminStatus": "up", "ifSpeed": 1_000_000_000,
                 "ifHighSpeed": 1000, "ifMtu": 1500, "dot3StatsDuplexStatus": "full"}  # fmt: skip
        for column, value in {**right, **values}.items():
            self.cell(column, index, value)

    def echo(
        self, rtts: tuple[float | None, ...], silence: str = "timed out", dup: int = 0
    ) -> None:
        lost = [{"reason": "timed-out", "text": silence}] if None in rtts else []
        value = {"sent": len(rtts), "received": sum(r is not None for r in rtts),
                 "rtt_ms": list(rtts), "duplicates": dup, "reordered": 0, "silence": lost}  # fmt: skip
        self.note("icmp", "echo", value)

    def drop(self, *whats: str) -> None:
        self.seen = [o for o in self.seen if o.what not in whats]

    def set(self, what: str, value: Any, raw: str = "") -> None:
        self.seen = [
            seen_again(o, value=value, raw=raw) if o.what == what else o for o in self.seen
        ]

    def no_snmp(self, outcome: str, detail: str = "") -> None:
        self.seen = [o for o in self.seen if o.kind.probe != "snmp"]
        self.note("snmp", "answer", outcome, raw=detail)

    def dead(self) -> None:
        self.seen = [o for o in self.seen if o.kind.probe == "laptop"]
        self.note("icmp", "warm-up", {"replied": False, "silence": []})
        self.echo((None,) * 5)
        self.note("tcp", "tcp/443", "filtered", raw="no answer within 1 s")
        self.note("tcp", "tcp/23", "filtered", raw="no answer within 1 s")
        self.note("snmp", "answer", "silent", raw="no answer within 4 s")


def planned(name: str, address: str) -> Device:
    return Device(
        name=name,
        address=Interface.parse(f"{address}/24"),
        gateway=Address.parse("198.18.20.1"),
        location="Lighthouse",
        profile="hop-radio",
        mac=Mac.parse("02:00:5e:10:00:01"),
        serial="000123",
        snmp="field",
        ports=(Port(name="eth1", status="up", speed_mbps=1000, duplex="full", mtu=1500),),
        services=Services(open=(Service(port=443),), closed=(Service(port=23),)),
    )


PLAN = Plan(
    devices=(planned(A, "198.18.20.11"), planned(B, "198.18.20.12")),
    links=(Link(name="Hop 1", carriers=(Carrier(a=End(device=A), b=End(device=B)),)),),
    origins=Everywhere(),
)


def judged(
    change: Callable[[Unit, Unit], object], plan: Plan = PLAN, laptop: Any = LAPTOP, **more: Any
) -> tuple[Finding, ...]:
    """Findings about two devices of which something was changed."""
    return judged_whole(change, plan, laptop, **more).findings


def judged_whole(
    change: Callable[[Unit, Unit], object], plan: Plan = PLAN, laptop: Any = LAPTOP, **more: Any
) -> Judgement:
    """The same with causes."""
    a, b = Unit(A, "198.18.20.11"), Unit(B, "198.18.20.12")
    change(a, b)
    first = observation(id=0, subject=Subject("laptop", "laptop"), probe="laptop", what="interfaces",
                        value=laptop, at="")  # fmt: skip
    seen = [dataclasses.replace(o, id=n) for n, o in enumerate([first, *a.seen, *b.seen], start=1)]
    return compare(plan, {"hop-radio": PROFILE}, seen, **more)


def wrong(findings: tuple[Finding, ...]) -> set[tuple[str, str, str]]:
    return {(f.check, str(f.subject), f.verdict) for f in findings if f.verdict != "pass"}


def with_first(**more: Any) -> Plan:
    first, second = PLAN.devices
    return dataclasses.replace(PLAN, devices=(dataclasses.replace(first, **more), second))


SNMP_CHECKS = {
    "identity.name", "identity.location", "identity.object-id", "identity.serial", "address.mask",
    "address.gateway",
}  # fmt: skip
NO_FIGURES = {("echo.loss", A, "not-tested"), ("echo.round-trip", A, "not-tested")}
PORT_CHECKS = {"port.status", "port.speed", "port.duplex", "port.mtu"}


def unread(*, mac: bool = False) -> set[tuple[str, str, str]]:
    more = {"neighbour.mac"} if mac else set()
    return {(c, A, "not-tested") for c in SNMP_CHECKS | more} | {
        (c, f"{A} eth1", "not-tested") for c in PORT_CHECKS
    }


def swap(a: Unit, b: Unit) -> None:
    a.set("sysName", B)
    b.set("sysName", A)


def by_ip_address_table(a: Unit, _: Unit) -> None:
    a.drop("ipAdEntIfIndex", "ipAdEntNetMask")
    a.note("snmp", "ipAdEntNetMask", None, raw="no rows", oid=OIDS["ipAdEntNetMask"])
    prefix = f"{mib.IP_ADDRESS_PREFIX_ENTRY}.3.1.4.198.18.20.0.24"
    a.cell("ipAddressPrefix", "1.4.198.18.20.11", prefix)


def two_routes(first: int, second: int) -> Callable[[Unit, Unit], None]:
    def change(a: Unit, _: Unit) -> None:
        a.drop("default-route")
        a.note("snmp", "default-route", {"next_hop": "198.18.20.9", "metric": first})
        a.note("snmp", "default-route", {"next_hop": "198.18.20.1", "metric": second})

    return change


def newer_routes(*rows: tuple[str, int]) -> Callable[[Unit, Unit], None]:
    """The one row of ipRouteTable says the planned gateway; ipCidrRouteTable has these."""

    def change(a: Unit, _: Unit) -> None:
        a.drop("default-route")
        planned = {"next_hop": "198.18.20.1", "metric": None}
        a.note("snmp", "default-route", planned, oid=mib.IP_ROUTE_NEXT_HOP_DEFAULT)
        for hop, metric in rows:
            oid = f"{mib.IP_CIDR_ROUTE_TYPE}.0.0.0.0.0.0.0.0.0.{hop}"
            a.note("snmp", "default-route", {"next_hop": hop, "metric": metric}, oid=oid)

    return change


def no_default(**ways: list[str]) -> Callable[[Unit, Unit], None]:
    """The table of the device's own subnet is read, and holds no default route."""

    def change(a: Unit, _: Unit) -> None:
        a.set("default-route", None, "no default route in any routing table")
        a.note("snmp", "connected-route", {"to": "198.18.20.0/24", "next_hop": "0.0.0.0"})
        for name, hops in ways.items():
            host = name.replace("_", ".").removeprefix("h")
            value = {"host": host, "to": f"{host}/32", "next_hops": hops}
            a.note("snmp", "host-route", value)

    return change


def renamed_port(column: str) -> Callable[[Unit, Unit], None]:
    def change(a: Unit, _: Unit) -> None:
        for name in ("ifName", "ifDescr", "ifAlias"):
            a.set(name, "eth1" if name == column else "other")

    return change


def row_before(a: Unit, _: Unit) -> None:
    """Row 13 comes before row 3, which is the planned port's."""
    right, a.seen = a.seen, []
    a.port("13", ifName="eth13", ifMtu=9000, ifOperStatus="down")
    a.seen += right


def refused_by_a_filter(a: Unit, _: Unit) -> None:
    """Dead, and something on the way says that the agent's port cannot be reached."""
    a.dead()
    a.set("answer", "port-unreachable", "198.18.30.1 says: port unreachable")


EIGHT = tuple([0.5] * 7 + [None])
Change = Callable[[Unit, Unit], object]
SITUATIONS: list[tuple[str, Change, set[tuple[str, str, str]]]] = [
    ("all right", lambda a, b: None, set()),
    ("other name", lambda a, b: a.set("sysName", "ferry"), {("identity.name", A, "fail")}),
    ("name in capitals", lambda a, b: a.set("sysName", A.upper()), {("identity.name", A, "warn")}),
    ("name with domain", lambda a, b: a.set("sysName", f"{A}.example"), {("identity.name", A, "warn")}),
    ("empty name", lambda a, b: a.set("sysName", ""), {("identity.name", A, "fail")}),
    *(
        (f"name with {what}", lambda a, b, n=name: a.set("sysName", n), {("identity.name", A, "fail")})
        for what, name in (
            ("a space behind it", f"{A} "),
            ("a space before it", f" {A}"),
            ("a line feed behind it", f"{A}\n"),
            ("a NUL behind it", f"{A}\0"),
            ("no-break space behind it", f"{A}\u00a0"),
        )
    ),
    ("longer name", lambda a, b: a.set("sysName", f"{A}-2"), {("identity.name", A, "fail")}),
    (
        "missing name",
        lambda a, b: a.set("sysName", None, "noSuchObject"),
        {("identity.name", A, "not-tested")},
    ),
    (
        "ends swapped",
        swap,
        {
            ("identity.name", A, "fail"),
            ("identity.name", B, "fail"),
            ("link.ends-swapped", "Hop 1", "fail"),
        },
    ),
    (
        "ends swapped, with a domain",
        lambda a, b: (a.set("sysName", f"{B}.example"), b.set("sysName", A.upper())),
        {
            ("identity.name", A, "fail"),
            ("identity.name", B, "fail"),
            ("link.ends-swapped", "Hop 1", "fail"),
        },
    ),
    ("other location", lambda a, b: a.set("sysLocation", "Quarry"), {("identity.location", A, "warn")}),
    ("location by case", lambda a, b: a.set("sysLocation", "LIGHTHOUSE"), set()),
    ("empty location", lambda a, b: a.set("sysLocation", ""), {("identity.location", A, "warn")}),
    (
        "other family",
        lambda a, b: a.set("sysObjectID", "1.3.6.1.4.1.32473.10"),
        {("identity.object-id", A, "fail")},
    ),
    ("family itself", lambda a, b: a.set("sysObjectID", "1.3.6.1.4.1.32473.1"), set()),
    ("other serial", lambda a, b: a.set("serial", "000999"), {("identity.serial", A, "fail")}),
    ("longer serial", lambda a, b: a.set("serial", "0001234"), {("identity.serial", A, "fail")}),
    ("serial missing", lambda a, b: a.drop("serial"), {("identity.serial", A, "not-tested")}),
    ("wide mask", lambda a, b: a.set("ipAdEntNetMask", "255.255.0.0"), {("address.mask", A, "fail")}),
    (
        "narrow mask",
        lambda a, b: a.set("ipAdEntNetMask", "255.255.255.128"),
        {("address.mask", A, "fail")},
    ),
    ("newer address table only", by_ip_address_table, set()),
    (
        "no address table",
        lambda a, b: a.drop("ipAdEntNetMask", "ipAdEntIfIndex"),
        {("address.mask", A, "not-tested")},
    ),
    (
        "mask that is none",
        lambda a, b: a.set("ipAdEntNetMask", "255.0.255.0"),
        {("address.mask", A, "fail")},
    ),
    (
        "further address",
        lambda a, b: a.cell("ipAdEntNetMask", "192.0.2.21", "255.255.255.0"),
        {("address.extra", A, "warn")},
    ),
    (
        "loopback is no further address",
        lambda a, b: a.cell("ipAdEntNetMask", "127.0.0.1", "255.0.0.0"),
        set(),
    ),
    (
        "link-local is no further address",
        lambda a, b: a.cell("ipAdEntNetMask", "169.254.3.4", "255.255.0.0"),
        set(),
    ),
    (
        "other gateway",
        lambda a, b: a.set("default-route", {"next_hop": "198.18.20.254", "metric": None}),
        {("address.gateway", A, "fail")},
    ),
    (
        "no default route",
        lambda a, b: a.set("default-route", None, "no default route"),
        {("address.gateway", A, "not-tested")},
    ),
    (
        "no default route in the table of its own subnet",
        no_default(),
        {("address.gateway", A, "fail")},
    ),
    (
        "no default route in a table without its own subnet",
        lambda a, b: (
            a.set("default-route", None, "no default route"),
            a.note("snmp", "connected-route", None, "the route of its own subnet is not listed"),
        ),
        {("address.gateway", A, "not-tested")},
    ),
    (
        "the older table says the planned one, the newer one another",
        newer_routes(("198.18.20.9", 10)),
        {("address.gateway", A, "fail")},
    ),
    (
        "the older table says another, the newer one the planned one",
        lambda a, b: (
            newer_routes(("198.18.20.1", 10))(a, b),
            a.note(
                "snmp", "default-route", {"next_hop": "198.18.20.9", "metric": None},
                oid=mib.IP_ROUTE_NEXT_HOP_DEFAULT,
            ),
        ),
        set(),
    ),
    (
        "the older table says the planned one, the newer one prefers another",
        newer_routes(("198.18.20.1", 20), ("198.18.20.9", 10)),
        {("address.gateway", A, "fail")},
    ),
    ("two routes, metrics not used", two_routes(-1, -1), set()),
    ("two routes, one metric not told", two_routes(-1, 10), set()),
    ("two routes, planned is best", two_routes(20, 10), set()),
    ("two routes alike", two_routes(10, 10), set()),
    ("two routes, planned is second", two_routes(5, 10), {("address.gateway", A, "fail")}),
    (
        "other hardware",
        lambda a, b: a.set("neighbour", "02:00:5e:10:00:99"),
        {("neighbour.mac", A, "fail")},
    ),
    (
        "hardware by the neighbour table before the interface table",
        lambda a, b: a.cell("ifPhysAddress", "3", "02:00:5e:10:00:99"),
        set(),
    ),
    (
        "hardware not known",
        lambda a, b: a.drop("neighbour"),
        {("neighbour.mac", A, "not-tested")},
    ),
    *(
        (
            f"hardware by interface table: {kind}",
            lambda a, b, v=value: (a.drop("neighbour"), a.cell("ifPhysAddress", "3", v)),
            expected,
        )
        for kind, value, expected in (
            ("empty", "", {("neighbour.mac", A, "not-tested")}),
            ("zeros", "00:00:00:00:00:00", {("neighbour.mac", A, "not-tested")}),
            ("20 octets", ":".join(["12"] * 20), {("neighbour.mac", A, "not-tested")}),
            ("text", ":".join(f"{o:02x}" for o in b"02-00-5E-10-00-01"), set()),
            ("text and NUL", ":".join(f"{o:02x}" for o in b"0200.5e10.0001\0"), set()),
            (
                "another's as text",
                ":".join(f"{o:02x}" for o in b"02:00:5e:10:00:99"),
                {("neighbour.mac", A, "fail")},
            ),
        )
    ),
    (
        "hardware by interface table",
        lambda a, b: (a.drop("neighbour"), a.cell("ifPhysAddress", "3", "02:00:5e:10:00:01")),
        set(),
    ),
    (
        "port down",
        lambda a, b: a.set("ifOperStatus", "down"),
        {("port.status", f"{A} eth1", "fail")},
    ),
    (
        "port status unknown",
        lambda a, b: a.set("ifOperStatus", "unknown"),
        {("port.status", f"{A} eth1", "not-tested")},
    ),
    (
        "port slow",
        lambda a, b: (a.set("ifSpeed", 100_000_000), a.set("ifHighSpeed", 100)),
        {("port.speed", f"{A} eth1", "fail")},
    ),
    (
        "port without speed",
        lambda a, b: (a.set("ifSpeed", 0), a.set("ifHighSpeed", 0)),
        {("port.speed", f"{A} eth1", "not-tested")},
    ),
    (
        "two speeds that contradict each other",
        lambda a, b: a.set("ifSpeed", 100_000_000),
        {("port.speed", f"{A} eth1", "not-tested")},
    ),
    (
        "half duplex",
        lambda a, b: a.set("dot3StatsDuplexStatus", "half"),
        {("port.duplex", f"{A} eth1", "fail")},
    ),
    (
        "duplex unknown",
        lambda a, b: a.set("dot3StatsDuplexStatus", "unknown"),
        {("port.duplex", f"{A} eth1", "not-tested")},
    ),
    (
        "duplex not offered",
        lambda a, b: a.set("dot3StatsDuplexStatus", None, "noSuchInstance"),
        {("port.duplex", f"{A} eth1", "not-tested")},
    ),
    ("other MTU", lambda a, b: a.set("ifMtu", 1400), {("port.mtu", f"{A} eth1", "fail")}),
    ("port found by ifDescr", renamed_port("ifDescr"), set()),
    ("port found by ifAlias", renamed_port("ifAlias"), set()),
    (
        "no such port",
        lambda a, b: a.set("ifName", "eth7"),
        {(c, f"{A} eth1", "not-tested") for c in PORT_CHECKS},
    ),
    (
        "two ports of that name",
        lambda a, b: a.port("4", ifName="eth1"),
        {(c, f"{A} eth1", "not-tested") for c in PORT_CHECKS},
    ),
    ("another port whose index ends alike", row_before, set()),
    (
        "service refused",
        lambda a, b: a.set("tcp/443", "closed", "connection refused"),
        {("tcp.open", A, "fail")},
    ),
    (
        "service filtered",
        lambda a, b: a.set("tcp/443", "filtered", "no answer"),
        {("tcp.open", A, "fail")},
    ),
    ("service that should be off", lambda a, b: a.set("tcp/23", "open"), {("tcp.closed", A, "fail")}),
    ("service filtered as wanted", lambda a, b: a.set("tcp/23", "filtered"), set()),
    (
        "service could not be asked",
        lambda a, b: a.set("tcp/443", "unreachable", "no route to host"),
        {("tcp.open", A, "not-tested")},
    ),
    (
        "service this machine could not ask",
        lambda a, b: (a.set("tcp/443", "not-sent", "too many open files"),
                      a.set("tcp/23", "not-sent", "too many open files")),
        {("tcp.open", A, "not-tested"), ("tcp.closed", A, "not-tested")},
    ),
    ("one echo lost", lambda a, b: (a.drop("echo"), a.echo(EIGHT)), {("echo.loss", A, "warn")}),
    (
        "echo twice",
        lambda a, b: (a.drop("echo"), a.echo(RTTS, dup=2)),
        {("echo.duplicate", A, "warn")},
    ),
    (
        "echoes filtered",
        lambda a, b: (a.drop("echo", "warm-up"), a.echo((None,) * 5)),
        {("echo.reply", A, "fail"), *NO_FIGURES},
    ),
    (
        "no permission for echoes",
        lambda a, b: (a.drop("echo", "warm-up"), a.note("icmp", "echo", None, raw="no permission")),
        {("echo.reply", A, "not-tested"), *NO_FIGURES},
    ),
    (
        "answer from elsewhere",
        lambda a, b: (a.no_snmp("silent"), a.note("snmp", "responder", "198.18.30.11")),
        {("snmp.answer", A, "fail"), *unread(), ("snmp.responder", A, "warn")},
    ),
    (
        "answer from another port",
        lambda a, b: (a.no_snmp("silent"), a.note("snmp", "responder", "198.18.20.11", "port 9")),
        {("snmp.answer", A, "fail"), *unread(), ("snmp.responder", A, "warn")},
    ),
    (
        "answer from another device of the plan",
        lambda a, b: (a.no_snmp("silent"), a.note("snmp", "responder", "198.18.20.12")),
        {("snmp.answer", A, "fail"), *unread()},
    ),
    (
        "answer from elsewhere, and from the device too",
        lambda a, b: a.note("snmp", "responder", "198.18.30.11"),
        set(),
    ),
    (
        "cloned engine",
        lambda a, b: [u.note("snmp", "engine-id", "80007ed904aa") for u in (a, b)],
        {("snmp.engine-id", A, "warn"), ("snmp.engine-id", B, "warn")},
    ),
    (
        "default community refused",
        lambda a, b: (a.note("snmp", "default-community", "silent"), a.note("snmp", "answer-after", "answered")),
        set(),
    ),
    (
        "default community answered",
        lambda a, b: (a.note("snmp", "default-community", "answered"), a.note("snmp", "answer-after", "answered")),
        {("snmp.default-refused", A, "fail")},
    ),
    (
        "silence that proves nothing",
        lambda a, b: (a.note("snmp", "default-community", "silent"), a.note("snmp", "answer-after", "silent")),
        {("snmp.default-refused", A, "not-tested")},
    ),
    *(
        (f"SNMP {outcome}", lambda a, b, o=outcome: a.no_snmp(o), {("snmp.answer", A, "fail"), *unread()})
        for outcome in (
            "silent", "port-unreachable", "unknown-user", "wrong-digest", "decryption-error",
            "unsupported-level", "not-in-time-window", "undecodable",
        )
    ),
    (
        "SNMP could not be sent",
        lambda a, b: a.no_snmp("local-error", "no buffer space"),
        {("snmp.answer", A, "not-tested"), *unread()},
    ),
    (
        "dead, the port refused by a filter on the way",
        refused_by_a_filter,
        {
            ("echo.reply", A, "fail"),
            *NO_FIGURES,
            ("snmp.answer", A, "not-tested"),
            ("tcp.open", A, "not-tested"),
            ("tcp.closed", A, "not-tested"),
            *unread(mac=True),
        },
    ),
    (
        "dead",
        lambda a, b: a.dead(),
        {
            ("echo.reply", A, "fail"),
            *NO_FIGURES,
            ("snmp.answer", A, "not-tested"),
            ("tcp.open", A, "not-tested"),
            ("tcp.closed", A, "not-tested"),
            *unread(mac=True),
        },
    ),
]  # fmt: skip


@pytest.mark.parametrize(("change", "expected"), [s[1:] for s in SITUATIONS],
                         ids=[s[0] for s in SITUATIONS])  # fmt: skip
def test_situation(change: Change, expected: set[tuple[str, str, str]]) -> None:
    """Exactly these findings do not pass."""
    assert wrong(judged(change)) == expected


def test_every_finding_has_a_reason_and_every_failure_advice() -> None:
    """Whoever reads a failure knows what to do next."""
    for _, change, _ in SITUATIONS:
        for finding in judged(change):
            assert finding.reason
            if finding.verdict == "fail":
                assert finding.advice, finding


GBIT = 1_000_000_000
SPEEDS = [
    # (ifSpeed, ifHighSpeed, planned Mbit/s, verdict, found)
    (4_294_967_295, 10_000, 10_000, "pass", 10_000),
    (4_294_967_295, 100_000, 100_000, "pass", 100_000),
    (4_294_967_295, 10_000, 1000, "fail", 10_000),
    (4_294_967_295, 0, 10_000, "not-tested", None),
    (4_294_967_295, None, 10_000, "not-tested", None),
    (10 * GBIT % 2**32, 10_000, 10_000, "pass", 10_000),
    (40 * GBIT % 2**32, 40_000, 40_000, "pass", 40_000),
    (100 * GBIT % 2**32, 100_000, 100_000, "pass", 100_000),
    (10 * GBIT % 2**32, 10_000, 1000, "fail", 10_000),
    (10 * GBIT % 2**32, 0, 10_000, "not-tested", 1410.065408),
    (GBIT, 1000, 1000, "pass", 1000),
    (GBIT, None, 1000, "pass", 1000),
    (GBIT, 0, 1000, "pass", 1000),
    (100_000_000, 100, 1000, "fail", 100),
    (2_500_000_000, 2500, 2500, "pass", 2500),
    (1_544_000, 2, 2, "pass", 1.544),
    (1_544_000, 1, 2, "pass", 1.544),
    (64_000, 0, 1, "fail", 0.064),
    (0, 1000, 1000, "pass", 1000),
    (None, 1000, 1000, "pass", 1000),
    (0, 0, 1000, "not-tested", None),
    (GBIT, 10_000, 1000, "not-tested", (1000, 10_000)),
    (GBIT, 100, 1000, "not-tested", (1000, 100)),
    (1000, 1000, 1000, "not-tested", (0.001, 1000)),
    (10 * GBIT % 2**32, 1000, 1000, "not-tested", (1410.065408, 1000)),
]
"""RFC 2863, section 6: ifSpeed is in bit/s, and at its largest value (4,294,967,295) ifHighSpeed must
be used; ifHighSpeed in devices of 1,000,000 bit/s, n standing for n-500,000 to n+499,999. Both are 0
where there is no concept of bandwidth. An agent that does not stop at the largest value but goes on
modulo 2^32 is as common as one that cuts off instead of rounding."""


@pytest.mark.parametrize(("speed", "high", "planned_mbps", "verdict", "found"), SPEEDS)
def test_speed_by_both_objects(
    speed: int | None, high: int | None, planned_mbps: int, verdict: str, found: Any
) -> None:
    """The wider object counts where ifSpeed is at its end or went round; at odds, neither does."""

    def tell(a: Unit, _: Unit) -> None:
        a.set("ifSpeed", speed, "" if speed is not None else "noSuchInstance")
        a.set("ifHighSpeed", high, "" if high is not None else "noSuchInstance")

    plan = with_first(ports=(Port(name="eth1", speed_mbps=planned_mbps),))
    (finding,) = [f for f in judged(tell, plan) if f.check == "port.speed" and f.subject.name == A]
    assert (finding.verdict, finding.observed) == (verdict, found)
    if isinstance(found, list):
        assert "ifSpeed" in finding.reason
        assert "ifHighSpeed" in finding.reason


@pytest.mark.parametrize("mask", ["255.0.255.0", "0.255.255.0", "255.255.255.1", "254.255.255.0"])
def test_a_mask_with_holes_is_a_wrong_mask(mask: str) -> None:
    """The ones of a mask come first and together (RFC 4632 5.1); `ipaddress` refuses the others."""
    with pytest.raises(ValueError, match="netmask"):
        ipaddress.IPv4Network(f"0.0.0.0/{mask}")
    findings = judged(lambda a, _: a.set("ipAdEntNetMask", mask))
    (finding,) = [f for f in findings if f.check == "address.mask" and f.subject.name == A]
    assert (finding.verdict, finding.observed) == ("fail", mask)
    assert mask in finding.reason
    assert finding.advice
    assert not [f for f in findings if f.check == "address.extra"]


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (f"{A} ", "a space at its end"),
        (f"  {A}", "2 spaces at its beginning"),
        (f"{A}\r\n", "U+000D and U+000A at its end"),
        (f"{A}\0", "U+0000 at its end"),
        (f" {A} ", "a space at its beginning and a space at its end"),
        (f"{A.upper()} ", "a space at its end, and capital letters or a domain suffix differ"),
    ],
)
def test_what_stands_around_a_name_is_named(found: str, words: str) -> None:
    """Nobody sees a space on a screen: it is said where it stands."""
    findings = judged(lambda a, _: a.set("sysName", found))
    (finding,) = [f for f in findings if f.check == "identity.name" and f.subject.name == A]
    assert finding.verdict == "fail"
    assert words in finding.reason
    assert finding.observed == found
    causes = judged_whole(lambda a, _: a.set("sysName", found)).causes
    assert {c.kind for c in causes if finding.id in c.for_} <= {"name-wrong"}


H1, H2 = "h203_0_113_10", "h203_0_113_20"
AFAR = {
    "interfaces": [{"name": "eth0", "up": True, "addresses": ["198.18.30.5/24"], "vlan": None}],
    "gateways": [],
    "assumed": False,
}


def seen_from_afar(a: Unit, _: Unit) -> None:
    route = {"interface": "eth0", "source": "198.18.30.5", "next_hop": "198.18.30.1"}
    a.set("route", route)


NO_DEFAULTS: dict[str, tuple[Change, Any, str, str]] = {
    "forgotten": (no_default(), LAPTOP, "fail", "has no gateway"),
    "routes to all managers by it": (
        no_default(**{H1: ["198.18.20.1"], H2: ["198.18.20.1"]}), LAPTOP, "pass", "all 2 managem",
    ),
    "a route to one manager only": (
        no_default(**{H1: ["198.18.20.1"]}), LAPTOP, "fail", "203.0.113.20",
    ),
    "routes by another gateway": (
        no_default(**{H1: ["198.18.20.1"], H2: ["198.18.20.9"]}), LAPTOP, "fail", "203.0.113.20",
    ),
    "routes by two gateways": (
        no_default(**{H1: ["198.18.20.1"], H2: ["198.18.20.1", "198.18.20.9"]}), LAPTOP, "fail",
        "203.0.113.20",
    ),
    "it answered from afar": (
        lambda a, b: (no_default()(a, b), seen_from_afar(a, b)), AFAR, "warn", "198.18.30.5",
    ),
    "it answered from afar, by a mask that is too wide": (
        lambda a, b: (
            no_default()(a, b), seen_from_afar(a, b), a.set("ipAdEntNetMask", "255.255.0.0"),
        ),
        AFAR, "fail", "has no gateway",
    ),
    "from afar, another routing instance": (
        lambda a, b: (a.set("default-route", None, "no default route"), seen_from_afar(a, b)),
        AFAR, "not-tested", "no default route",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", NO_DEFAULTS)
def test_no_default_route(name: str) -> None:
    """What its lack means: bad and sound ones side by side."""
    change, laptop, verdict, words = NO_DEFAULTS[name]
    hosts = (("manager-1", "203.0.113.10"), ("manager-2", "203.0.113.20"), ("near", "198.18.20.99"))
    plan = dataclasses.replace(
        PLAN,
        management=Management(
            hosts=tuple(Host(name=n, address=Address.parse(a)) for n, a in hosts)
        ),
    )
    findings = judged(change, plan, laptop)
    (finding,) = [f for f in findings if f.check == "address.gateway" and f.subject.name == A]
    assert finding.verdict == verdict, finding.reason
    assert words in finding.reason
    assert bool(finding.advice) is (verdict in {"fail", "warn"})


@pytest.mark.parametrize(
    ("change", "verdict"),
    [
        (lambda a, b: None, "fail"),
        (no_default(), "pass"),
        (lambda a, b: a.set("default-route", None, "no default route"), "not-tested"),
        (lambda a, b: a.drop("default-route"), "not-tested"),
    ],
    ids=["it has one", "it has none", "another routing instance", "not read"],
)
def test_none_is_a_planned_gateway(change: Change, verdict: str) -> None:
    """`gateway: none`: a default route is against the plan; an empty cell says nothing."""
    plan = with_first(gateway=None, no_gateway=True)
    (finding,) = [
        f for f in judged(change, plan) if (f.check, f.subject.name) == ("address.gateway", A)
    ]
    assert (finding.verdict, finding.expected) == (verdict, "none")
    empty = judged(change, with_first(gateway=None))
    assert not [f for f in empty if (f.check, f.subject.name) == ("address.gateway", A)]


def test_empty_cells_make_no_findings() -> None:
    """What is not planned is not checked."""
    bare = Device(
        name=A, address=Interface.parse("198.18.20.11/24"), profile="hop-radio", snmp="field"
    )
    plan = Plan(devices=(bare,))
    checks = {f.check for f in judged(lambda a, b: None, plan)}
    assert checks == {
        "laptop.fit", "echo.reply", "echo.loss", "echo.round-trip", "snmp.answer", "identity.name",
        "identity.object-id", "address.mask",
    }  # fmt: skip


def test_without_an_entry_identity_is_not_tested() -> None:
    """Alive is not right: without SNMP the name is not known, and that is said."""
    found = judged(lambda a, b: None, with_first(snmp=None))
    assert ("identity.name", A, "not-tested") in wrong(found)
    assert not [f for f in found if f.check == "snmp.answer" and f.subject.name == A]


def test_reading_that_the_profile_lacks_is_said() -> None:
    """A planned value that no reading gives is not tested, with the reason."""
    found = judged(lambda a, b: None, with_first(software="4.2.1"))
    (finding,) = [f for f in found if f.check == "identity.software"]
    assert finding.verdict == "not-tested"
    assert "has no reading for software" in finding.reason


@pytest.mark.parametrize(
    ("rtts", "limit", "verdict"),
    [(EIGHT, 20.0, "pass"), (EIGHT, 12.5, "pass"), (EIGHT, 12.4, "fail"), (RTTS, 0.0, "pass")],
)
def test_loss_against_the_limit(rtts: tuple[float | None, ...], limit: float, verdict: str) -> None:
    """One of eight lost is 12.5 %: over the planned limit it fails, at or below it passes."""
    plan = dataclasses.replace(PLAN, acceptance=Acceptance(max_loss_pct=limit))
    found = judged(lambda a, b: (a.drop("echo"), a.echo(rtts)), plan)
    assert {f.verdict for f in found if f.check == "echo.loss" and f.subject.name == A} == {verdict}


@pytest.mark.parametrize(("limit", "verdict"), [(1.0, "pass"), (0.55, "warn"), (0.3, "fail")])
def test_rtt_against_the_limit(limit: float, verdict: str) -> None:
    """Some echoes over the limit warn, more than half over it fail."""
    plan = dataclasses.replace(PLAN, acceptance=Acceptance(max_rtt_p95_ms=limit))
    found = judged(lambda a, b: None, plan)
    assert {f.verdict for f in found if f.check == "echo.round-trip"} == {verdict}


def test_round_trip_times_are_said_in_full() -> None:
    """Minimum, average, median, maximum and jitter (RFC 3550 6.4.1), in ms."""
    (found,) = [
        f for f in judged(lambda a, b: None) if f.check == "echo.round-trip" and f.subject.name == A
    ]
    assert (found.observed, found.unit) == (0.5, "ms")
    assert found.reason.startswith(
        "min 0.400, average 0.500, median 0.500, max 0.600 ms, jitter 0.02"
    )


ELSEWHERE = {**LAPTOP, "interfaces": [{**LAPTOP["interfaces"][0], "addresses": ["203.0.113.9/24"]}]}  # type: ignore[index]


def test_laptop_that_does_not_fit_is_no_fault_of_the_unit() -> None:
    """A silent device and a laptop outside its subnet: everything about it is not tested."""

    def change(a: Unit, _: Unit) -> None:
        a.dead()
        a.set("route", None)

    found = [f for f in judged(change, laptop=ELSEWHERE) if f.subject.name == A]
    assert {f.verdict for f in found} == {"not-tested"}
    assert "one-way" in found[0].reason


SPECIALS: list[tuple[str, Any, Any]] = [
    ("holds its address", ["198.18.20.250/24", "198.18.20.11/24"], "eth0"),
    ("a mask too wide, answers go elsewhere", ["198.18.30.250/16"], "eth0"),
]


@pytest.mark.parametrize(("held", "interface"), [s[1:] for s in SPECIALS],
                         ids=[s[0] for s in SPECIALS])  # fmt: skip
def test_laptop_that_half_fits_is_no_fault_of_a_silent_unit(
    held: list[str], interface: str
) -> None:
    """Whatever is odd about the laptop is not tested, never the device's failure."""
    laptop = {**LAPTOP, "interfaces": [{**LAPTOP["interfaces"][0], "addresses": held}]}  # type: ignore[index]

    def change(a: Unit, _: Unit) -> None:
        a.dead()
        a.set("route", {"interface": interface, "source": held[0].split("/")[0], "next_hop": None})

    found = [f for f in judged(change, laptop=laptop) if f.subject.name == A]
    assert {f.verdict for f in found} == {"not-tested"}


@pytest.mark.parametrize("up", [True, False])
def test_laptop_that_answers_in_the_units_place(up: bool) -> None:  # noqa: FBT001
    """The laptop holds the device's address, with or without a carrier: its answers prove nothing."""
    eth0 = {"name": "eth0", "up": up, "addresses": ["198.18.20.11/24"], "vlan": None}
    laptop = {**LAPTOP, "interfaces": [eth0]}

    def change(a: Unit, _: Unit) -> None:
        a.set("route", {"interface": "lo", "source": "198.18.20.11", "next_hop": None})
        a.no_snmp("port-unreachable")

    found = [f for f in judged(change, laptop=laptop) if f.subject.name == A]
    assert {f.verdict for f in found} == {"not-tested"}


def test_laptop_that_does_not_fit_but_is_answered_is_warned() -> None:
    """It answered all the same: the way may be one the plan does not know."""
    found = judged(lambda a, b: None, laptop=ELSEWHERE)
    assert wrong(found) == {("laptop.fit", A, "warn"), ("laptop.fit", B, "warn")}


def may_stay(check: str, by: str | None = None) -> NotTestedOk:
    """That a check may stay untested."""
    return NotTestedOk(check=check, reason="nobody can read it", by=by)


def test_untested_may_be_accepted() -> None:
    """By the plan or by option: then it is a warning that says so."""
    plan = dataclasses.replace(PLAN, not_tested_ok=(may_stay("port.duplex"),))
    found = judged(lambda a, b: a.drop("dot3StatsDuplexStatus", "serial"), plan,
                   accept_untested=[may_stay("identity.serial")])  # fmt: skip
    assert wrong(found) == {
        ("port.duplex", f"{A} eth1", "warn"),
        ("identity.serial", A, "warn"),
    }
    assert all("accepted" in f.reason for f in found if f.verdict == "warn")


def test_a_failure_is_never_accepted() -> None:
    """Only what could not be tested may be let go."""
    plan = dataclasses.replace(PLAN, not_tested_ok=(may_stay("identity.name"),))
    found = judged(lambda a, b: a.set("sysName", "ferry"), plan)
    assert wrong(found) == {("identity.name", A, "fail")}


def test_what_is_not_asked_at_this_stage_is_named_once() -> None:
    """On the bench no port need be up; its state makes no finding, and is named once for all."""
    a, b = Unit(A, "198.18.20.11"), Unit(B, "198.18.20.12")
    first = observation(id=0, subject=Subject("laptop", "laptop"), probe="laptop", what="interfaces",
                        value=LAPTOP, at="")  # fmt: skip
    seen = [dataclasses.replace(o, id=n) for n, o in enumerate([first, *a.seen, *b.seen], start=1)]
    bench = compare(PLAN, {"hop-radio": PROFILE}, seen, stage="bench")
    assert bench.not_in_stage == ("port.status", "port.speed", "port.duplex")
    assert not {f.check for f in bench.findings} & set(bench.not_in_stage)
    handover = compare(PLAN, {"hop-radio": PROFILE}, seen, stage="handover")
    assert handover.not_in_stage == ()
    assert len(handover.findings) == len(bench.findings) + 6


def test_causes_tie_what_hangs_together() -> None:
    """A dead device's findings hang on one cause, swapped names on another."""
    seen = [*Unit(A, "198.18.20.11").seen]
    unit = Unit(B, "198.18.20.12")
    unit.dead()
    laptop = observation(id=0, subject=Subject("laptop", "laptop"), probe="laptop", what="interfaces",
                         value=LAPTOP, at="")  # fmt: skip
    numbered = [
        dataclasses.replace(o, id=n) for n, o in enumerate([laptop, *seen, *unit.seen], start=1)
    ]
    result = compare(PLAN, {"hop-radio": PROFILE}, numbered)
    findings, (cause,) = result.findings, result.causes
    hanging = {f.id for f in findings if f.verdict != "pass"}
    assert set(cause.for_) == hanging
    assert all(f.caused_by == (cause.id,) for f in findings if f.id in hanging)


def test_a_dead_unit_keeps_its_cause_whatever_may_stay_untested() -> None:
    """A check that may stay untested, and a warning of the plan, are no sign of life."""
    plan = dataclasses.replace(PLAN, not_tested_ok=(may_stay("identity.serial"),))
    warning = Problem(severity="warning", rule="names-differ-by-case", subject=Subject("device", A),
                      origin=None, message="x")  # fmt: skip
    found = judged(lambda a, b: a.dead(), plan, problems=[warning])
    tied = {f.check for f in found if f.subject.name == A and f.caused_by}
    assert {"echo.reply", "identity.serial", "tcp.open", "port.mtu"} <= tied
    assert not tied & {"laptop.fit", "plan.names-differ-by-case"}


def test_a_deadline_before_the_first_answer_is_said() -> None:
    """Not `was not asked`: asked, and given up."""

    def change(a: Unit, _: Unit) -> None:
        a.seen = [o for o in a.seen if o.kind.probe != "snmp"]
        a.note("snmp", "deadline", None, raw="not read to the end within 30 s")

    found = [f for f in judged(change) if f.subject.name == A and f.verdict == "not-tested"]
    assert {f.reason for f in found} == {"not read to the end within 30 s"}


def test_names_differ_by_more_than_a_domain() -> None:
    """A part after a dot is a domain where one name has none; else the names are others."""
    plan = with_first(name="hop.1")
    (found,) = [
        f
        for f in judged(
            lambda a, b: (
                setattr(
                    a,
                    "seen",
                    [dataclasses.replace(o, subject=Subject("device", "hop.1")) for o in a.seen],
                ),
                a.set("sysName", "hop.2"),
            ),
            plan,
        )
        if f.check == "identity.name" and f.subject.name == "hop.1"
    ]
    assert found.verdict == "fail"


@pytest.mark.parametrize(
    ("check", "field"), [("echo.loss", "max_loss_pct"), ("echo.round-trip", "max_rtt_p95_ms")]
)
def test_a_limit_of_the_plan_is_named_as_origin(check: str, field: str) -> None:
    """Where a limit of `acceptance` decided, the finding points at it and not at the device."""
    origins: dict[tuple[str, ...], Origin] = {
        ("acceptance", field): Origin("plan.yaml", line=9),
        ("devices", A): Origin("plan.yaml", line=2),
    }
    acceptance = Acceptance(max_loss_pct=50.0, max_rtt_p95_ms=50.0)
    plan = dataclasses.replace(PLAN, acceptance=acceptance, origins=origins)
    (found,) = [
        f for f in judged(lambda a, b: None, plan) if f.check == check and f.subject.name == A
    ]
    assert "line 9" in str(found.origin)


def test_reach_looks_at_echoes_and_services_only() -> None:
    """The smaller table of checks."""
    found = judged(lambda a, b: a.set("sysName", "ferry"), checks=REACH)
    layers = {f.check.split(".")[0] for f in found}
    assert layers == {"laptop", "echo", "tcp"}


def lldp(port_id: str, number: str, *heard: str) -> Callable[[Unit, Unit], None]:
    """A device whose LLDP port `number` is called `port_id` and hears these names."""

    def change(a: Unit, _: Unit) -> None:
        a.cell("lldpLocPortId", number, port_id)
        for n, name in enumerate(heard):
            a.cell("lldpRemSysName", f"77.{number}.{n}", name)
        a.cell("lldpRemSysName", "77.99.1", "somebody on another port")

    return change


def lldp_elsewhere(name: str) -> Callable[[Unit, Unit], None]:
    """A device that hears this name on port 6, and nobody on the planned port 5."""

    def change(a: Unit, _: Unit) -> None:
        a.cell("lldpLocPortId", "5", "eth1")
        a.cell("lldpLocPortId", "6", "eth2")
        a.cell("lldpRemSysName", "77.6.1", name)

    return change


def lldp_cut(raw: str | None) -> Callable[[Unit, Unit], None]:
    """A device that lists its LLDP ports; its table of neighbours ended so, or was not asked."""

    def change(a: Unit, _: Unit) -> None:
        a.cell("lldpLocPortId", "5", "eth1")
        for column in mib.LLDP_NEIGHBOURS if raw is not None else ():
            a.note("snmp", column, None, raw=raw or "", oid=OIDS[column])

    return change


NEIGHBOURS: list[tuple[str, Change, str]] = [
    ("heard", lldp("eth1", "5", "harbour-switch"), "pass"),
    ("two heard, one is it", lldp("eth1", "5", "old", "harbour-switch"), "pass"),
    ("with a domain", lldp("eth1", "5", "Harbour-Switch.example"), "warn"),
    ("another", lldp("eth1", "5", "ferry-switch"), "fail"),
    ("nobody", lldp("eth1", "5"), "fail"),
    ("the planned one, on another port", lldp_elsewhere("harbour-switch"), "fail"),
    ("port known by its ifIndex", lldp("02:00:5e:10:00:77", "3", "harbour-switch"), "pass"),
    ("walk of the neighbours broke off", lldp_cut("silent"), "not-tested"),
    ("neighbours not asked in time", lldp_cut(None), "not-tested"),
    ("no neighbours at all", lldp_cut("no rows"), "fail"),
    ("no LLDP", lambda a, b: None, "not-tested"),
    ("no SNMP", lambda a, b: a.no_snmp("silent"), "not-tested"),
]


@pytest.mark.parametrize(("change", "verdict"), [n[1:] for n in NEIGHBOURS],
                         ids=[n[0] for n in NEIGHBOURS])  # fmt: skip
def test_neighbour(change: Change, verdict: str) -> None:
    """The planned name must be heard by LLDP on this very port."""
    plan = with_first(ports=(Port(name="eth1", neighbour="harbour-switch"),))
    (found,) = [f for f in judged(change, plan) if f.check == "port.neighbour"]
    assert (found.verdict, str(found.subject)) == (verdict, f"{A} eth1")


@pytest.mark.parametrize(
    ("dropped", "word"), [(("echo",), "went silent"), (("echo", "warm-up"), "filtered")]
)
def test_silence_after_a_first_answer_is_no_filter(dropped: tuple[str, ...], word: str) -> None:
    """A device that answered the warm-up went silent; one that answers SNMP alone is filtered."""
    found = judged(lambda a, b: (a.drop(*dropped), a.echo((None,) * 5)))
    (reply,) = [f for f in found if f.check == "echo.reply" and f.subject.name == A]
    assert reply.verdict == "fail"
    assert word in reply.reason


def test_warnings_of_the_plan_about_others_are_not_shown() -> None:
    """Asked for one device: what concerns it and the whole plan; no link, for it has two ends."""
    units = [
        Device(name=n, address=Interface.parse(f"198.18.20.{i}/24"))
        for i, n in enumerate("abcd", 11)
    ]
    links = tuple(
        Link(name=f"{a}{b}", carriers=(Carrier(a=End(device=a), b=End(device=b)),))
        for a, b in ("ab", "cd")
    )
    plan = Plan(devices=tuple(units), links=links)
    subjects = [Subject("device", "a"), Subject("port", "c", port="eth1"), Subject("link", "ab"),
                Subject("link", "cd"), Subject("network", "")]  # fmt: skip
    problems = [Problem("warning", f"rule-{n}", s, None, "odd") for n, s in enumerate(subjects)]
    result = compare(plan, {"mib2": Profile(id="mib2")}, [], stage="handover", devices=units[:1],
                     problems=problems)  # fmt: skip
    assert [f.check for f in result.findings if f.check.startswith("plan.")] == [
        "plan.rule-0", "plan.rule-4",
    ]  # fmt: skip
    assert [n.what for n in result.not_asked] == ["link ab"]
