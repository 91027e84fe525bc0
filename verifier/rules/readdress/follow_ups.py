"""What else must be changed or looked at because addresses have changed."""

from __future__ import annotations

import shlex
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping

from verifier.model.plan import Device, Plan
from verifier.model.runbook import FollowUp
from verifier.model.subject import Subject
from verifier.rules.readdress.placement import Key, MovingDevice

_KNOWS_SOURCE = {"trap": "traps", "syslog": "log messages"}


def follow_ups(
    plan: Plan, devices: Iterable[MovingDevice], moved: Iterable[MovingDevice]
) -> tuple[FollowUp, ...]:
    """For every changed address, in plan order: who else knows it.

    Args:
        plan: as it was read, for the place of each row.
        devices: all devices, in the end.
        moved: those that this runbook moves.
    """
    every, all_moved = list(devices), list(moved)
    changed = [u for u in all_moved if u.present.key != u.planned.key]
    users: dict[Key, list[MovingDevice]] = defaultdict(list)
    below: dict[str, list[MovingDevice]] = defaultdict(list)
    before: dict[Key, MovingDevice] = {u.present.key: u for u in every}
    for device in every:
        for key in {device.present.gateway_key, device.planned.gateway_key} - {None}:
            assert key is not None
            users[key].append(device)
        for up in device.device.uplink:
            below[up].append(device)
    made: list[FollowUp] = []
    for device in changed:
        made += _gateway(device, users.get(device.present.key, ()))
        made += _uplink(device, below.get(device.name, ()))
        made += _hosts(plan, device)
        made.append(_neighbour_cache(device, before.get(device.planned.key)))
        made.append(_label(device.device, device))
    rows = {d.name: d for d in plan.devices}
    made += [_plan_row(plan, rows[u.name], u) for u in all_moved]
    return tuple(made)


def _gateway(device: MovingDevice, users: Iterable[MovingDevice]) -> Iterator[FollowUp]:
    old, new = device.present.at.address, device.planned.at.address
    for user in users:
        if user.name == device.name:
            continue
        if user.planned.gateway_key == device.present.key:
            message = (
                f"its gateway {old} is gone: {device.name} is at {new}; plan and set a new one"
            )
        else:
            message = (
                f"its gateway was {old} ({device.name}) and is {user.planned.gateway} by this "
                "runbook: look that it has it, and that it is reached from another subnet"
            )
        yield FollowUp("gateway", Subject("device", user.name), message)


def _uplink(device: MovingDevice, below: Iterable[MovingDevice]) -> Iterator[FollowUp]:
    for user in below:
        yield FollowUp(
            "uplink",
            Subject("device", user.name),
            f"its management traffic passes through {device.name}, now at "
            f"{device.planned.at.address}: look that it still answers",
        )


def _hosts(plan: Plan, device: MovingDevice) -> Iterator[FollowUp]:
    old, new = device.present.at.address, device.planned.at.address
    for host in plan.management.hosts:
        subject = Subject("host", host.name)
        if {"icmp", "snmp"} & set(host.uses):
            yield FollowUp(
                "manager", subject, f"polls {device.name} at {old}: change that to {new}"
            )
        what = [words for use, words in _KNOWS_SOURCE.items() if use in host.uses]
        if what:
            yield FollowUp(
                "receiver",
                subject,
                f"{' and '.join(what)} of {device.name} come from {new}, no longer from {old}: "
                "change what it accepts and how it names the sender",
            )


def _neighbour_cache(device: MovingDevice, former: MovingDevice | None) -> FollowUp:
    """Who had spoken to the old or the new address may send to the wrong MAC for a while."""
    addresses = [device.present.at.address]
    mac = f" ({device.device.mac})" if device.device.mac else ""
    message = f"laptop, gateways and hosts may still know {addresses[0]} as {device.name}{mac}"
    if former is not None and former.name != device.name:
        addresses.append(device.planned.at.address)
        of = f" ({former.device.mac})" if former.device.mac else ""
        message += f", and {addresses[1]} as {former.name}{of}"
    ways = [
        f"{system} {' and '.join(f'`{_forget(system, str(a), v4=a.is_v4)}`' for a in addresses)}"
        for system in ("Linux", "macOS", "Windows")
    ]
    return FollowUp(
        "neighbour-cache",
        Subject("device", device.name),
        f"{message}; to forget it: {', '.join(ways)}; routers have a command of their own",
    )


def _forget(system: str, address: str, *, v4: bool) -> str:
    """ip-neighbour(8); arp(8), ndp(8); arp and netsh of Windows."""
    if system == "Linux":
        return f"ip neigh flush to {address}"
    if system == "macOS":
        return f"arp -d {address}" if v4 else f"ndp -d {address}"
    if v4:
        return f"arp -d {address}"
    return f'netsh interface ipv6 delete neighbors "INTERFACE" {address}'


def _label(device: Device, moving: MovingDevice) -> FollowUp:
    text = f" {device.label!r}" if device.label else ""
    return FollowUp(
        "label",
        Subject("device", device.name),
        f"reprint its label{text}: {moving.planned.at.address} instead of "
        f"{moving.present.at.address}",
    )


def _plan_row(plan: Plan, row: Device, device: MovingDevice) -> FollowUp:
    place = plan.origin("devices", device.name, "address") or "the plan"
    if (row.address, row.gateway) == (device.planned.at, device.planned.gateway):
        what = f"once it is moved, record its present address as {device.planned.at}"
    else:
        by = f", gateway {device.planned.gateway}" if device.planned.gateway else ""
        what = f"its row says {row.address}; it is to be {device.planned.at}{by}"
    return FollowUp(
        "plan",
        Subject("device", device.name),
        f"{place}: {what} (--done {shlex.quote(device.name)} --write-plan FILE writes it)",
    )


def behind(plan: Plan) -> Mapping[str, tuple[list[str], list[str]]]:
    """For each device with others behind it: those, and the links they are ends of."""
    below: dict[str, list[str]] = defaultdict(list)
    for device in plan.devices:
        for up in device.uplink:
            below[up].append(device.name)
    links: dict[str, list[str]] = defaultdict(list)
    for link in plan.links:
        for name in frozenset().union(*link.devices()):
            links[name].append(link.name)
    found: dict[str, tuple[list[str], list[str]]] = {}
    for device in plan.devices:
        devices: dict[str, None] = {}
        stack = list(reversed(below.get(device.name, [])))
        while stack:
            name = stack.pop()
            if name not in devices and name != device.name:
                devices[name] = None
                stack.extend(reversed(below.get(name, [])))
        own = dict.fromkeys(x for name in (device.name, *devices) for x in links.get(name, ()))
        if devices or own:
            found[device.name] = (list(devices), list(own))
    return found
