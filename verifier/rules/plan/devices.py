"""What stands on a device and its ports: MAC, serial, label, VLAN, ports, services."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Hashable, Iterator

from verifier.model.address import Mac
from verifier.model.plan import Device
from verifier.model.problem import Subject
from verifier.rules.plan.scope import Found, PlanScope, RuleProblem, device, device_path

_COPPER = re.compile(r"copper|utp|stp|ftp|rj-?45|base-?t|\bcat\.? ?[5-8]", re.IGNORECASE)
_COPPER_MAX_M = 100
"""IEEE 802.3 clauses 25, 40, 55 and ISO/IEC 11801: a channel of balanced copper."""
_MANGLED = re.compile(r"[0-9](\.[0-9]+)?[eE]\+[0-9]+|[0-9]+\.0+")
_LAST_VLAN = 4094
"""IEEE 802.1Q 9.6: 0 means no VLAN, 4095 is reserved."""
_NO_HALF_DUPLEX_MBPS = 1000


def is_group(mac: Mac) -> bool:
    """Whether it addresses a group: the lowest bit of the first octet (IEEE 802 8.2, I/G bit)."""
    return bool(int(mac.text[:2], 16) & 1)


def mac_not_a_devices(scope: PlanScope) -> Found:
    """A group, broadcast or all-zero MAC address."""
    for d in scope.plan.devices:
        if d.mac is None:
            continue
        zero = set(d.mac.text) == {"0", ":"}
        if zero or is_group(d.mac):
            what = "names no device" if zero else "addresses a group, not one device"
            message = f"MAC {d.mac} {what}: read it from the sticker"
            yield RuleProblem(device(d.name), device_path(d.name, "mac"), message)


def _doubled(
    scope: PlanScope, what: str, of: Callable[[Device], Hashable | None]
) -> Iterator[tuple[Device, Device]]:
    """Devices with a value that an earlier one has, with that one."""
    first: dict[Hashable, Device] = {}
    for d in scope.plan.devices:
        value = of(d) if getattr(d, what) is not None else None
        if value is not None and (other := first.setdefault(value, d)) is not d:
            yield d, other


def mac_doubled(scope: PlanScope) -> Found:
    """Two devices have one MAC address."""
    for d, other in _doubled(scope, "mac", lambda d: d.mac):
        message = f"MAC {d.mac} is also that of {other.name!r}: read both stickers"
        yield RuleProblem(device(d.name), device_path(d.name, "mac"), message)


def serial_doubled(scope: PlanScope) -> Found:
    """Two devices of one profile have one serial number."""
    for d, other in _doubled(scope, "serial", lambda d: (d.profile, (d.serial or "").casefold())):
        message = f"serial {d.serial!r} is also that of {other.name!r}: read both stickers"
        yield RuleProblem(device(d.name), device_path(d.name, "serial"), message)


def serial_mangled(scope: PlanScope) -> Found:
    """A serial number that a spreadsheet made a number of."""
    for d in scope.plan.devices:
        if d.serial is not None and _MANGLED.fullmatch(d.serial):
            message = (
                f"serial {d.serial!r} looks like a number that a spreadsheet made of it: "
                "format the column as text and type it again"
            )
            yield RuleProblem(device(d.name), device_path(d.name, "serial"), message)


def label_doubled(scope: PlanScope) -> Found:
    """Two devices have one sticker text."""
    for d, other in _doubled(
        scope, "label", lambda d: " ".join((d.label or "").casefold().split())
    ):
        message = f"label {d.label!r} is also that of {other.name!r}: they cannot be told apart"
        yield RuleProblem(device(d.name), device_path(d.name, "label"), message)


def part_unknown(scope: PlanScope) -> Found:
    """A part number that is not among the profile's variants."""
    for d in scope.plan.devices:
        profile = scope.profiles.get(d.profile)
        if profile is None or not profile.variant or d.part_number is None:
            continue
        parts = [v.part for v in profile.variant]
        if d.part_number.casefold() not in {p.casefold() for p in parts}:
            message = (
                f"part number {d.part_number!r} is none of profile {d.profile}'s "
                f"({', '.join(parts)}): mend it, or add the variant to the profile"
            )
            yield RuleProblem(device(d.name), device_path(d.name, "part_number"), message)


