"""Subnets: gateways, overlaps, and who can answer whom."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from verifier.model.address import Address, Interface
from verifier.model.plan import Device
from verifier.model.problem import Subject
from verifier.rules.fit.hosts import unusable
from verifier.rules.plan.scope import (
    Found,
    Place,
    PlanScope,
    RuleProblem,
    device,
    device_path,
    listed,
    planned,
    subnet_key,
)


def _gateways(scope: PlanScope) -> Iterator[tuple[Device, Address, list[Interface], Place]]:
    """Each planned or present gateway with the addresses the device has at that time."""
    for d in scope.plan.devices:
        if d.gateway is not None:
            yield d, d.gateway, [i for _, i in planned(d)], device_path(d.name, "gateway")
        if d.present_gateway is not None and d.present_address is not None:
            path = device_path(d.name, "present_gateway")
            yield d, d.present_gateway, [d.present_address], path


def gateway_is_itself(scope: PlanScope) -> Found:
    """The gateway is the device's own address."""
    for d, gateway, own, path in _gateways(scope):
        if any(i.address == gateway for i in own):
            message = f"gateway {gateway} is the device's own address: write the router's"
            yield RuleProblem(device(d.name), path, message)


def gateway_of_other_family(scope: PlanScope) -> Found:
    """An IPv6 gateway for IPv4 addresses, or the other way round."""
    for d, gateway, own, path in _gateways(scope):
        if all(i.version != gateway.version for i in own):
            message = (
                f"gateway {gateway} is IPv{gateway.version}, the device has only "
                f"IPv{own[0].version}: write one of the same family"
            )
            yield RuleProblem(device(d.name), path, message)


def gateway_outside_subnet(scope: PlanScope) -> Found:
    """The gateway lies in none of the device's subnets; an IPv6 link-local one lies in all."""
    for d, gateway, own, path in _gateways(scope):
        same = [i for i in own if i.version == gateway.version]
        on_link = not gateway.is_v4 and gateway.is_link_local
        if same and not on_link and not any(i.holds(gateway) for i in same):
            subnets = ", ".join(dict.fromkeys(i.subnet for i in same))
            message = (
                f"gateway {gateway} lies outside {subnets}: the device cannot reach it; "
                "mend the gateway, the address or the prefix"
            )
            yield RuleProblem(device(d.name), path, message)


def gateway_not_a_host(scope: PlanScope) -> Found:
    """The gateway is the network or broadcast address of the device's subnet."""
    for d, gateway, own, path in _gateways(scope):
        around = next((i for i in own if i.holds(gateway) and i.address != gateway), None)
        if around is not None and (why := unusable(Interface(gateway, around.prefix))) is not None:
            yield RuleProblem(device(d.name), path, f"gateway: {why}; write the router's")


def _sound(d: Device) -> bool:
    """Whether a device has a gateway that its own subnet can have."""
    if d.gateway is None or d.gateway.version != d.address.version:
        return False
    if not d.gateway.is_v4 and d.gateway.is_link_local:
        return True
    inside = d.address.holds(d.gateway) and d.gateway != d.address.address
    return inside and unusable(Interface(d.gateway, d.address.prefix)) is None


def gateway_differs_in_subnet(scope: PlanScope) -> Found:
    """A device has another gateway than most of its subnet."""
    routers = {d.gateway for d in scope.plan.devices}
    for devices in scope.subnets.values():
        inside = [d for d in devices if _sound(d) and d.address.address not in routers]
        counts = Counter(d.gateway for d in inside)
        if len(counts) < 2:  # noqa: PLR2004
            continue
        usual, times = counts.most_common(1)[0]
        for d in inside:
            if d.gateway != usual:
                message = (
                    f"gateway {d.gateway}, but {times} other device{'s' * (times > 1)} of "
                    f"{d.address.subnet} use{'s' * (times == 1)} {usual}: is this meant?"
                )
                yield RuleProblem(device(d.name), device_path(d.name, "gateway"), message)


