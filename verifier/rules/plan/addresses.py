"""Addresses: which can be a host's, and which stand twice."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import netaddr

from verifier.model.address import Address, Interface
from verifier.model.problem import Subject
from verifier.rules.fit.hosts import not_a_host, too_wide, unusable
from verifier.rules.plan.scope import (
    LAPTOP,
    Found,
    Place,
    PlanScope,
    RuleProblem,
    device,
    device_path,
)

_Ranges = tuple[tuple[netaddr.IPNetwork, str], ...]


def _ranges(*rows: tuple[str, str]) -> _Ranges:
    return tuple((netaddr.IPNetwork(network), what) for network, what in rows)


_NO_INTERFACE = _ranges(
    ("::ffff:0:0/96", "an IPv4-mapped address (RFC 4291 2.5.5.2)"),
    ("::/96", "an IPv4-compatible address (RFC 4291 2.5.5.1, deprecated)"),
    ("64:ff9b::/96", "an address of translated IPv4 (RFC 6052)"),
    ("100::/64", "in the discard-only range (RFC 6666)"),
)
"""No interface has such an address."""

_RETIRED = _ranges(
    ("192.0.0.0/24", "in the range for IETF protocols (RFC 6890)"),
    ("192.88.99.0/24", "in the retired range of 6to4 relays (RFC 7526)"),
    ("2001::/23", "in the range for IETF protocols (RFC 2928)"),
    ("2002::/16", "a 6to4 address (RFC 3056)"),
    ("fec0::/10", "a site-local address, deprecated (RFC 3879)"),
)
"""An interface can have such an address, but hardly on purpose."""

_DOCUMENTATION = _ranges(
    ("192.0.2.0/24", "RFC 5737"),
    ("198.51.100.0/24", "RFC 5737"),
    ("203.0.113.0/24", "RFC 5737"),
    ("2001:db8::/32", "RFC 3849"),
    ("3fff::/20", "RFC 9637"),
)


def _within(address: Address, ranges: _Ranges) -> str | None:
    """What the range is that holds `address`."""
    return next((what for network, what in ranges if address.ip in network), None)


def _interfaces(scope: PlanScope) -> Iterator[tuple[Subject, Place, Interface]]:
    """What a device or the laptop has or will have."""
    yield from scope.interfaces
    for d in scope.plan.devices:
        if d.present_address is not None:
            yield device(d.name), device_path(d.name, "present_address"), d.present_address


def _addresses(scope: PlanScope) -> Iterator[tuple[Subject, Place, Address]]:
    """The same without prefix, and the management hosts'."""
    yield from ((s, p, i.address) for s, p, i in _interfaces(scope))
    yield from (row for row in scope.addresses if row[0].kind == "host")


def address_not_a_host(scope: PlanScope) -> Found:
    """A network, broadcast, multicast, reserved or unspecified address; in IPv6 also anycast."""
    for subject, path, interface in _interfaces(scope):
        if (why := unusable(interface)) is not None:
            yield RuleProblem(subject, path, f"{why}: no device can have it; take a host address")
    for host in scope.plan.management.hosts:
        if (why := not_a_host(host.address)) is not None:
            path = ("hosts", host.name, "address")
            yield RuleProblem(Subject("host", host.name), path, f"{why}: take a host address")


def _kind(scope: PlanScope, ranges: _Ranges, advice: str) -> Found:
    for subject, path, address in _addresses(scope):
        if not_a_host(address) is None and not address.is_loopback:
            what = _within(address, ranges)
            if what is not None:
                yield RuleProblem(subject, path, f"{address} is {what}: {advice}")


def address_of_no_interface(scope: PlanScope) -> Found:
    """An IPv6 address that only stands for something else: mapped, translated, discarded."""
    yield from _kind(scope, _NO_INTERFACE, "no device can have it; write the address it stands for")


def address_of_retired_range(scope: PlanScope) -> Found:
    """An address of a range for protocols, or one no longer used."""
    yield from _kind(scope, _RETIRED, "hardly meant; take one of the network's own range")


def address_for_documentation(scope: PlanScope) -> Found:
    """A documentation address in a plan that is no example."""
    if scope.plan.network.example:
        return
    for subject, path, address in _addresses(scope):
        if (source := _within(address, _DOCUMENTATION)) is not None:
            message = (
                f"{address} is reserved for documentation ({source}); "
                "`example: true` in `network` says that this is meant"
            )
            yield RuleProblem(subject, path, message)