def vlan_out_of_range(scope: PlanScope) -> Found:
    """A management VLAN outside 1 to 4094."""
    for d in scope.plan.devices:
        if d.management_vlan is not None and not 1 <= d.management_vlan <= _LAST_VLAN:
            message = f"VLAN {d.management_vlan} does not exist: 1 to {_LAST_VLAN} (IEEE 802.1Q)"
            yield RuleProblem(device(d.name), device_path(d.name, "management_vlan"), message)


def vlan_tagged_without_number(scope: PlanScope) -> Found:
    """Management is tagged, but no VLAN is written."""
    for d in scope.plan.devices:
        path = device_path(d.name, "management_vlan")
        if d.management_tagged and d.management_vlan is None and not scope.written(*path):
            message = "management is tagged, but with which VLAN? write management_vlan"
            yield RuleProblem(device(d.name), device_path(d.name, "management_tagged"), message)


def vlan_differs_in_subnet(scope: PlanScope) -> Found:
    """A device has another management VLAN than most of its subnet."""
    for devices in scope.subnets.values():
        inside = [d for d in devices if d.management_vlan is not None]
        counts = Counter(d.management_vlan for d in inside)
        if len(counts) < 2:  # noqa: PLR2004
            continue
        usual, times = counts.most_common(1)[0]
        for d in inside:
            if d.management_vlan != usual and 1 <= (d.management_vlan or 0) <= _LAST_VLAN:
                message = (
                    f"VLAN {d.management_vlan}, but {times} other device{'s' * (times > 1)} of "
                    f"{d.address.subnet} use{'s' * (times == 1)} VLAN {usual}: is this meant?"
                )
                yield RuleProblem(device(d.name), device_path(d.name, "management_vlan"), message)


def port_doubled(scope: PlanScope) -> Found:
    """A port stands twice."""
    for d in scope.plan.devices:
        for name, times in Counter(p.name for p in d.ports).items():
            if times > 1:
                path = ("devices", d.name, "ports", name)
                message = f"port {name!r} stands {times} times: leave one"
                yield RuleProblem(Subject("port", d.name, port=name), path, message)


def duplex_impossible(scope: PlanScope) -> Found:
    """Half duplex at 1000 Mbit/s or more, which no port does."""
    for d in scope.plan.devices:
        for port in d.ports:
            if port.duplex == "half" and (port.speed_mbps or 0) >= _NO_HALF_DUPLEX_MBPS:
                path = ("devices", d.name, "ports", port.name, "duplex")
                message = f"half duplex at {port.speed_mbps} Mbit/s is not made: full, or slower"
                yield RuleProblem(Subject("port", d.name, port=port.name), path, message)


def copper_too_long(scope: PlanScope) -> Found:
    """A copper cable of more than 100 m."""
    for d in scope.plan.devices:
        for port in d.ports:
            copper = port.media is not None and _COPPER.search(port.media)
            if copper and (port.cable_m or 0) > _COPPER_MAX_M:
                path = ("devices", d.name, "ports", port.name, "cable_m")
                message = (
                    f"{port.cable_m:g} m of copper: {_COPPER_MAX_M} m is the most (IEEE 802.3); "
                    "shorten it, or take fibre"
                )
                yield RuleProblem(Subject("port", d.name, port=port.name), path, message)


def mtu_below_acceptance(scope: PlanScope) -> Found:
    """No port of a device lets through the packets that the acceptance asks for."""
    wanted = scope.plan.acceptance.mtu_bytes
    for d in scope.plan.devices if wanted is not None else ():
        mtus = [p.mtu for p in d.ports if p.mtu is not None]
        if mtus and len(mtus) == len(d.ports) and max(mtus) < (wanted or 0):
            message = (
                f"the acceptance asks for {wanted} bytes, the device's ports have at most "
                f"{max(mtus)}: mend one of the two"
            )
            yield RuleProblem(device(d.name), ("devices", d.name, "ports"), message)


def service_open_and_closed(scope: PlanScope) -> Found:
    """A service is planned both open and closed."""
    for d in scope.plan.devices:
        for service in sorted(map(str, set(d.services.open) & set(d.services.closed))):
            message = f"{service} is planned both open and closed: leave one"
            yield RuleProblem(device(d.name), device_path(d.name, "services"), message)
