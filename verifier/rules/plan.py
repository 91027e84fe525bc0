"""Offline rules: what cannot be meant, and what is unlikely to be meant, in a plan.

Each rule is a function from a plan to problems; `RULES` is the one table. Reading faults (not an
address, not a number) are found by `files/`, before these rules run.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator
from typing import Literal, NamedTuple

import netaddr

from verifier.model.address import Address, Interface
from verifier.model.plan import Device, Plan
from verifier.model.problem import Problem
from verifier.model.subject import Subject, SubjectKind
from verifier.rules.hosts import not_a_host, unusable

Severity = Literal["error", "warning"]


class Fault(NamedTuple):
    """What a rule found.

    Attributes:
        path: of the value, see `Plan.origins`.
        missing: the name that the plan does not hold; no fault if it was written but not read.
    """

    subject: Subject
    path: tuple[str, ...]
    message: str
    missing: str | None = None


Found = Iterator[Fault]
_ANY = "*"
"""Stands for any name in `Fault.missing`."""

_DOCUMENTATION = [
    netaddr.IPNetwork(n)
    for n in (
        "192.0.2.0/24", "198.51.100.0/24", "203.0.113.0/24",  # RFC 5737 section 3
        "2001:db8::/32", "3fff::/20",  # RFC 3849, RFC 9637
    )
]  # fmt: skip


def check(plan: Plan, unread: Collection[str] = ()) -> tuple[Problem, ...]:
    """Every problem of `plan`, in the order of the rules.

    Args:
        plan: as far as it could be read.
        unread: names of things that were written but could not be read; they are not missing.
    """
    return tuple(
        Problem(severity, name, fault.subject, plan.origin(*fault.path), fault.message)
        for name, severity, rule in RULES
        for fault in rule(plan)
        if not (unread and (fault.missing == _ANY or fault.missing in unread))
    )


def _device(name: str) -> Subject:
    return Subject("device", name)


def _kinds(plan: Plan) -> Iterator[tuple[SubjectKind, str, list[str]]]:
    yield "site", "sites", [s.name for s in plan.sites]
    yield "device", "devices", [d.name for d in plan.devices]
    yield "link", "links", [link.name for link in plan.links]
    yield "host", "hosts", [h.name for h in plan.management.hosts]


def _nothing_planned(plan: Plan) -> Found:
    if not plan.devices:
        yield Fault(
            Subject("network", plan.network.name), ("network",), "the plan has no devices", _ANY
        )


def _name_doubled(plan: Plan) -> Found:
    for kind, path, names in _kinds(plan):
        for name in sorted({n for n in names if names.count(n) > 1} if _doubled(names) else ()):
            yield Fault(Subject(kind, name), (path, name), f"two {path} are called {name!r}")


def _doubled(names: list[str]) -> bool:
    return len(set(names)) != len(names)


def _name_differs_by_case(plan: Plan) -> Found:
    for kind, path, names in _kinds(plan):
        folded = defaultdict(set)
        for name in names:
            folded[name.casefold()].add(name)
        for same in folded.values():
            for name in sorted(same)[1:]:
                first = min(same)
                yield Fault(
                    Subject(kind, name),
                    (path, name),
                    f"{name!r} and {first!r} are equal but for capital letters",
                )


def _site_unknown(plan: Plan) -> Found:
    known = {s.name for s in plan.sites}
    for d in plan.devices:
        if d.site is not None and d.site not in known:
            yield Fault(
                _device(d.name),
                ("devices", d.name, "site"),
                f"site {d.site!r} is not in the plan",
                d.site,
            )
    for window in plan.maintenance:
        for site in window.sites:
            if site not in known:
                yield Fault(
                    Subject("network", plan.network.name),
                    ("maintenance", window.name, "sites"),
                    f"maintenance {window.name!r}: site {site!r} is not in the plan",
                    site,
                )


def _link_end_unknown(plan: Plan) -> Found:
    known = {d.name for d in plan.devices}
    for link in plan.links:
        for carrier in link.carriers:
            for name, end in carrier.ends():
                if end.device not in known:
                    path = ("links", link.name, str(carrier.carrier), name, "device")
                    yield Fault(
                        Subject("link", link.name, carrier=carrier.carrier, end=name),
                        path,
                        f"device {end.device!r} is not in the plan",
                        end.device,
                    )


def _link_to_itself(plan: Plan) -> Found:
    for link in plan.links:
        a, b = link.devices()
        for device in sorted(a & b):
            yield Fault(
                Subject("link", link.name),
                ("links", link.name),
                f"{device!r} stands at both ends of the link",
            )


def _uplink_unknown(plan: Plan) -> Found:
    known = {d.name for d in plan.devices}
    for d in plan.devices:
        for up in d.uplink:
            path = ("devices", d.name, "uplink")
            if up == d.name:
                yield Fault(_device(d.name), path, "a unit cannot be its own uplink")
            elif up not in known:
                yield Fault(_device(d.name), path, f"uplink {up!r} is not in the plan", up)


def _host_addresses(plan: Plan) -> Iterator[tuple[Subject, tuple[str, ...], Interface]]:
    for d in plan.devices:
        yield _device(d.name), ("devices", d.name, "address"), d.address
        if d.present_address is not None:
            yield _device(d.name), ("devices", d.name, "present_address"), d.present_address
        for other in d.other_addresses:
            path = ("devices", d.name, "other_addresses", str(other.address))
            yield _device(d.name), path, other.address
    if plan.management.laptop is not None:
        yield Subject("laptop", "laptop"), ("management", "laptop"), plan.management.laptop


def _address_not_a_host(plan: Plan) -> Found:
    for subject, path, interface in _host_addresses(plan):
        if (why := unusable(interface)) is not None:
            yield Fault(subject, path, f"{why}: no unit can have it")
    for host in plan.management.hosts:
        if (why := not_a_host(host.address)) is not None:
            yield Fault(Subject("host", host.name), ("hosts", host.name, "address"), why)


def _address_doubled(plan: Plan) -> Found:
    owners: dict[tuple[int, int, str], Subject] = {}
    addresses: Iterable[tuple[Subject, tuple[str, ...], Address]] = (
        *((s, p, i.address) for s, p, i in _host_addresses(plan) if p[-1] != "present_address"),
        *(
            (Subject("host", h.name), ("hosts", h.name, "address"), h.address)
            for h in plan.management.hosts
        ),
    )
    for subject, path, address in addresses:
        key = (address.version, address.value, address.zone)
        if (owner := owners.setdefault(key, subject)) is not subject:
            yield Fault(
                subject, path, f"{address} is also the address of {owner.kind} {owner.name!r}"
            )


def _gateways(plan: Plan) -> Iterator[tuple[Device, Address, list[Interface], tuple[str, ...]]]:
    """Each device with a gateway: the gateway, the device's own addresses, the gateway's path."""
    for d in plan.devices:
        if d.gateway is not None:
            own = [d.address, *(o.address for o in d.other_addresses)]
            yield d, d.gateway, own, ("devices", d.name, "gateway")


def _gateway_is_itself(plan: Plan) -> Found:
    for d, gateway, own, path in _gateways(plan):
        if any(i.address == gateway for i in own):
            yield Fault(_device(d.name), path, f"gateway {gateway} is the device's own address")


def _gateway_outside(plan: Plan) -> Found:
    for d, gateway, own, path in _gateways(plan):
        on_link = not gateway.is_v4 and gateway.is_link_local
        if not on_link and not any(i.holds(gateway) for i in own):
            subnets = ", ".join(dict.fromkeys(i.subnet for i in own))
            message = f"gateway {gateway} lies outside {subnets}: the device cannot reach it"
            yield Fault(_device(d.name), path, message)


def _gateway_not_a_host(plan: Plan) -> Found:
    for d, gateway, own, path in _gateways(plan):
        around = next((i for i in own if i.holds(gateway)), None)
        if around and (why := unusable(Interface(gateway, around.prefix))) is not None:
            yield Fault(_device(d.name), path, f"gateway: {why}")


def _documentation(address: Address) -> bool:
    return any(address.ip in network for network in _DOCUMENTATION)


def _address_for_documentation(plan: Plan) -> Found:
    if plan.network.example:
        return
    for subject, path, interface in _host_addresses(plan):
        if _documentation(interface.address):
            yield Fault(
                subject,
                path,
                (
                    f"{interface.address} is reserved for documentation; "
                    "`example: true` in `network` says that this is meant"
                ),
            )


def _address_stays_local(plan: Plan) -> Found:
    for subject, path, interface in _host_addresses(plan):
        if interface.address.is_loopback and not plan.network.example:
            yield Fault(
                subject, path, f"{interface.address} is a loopback address: only this machine"
            )
        elif interface.address.is_link_local:
            yield Fault(
                subject, path, f"{interface.address} is link-local: not reached through a router"
            )


def _vlan_out_of_range(plan: Plan) -> Found:
    for d in plan.devices:
        if d.management_vlan is not None and not 1 <= d.management_vlan <= 4094:  # noqa: PLR2004
            yield Fault(
                _device(d.name),
                ("devices", d.name, "management_vlan"),
                f"VLAN {d.management_vlan} does not exist: 1 to 4094 (IEEE 802.1Q)",
            )


def _port_doubled(plan: Plan) -> Found:
    for d in plan.devices:
        names = [p.name for p in d.ports]
        for name in sorted({n for n in names if names.count(n) > 1}):
            yield Fault(
                Subject("port", d.name, port=name),
                ("devices", d.name, "ports", name),
                f"port {name!r} stands twice",
            )


def _service_both(plan: Plan) -> Found:
    for d in plan.devices:
        for service in sorted(map(str, set(d.services.open) & set(d.services.closed))):
            yield Fault(
                _device(d.name),
                ("devices", d.name, "services"),
                f"{service} is planned both open and closed",
            )


RULES: tuple[tuple[str, Severity, Callable[[Plan], Found]], ...] = (
    ("nothing-planned", "error", _nothing_planned),
    ("name-doubled", "error", _name_doubled),
    ("name-differs-by-case", "warning", _name_differs_by_case),
    ("site-unknown", "error", _site_unknown),
    ("link-end-unknown", "error", _link_end_unknown),
    ("link-to-itself", "error", _link_to_itself),
    ("uplink-unknown", "error", _uplink_unknown),
    ("address-not-a-host", "error", _address_not_a_host),
    ("address-doubled", "error", _address_doubled),
    ("gateway-is-itself", "error", _gateway_is_itself),
    ("gateway-outside-subnet", "error", _gateway_outside),
    ("gateway-not-a-host", "error", _gateway_not_a_host),
    ("address-for-documentation", "warning", _address_for_documentation),
    ("address-stays-local", "warning", _address_stays_local),
    ("vlan-out-of-range", "error", _vlan_out_of_range),
    ("port-doubled", "error", _port_doubled),
    ("service-open-and-closed", "error", _service_both),
)