def _cut_off(scope: PlanScope) -> set[str]:
    """Devices whose address, prefix or gateway is known to be wrong: the gateway is outside."""
    return {fault.subject.name for fault in gateway_outside_subnet(scope)}


def nested(interfaces: Iterable[Interface]) -> list[tuple[Interface, Interface]]:
    """Each subnet that lies in a larger one, with the smallest such one; n log n.

    One address stands for each subnet. Two subnets overlap only where one holds the other.
    """
    distinct = {subnet_key(i): i for i in interfaces}
    found = []
    around: list[Interface] = []
    for key in sorted(distinct):
        here = distinct[key]
        while around and (around[-1].version, around[-1].last) < (here.version, here.first):
            around.pop()
        if around:
            found.append((here, around[-1]))
        around.append(here)
    return found


def subnets_overlap(scope: PlanScope) -> Found:
    """Two subnets of unlike length overlap: one of the masks is wrong."""
    told = _cut_off(scope)
    users: dict[tuple[int, int, int], list[tuple[Subject, Place]]] = {}
    interfaces = []
    for subject, path, interface in scope.interfaces:
        if subject.kind == "device" and interface.prefix < interface.address.bits:
            users.setdefault(subnet_key(interface), []).append((subject, path))
            interfaces.append(interface)
    for inner, outer in nested(interfaces):
        few, many = sorted((inner, outer), key=lambda i: len(users[subnet_key(i)]))
        subject, path = users[subnet_key(few)][0]
        names = [s.name for s, _ in users[subnet_key(few)]]
        if told.issuperset(names):
            continue
        message = (
            f"{few.subnet} ({listed(list(dict.fromkeys(names)))}) overlaps {many.subnet} "
            f"({users[subnet_key(many)][0][0].name}): devices of one segment have one prefix length"
        )
        place = (*path[:-1], "mask") if path[-1] == "address" else path
        yield RuleProblem(subject, place, message)


def hop_in_two_subnets(scope: PlanScope) -> Found:
    """The two ends of a hop are in different subnets."""
    told = _cut_off(scope)
    for link in scope.plan.links:
        for carrier in link.carriers[:1]:
            a, b = scope.devices.get(carrier.a.device), scope.devices.get(carrier.b.device)
            if a is None or b is None or scope.routes(a) or scope.routes(b):
                continue
            if told & {a.name, b.name}:
                continue
            if a.address.version == b.address.version and not (_near(a, b) or _near(b, a)):
                message = (
                    f"{a.name} is in {a.address.subnet}, {b.name} in {b.address.subnet}: "
                    "a bridged hop is one subnet; if it is routed, leave it so"
                )
                yield RuleProblem(Subject("link", link.name), ("links", link.name), message)


def _near(one: Device, other: Device) -> bool:
    """Whether any subnet of one holds an address of the other."""
    return any(mine.holds(its.address) for _, mine in planned(one) for _, its in planned(other))


def host_unanswerable(scope: PlanScope) -> Found:
    """A management host lies outside a device's subnets and the device has no gateway."""
    hosts = scope.plan.management.hosts
    for d in scope.plan.devices if hosts else ():
        path = device_path(d.name, "gateway")
        if d.gateway is not None or (scope.written(*path) and not d.no_gateway) or scope.routes(d):
            continue
        own = [i for _, i in planned(d)]
        families = {i.version for i in own}
        outside = [
            f"{h.name} ({h.address})"
            for h in hosts
            if h.address.version in families and not any(i.holds(h.address) for i in own)
        ]
        if outside:
            subnets = ", ".join(dict.fromkeys(i.subnet for i in own))
            message = (
                f"no gateway: the device in {subnets} can never answer {listed(outside)}; "
                "write its gateway"
            )
            yield RuleProblem(device(d.name), path, message)