def address_stays_local(scope: PlanScope) -> Found:
    """A loopback or link-local address."""
    for subject, path, address in _addresses(scope):
        if address.is_loopback and not scope.plan.network.example:
            message = f"{address} is a loopback address: it is only this machine's"
            yield RuleProblem(subject, path, message)
        elif address.is_link_local:
            message = f"{address} is link-local: it is not reached through a router"
            yield RuleProblem(subject, path, message)


def prefix_too_short(scope: PlanScope) -> Found:
    """A device's own prefix is below /8, in IPv6 below /16: most of the world is its subnet."""
    for subject, path, interface in _interfaces(scope):
        if subject.kind == "device" and (why := too_wide(interface)) is not None:
            yield RuleProblem(subject, _prefix_place(path), why)


def prefix_improbable(scope: PlanScope) -> Found:
    """A prefix shorter than any subnet's: below /8, in IPv6 below /48."""
    for subject, path, interface in _interfaces(scope):
        shortest = 8 if interface.address.is_v4 else 48  # RFC 4632 3.1; RFC 6177: a site's prefix
        if subject.kind == "device" and too_wide(interface) is not None:
            continue  # that is an error
        local = interface.address.is_link_local or interface.address.is_loopback
        if interface.prefix < shortest and not local and unusable(interface) is None:
            message = f"/{interface.prefix} is shorter than any subnet's: write the subnet's own"
            yield RuleProblem(subject, _prefix_place(path), message)


def _prefix_place(path: Place) -> Place:
    """Where the prefix of a device's address is written, which may be the mask's cell."""
    return (*path[:-1], "mask") if path[0] == "devices" and path[-1] == "address" else path


def address_without_subnet(scope: PlanScope) -> Found:
    """A /32 or /128: nobody else is in the device's subnet."""
    for d in scope.plan.devices:
        alone = d.address.prefix == d.address.address.bits and not d.other_addresses
        if alone and d.gateway is None and not scope.routes(d) and unusable(d.address) is None:
            message = (
                f"{d.address}: nobody else is in this subnet, so nobody can reach the device "
                "directly; write the subnet's prefix length"
            )
            yield RuleProblem(device(d.name), device_path(d.name, "mask"), message)


def address_doubled(scope: PlanScope) -> Found:
    """Two devices, management hosts or the laptop have one address."""
    owners: dict[tuple[int, int, str], Subject] = {}
    for subject, path, address in scope.addresses:
        key = (address.version, address.value, address.zone)
        if (owner := owners.setdefault(key, subject)) is not subject:
            message = f"{address} is also the address of {owner.kind} {owner.name!r}: change one"
            yield RuleProblem(subject, path, message)


def address_still_taken(scope: PlanScope) -> Found:
    """A planned address is where another device is now."""
    holders = defaultdict(list)
    for d in scope.plan.devices:
        if d.present_address is not None and d.present_address.address != d.address.address:
            holders[d.present_address.address].append(d.name)
    for subject, path, address in scope.addresses:
        others = [
            n for n in holders.get(address, ()) if subject.kind != "device" or n != subject.name
        ]
        if others:
            message = f"{address} is the present address of {others[0]!r}: move that device first"
            yield RuleProblem(subject, path, message)


def address_is_factory_address(scope: PlanScope) -> Found:
    """A planned address is the one another device comes with from the factory."""
    coming = defaultdict(list)
    for d in scope.plan.devices:
        profile = scope.profiles.get(d.profile)
        factory = profile.factory.address_for(d.tx_band) if profile is not None else None
        if factory is not None and d.present_address is None:
            coming[factory.address].append(d)
    for subject, path, address in scope.addresses:
        others = [
            d.name
            for d in coming.get(address, ())
            if d.address.address != address and (subject.kind != "device" or d.name != subject.name)
        ]
        if others:
            message = (
                f"{address} is the factory address of {others[0]!r}: "
                "take another, or both answer when that device is new"
            )
            yield RuleProblem(subject, path, message)


def laptop_is_gateway(scope: PlanScope) -> Found:
    """The laptop's address is a device's gateway."""
    laptop = scope.plan.management.laptop
    if laptop is None:
        return
    using = [d.name for d in scope.plan.devices if d.gateway == laptop.address]
    if using and not any(d.address.address == laptop.address for d in scope.plan.devices):
        message = f"{laptop.address} is the gateway of {using[0]!r}: take another for the laptop"
        yield RuleProblem(LAPTOP, ("management", "laptop"), message)
