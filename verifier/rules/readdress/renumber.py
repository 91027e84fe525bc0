"""New addresses for the plan's devices, and what else must be changed because of them."""

from __future__ import annotations

import shlex
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from verifier.errors import UsageError
from verifier.model.address import Address, Interface
from verifier.model.plan import Device, Plan
from verifier.model.problem import Subject
from verifier.model.runbook import FollowUp
from verifier.rules.fit.hosts import too_wide, unusable, with_value
from verifier.rules.readdress.placement import Key, MovingDevice, key_of

_LISTED = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Renumbering:
    """A new address for one device; without `gateway` the planned one is kept."""

    device: str
    address: Interface
    gateway: Address | None = None

    @classmethod
    def parse(cls, text: str) -> Renumbering:
        """What `--change` says: NAME=ADDRESS/PREFIX[,GATEWAY]. Raises UsageError."""
        name, equals, value = text.rpartition("=")
        at, comma, gateway = value.partition(",")
        if not (name and equals and at and (gateway or not comma)):
            raise UsageError(
                f"--change {text!r}: write NAME=ADDRESS/PREFIX or NAME=ADDRESS/PREFIX,GATEWAY"
            )
        try:
            return cls(
                device=name,
                address=Interface.parse(at),
                gateway=Address.parse(gateway) if gateway else None,
            )
        except ValueError as fault:
            raise UsageError(f"--change {text!r}: {fault}") from fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Renumber:
    """All addresses of one subnet go to another, each with the same number within it."""

    old: Interface
    new: Interface

    @classmethod
    def parse(cls, text: str) -> Renumber:
        """What `--renumber` says: OLD=NEW, two subnets. Raises UsageError."""
        old, equals, new = text.partition("=")
        if not equals:
            raise UsageError(
                f"--renumber {text!r}: write OLD=NEW, such as 198.18.20.0/24=198.18.30.0/24"
            )
        try:
            return cls(old=Interface.parse(old), new=Interface.parse(new))
        except ValueError as fault:
            raise UsageError(f"--renumber {text!r}: {fault}") from fault


def changed(
    plan: Plan, changes: Iterable[Renumbering], renumbers: Iterable[Renumber]
) -> dict[str, Device]:
    """The devices that get a new address, by name, as they are to be.

    Raises:
        UsageError: two wishes contradict each other, a subnet holds no device or is too small, or
            two devices get one address.
    """
    wanted: dict[str, tuple[Device, str]] = {}
    devices = {d.name: d for d in plan.devices}
    for change in changes:
        if (why := unusable(change.address)) is not None:
            raise UsageError(f"--change {change.device}: {why}: no device can have it")
        if (why := too_wide(change.address)) is not None:
            raise UsageError(f"--change {change.device}: {why}")
        old = devices[change.device]
        new = replace(old, address=change.address, gateway=change.gateway or old.gateway)
        _want(wanted, new, f"--change {change.device}={change.address}")
    for renumber in renumbers:
        for new in _renumbered(plan, renumber):
            _want(wanted, new, f"--renumber {renumber.old.subnet}={renumber.new.subnet}")
    goals = {name: device for name, (device, _) in wanted.items()}
    if goals:
        _all_differ([goals.get(d.name, d) for d in plan.devices])
    return goals


def _want(wanted: dict[str, tuple[Device, str]], new: Device, words: str) -> None:
    known = wanted.setdefault(new.name, (new, words))
    if (known[0].address, known[0].gateway) != (new.address, new.gateway):
        raise UsageError(
            f"{known[1]} and {words} contradict each other: {new.name} would be at "
            f"{known[0].address} and at {new.address}"
            if known[0].address != new.address
            else f"{known[1]} and {words} contradict each other over the gateway of {new.name}"
        )


def _renumbered(plan: Plan, renumber: Renumber) -> Iterable[Device]:
    old, new = renumber.old, renumber.new
    words = f"--renumber {old.subnet}={new.subnet}"
    for side in (old, new):
        if side.address.value != side.first:
            raise UsageError(f"--renumber: {side} is a host; its subnet is {side.subnet}")
    if (why := too_wide(new)) is not None:
        raise UsageError(f"{words}: {why}")
    if old.version != new.version:
        raise UsageError(f"{words}: the one is IPv{old.version}, the other IPv{new.version}")
    inside = [d for d in plan.devices if old.holds(d.address.address)]
    if not inside:
        raise UsageError(f"{words}: no device of the plan has an address in {old.subnet}")
    moved = [(d, _moved(d, renumber)) for d in inside]
    if misfits := [d for d, m in moved if m is None]:
        listed = ", ".join(f"{d.name} ({d.address})" for d in misfits[:_LISTED])
        more = f" and {len(misfits) - _LISTED} more" if len(misfits) > _LISTED else ""
        raise UsageError(
            f"{words}: {new.subnet} is too small, {len(misfits)} of {len(inside)} devices do not "
            f"fit: {listed}{more}; name a larger subnet, or give these another address first"
        )
    return [m for _, m in moved if m is not None]


def _moved(device: Device, renumber: Renumber) -> Device | None:
    """The device with the same host number in the new subnet; None where there is no such host."""
    prefix = max(device.address.prefix, renumber.old.prefix)
    prefix += renumber.new.prefix - renumber.old.prefix
    at = _mapped(device.address.address, renumber)
    if at is None or not 0 <= prefix <= at.bits:
        return None
    address = Interface(at, prefix)
    gateway = device.gateway
    if gateway is not None and renumber.old.holds(gateway):
        gateway = _mapped(gateway, renumber)
        if gateway is None or unusable(Interface(gateway, prefix)) is not None:
            return None
    return None if unusable(address) else replace(device, address=address, gateway=gateway)


def _mapped(address: Address, renumber: Renumber) -> Address | None:
    value = renumber.new.first + address.value - renumber.old.first
    return with_value(renumber.new, value).address if value <= renumber.new.last else None


def _all_differ(devices: Iterable[Device]) -> None:
    owners: dict[Key, str] = {}
    for device in devices:
        for own in (device.address, *(o.address for o in device.other_addresses)):
            owner = owners.setdefault(key_of(own.address), device.name)
            if owner != device.name:
                raise UsageError(f"{owner} and {device.name} would both be at {own.address}")


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
