"""New addresses for the plan's devices: one by one, or a whole subnet."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from verifier.errors import UsageError
from verifier.model.address import Address, Interface
from verifier.model.plan import Device, Plan
from verifier.rules.fit.hosts import too_wide, unusable, with_value
from verifier.rules.readdress.placement import Key, key_of

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
