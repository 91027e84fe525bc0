"""From a plan and what was asked to a task: where each device is and is to be, who holds what."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.errors import InputError, UsageError
from verifier.model.address import Address, Interface
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.runbook import Setting
from verifier.rules.fit.hosts import unusable
from verifier.rules.fit.suggest import present
from verifier.rules.readdress.placement import Key, MovingDevice, Placement, View, key_of
from verifier.rules.readdress.renumber import Renumber, Renumbering, changed
from verifier.rules.readdress.world import Task


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What the command line asks for.

    Attributes:
        old: the plan that says where the devices are now, instead of the present addresses.
        changes, renumbers: new addresses; the plan's are the present ones then.
        done: names of devices that are finished.
    """

    setting: Setting = "segment"
    many: bool = True
    laptop: tuple[Interface, ...] = ()
    laptop_gateway: Address | None = None
    old: Plan | None = None
    changes: tuple[Renumbering, ...] = ()
    renumbers: tuple[Renumber, ...] = ()
    done: tuple[str, ...] = ()

    @property
    def new_addresses(self) -> bool:
        """Whether the plan's addresses are where the devices are now."""
        return bool(self.changes or self.renumbers)


def task(plan: Plan, profiles: Mapping[str, Profile], wish: Wish) -> Task:
    """The task.

    Raises:
        UsageError: what was asked contradicts itself or the plan, or names what is not there.
        InputError: the old plan is one of another network.
    """
    _check_wish(plan, wish)
    devices, leftovers = _devices(plan, profiles, wish)
    held = _held(plan, devices, wish)
    held.update({k: who for k, who in leftovers.items() if k not in held})
    made = Task(
        devices=devices,
        setting=_setting(devices, wish.setting),
        many=wish.many,
        laptop=wish.laptop,
        laptop_gateway=wish.laptop_gateway,
        preferred=(plan.management.laptop,) if plan.management.laptop is not None else (),
        held=held,
        avoid=frozenset(_factory_addresses(profiles.values())),
    )
    _check_laptop(made)
    return made


def _check_wish(plan: Plan, wish: Wish) -> None:
    names = {d.name for d in plan.devices}
    for name in (*wish.done, *(c.device for c in wish.changes)):
        if name not in names:
            raise UsageError(f"no device {name!r} in the plan")
    if wish.old is not None and wish.new_addresses:
        raise UsageError(
            "--from says where the devices are, --change and --renumber where they are to be; "
            "one run takes the one or the other"
        )


# -- devices ---------------------------------------------------------------------------------------


def _devices(
    plan: Plan, profiles: Mapping[str, Profile], wish: Wish
) -> tuple[tuple[MovingDevice, ...], dict[Key, str]]:
    leftovers: dict[Key, str] = {}
    if wish.old is not None:
        now, gone = _matched(plan, wish.old)
        leftovers = {key_of(d.address.address): f"{d.name} of the old plan" for d in gone}
    goals = changed(plan, wish.changes, wish.renumbers)
    devices = []
    for device in plan.devices:
        goal = goals.get(device.name, device)
        planned = Placement(goal.address, goal.gateway)
        if device.name in wish.done:
            start = planned
        elif wish.new_addresses:
            start = Placement(device.address, device.gateway)
        elif wish.old is not None and device.name in now:
            old = now[device.name]
            start = Placement(old.address, old.gateway)
        else:
            start = Placement(*present(device, profiles.get(device.profile)))
        devices.append(MovingDevice(goal, start, planned))
    return tuple(devices), leftovers


def _matched(plan: Plan, old: Plan) -> tuple[dict[str, Device], list[Device]]:
    """The old plan's device for each of the new one's: by name, else serial, else MAC."""
    left = {d.name: d for d in old.devices}
    found: dict[str, Device] = {}
    for device in plan.devices:
        if device.name in left:
            found[device.name] = left.pop(device.name)
    for field in ("serial", "mac"):
        known = {v: d for d in left.values() if (v := getattr(d, field)) is not None}
        for device in plan.devices:
            value = getattr(device, field)
            if device.name not in found and value is not None and value in known:
                same = known.pop(value)
                if left.pop(same.name, None) is not None:
                    found[device.name] = same
    if not found:
        names = [f"{p.network.name!r}" if p.network.name else "unnamed" for p in (old, plan)]
        raise InputError(
            f"the old plan is of another network: none of its {len(old.devices)} devices has a "
            f"name, serial or MAC of this plan's (old network {names[0]}, this one {names[1]})"
        )
    return found, list(left.values())


def _setting(devices: Sequence[MovingDevice], asked: Setting) -> Setting:
    """Devices that share a present address are attached one at a time."""
    return "one-at-a-time" if asked == "segment" and sharing(devices) else asked


def sharing(devices: Iterable[MovingDevice]) -> list[MovingDevice]:
    """The devices that have one present address, where at least one of them is to be moved."""
    every = list(devices)
    counts = Counter(u.present.key for u in every)
    moving = {u.present.key for u in every if u.moves}
    return [u for u in every if counts[u.present.key] > 1 and u.present.key in moving]


# -- addresses of others -------------------------------------------------------------------------


def _held(plan: Plan, devices: Sequence[MovingDevice], wish: Wish) -> dict[Key, str]:
    """Addresses of gateways, management hosts, other ports; not of a gateway that is a device."""
    held = {
        key_of(o.address.address): f"{u.name}, as its other address"
        for u in devices
        for o in u.device.other_addresses
    }
    held |= {key_of(h.address): f"host {h.name}" for h in plan.management.hosts}
    before = {u.present.key for u in devices}
    # Whoever is the gateway of a device now is not that device.
    after = {u.planned.key for u in devices if u.planned.key != u.present.gateway_key}
    used = {u.present.gateway_key for u in devices}
    gateways_before = before if wish.new_addresses or wish.old is not None else before & used
    sides = (
        (before | after, (u.present for u in devices)),
        (after | gateways_before, (u.planned for u in devices)),
    )
    for own, placements in sides:
        for placement in placements:
            if placement.gateway_key is not None and placement.gateway_key not in own:
                held.setdefault(placement.gateway_key, f"gateway {placement.gateway}")
    if wish.laptop_gateway is not None and wish.setting == "remote":
        key = key_of(wish.laptop_gateway)
        if key not in before | after:
            held.setdefault(key, f"the laptop's gateway {wish.laptop_gateway}")
    return held


def _factory_addresses(profiles: Iterable[Profile]) -> Iterable[Key]:
    for profile in profiles:
        for at in (profile.factory.address, profile.factory.low, profile.factory.high):
            if at is not None:
                yield key_of(at.address)


# -- laptop --------------------------------------------------------------------------------------


def _check_laptop(task: Task) -> None:
    for own in task.laptop:
        if (why := unusable(own)) is not None:
            raise UsageError(f"--laptop {own}: {why}")
        owner = task.held.get(key_of(own.address))
        if owner is None and task.setting != "one-at-a-time":
            here = (u.name for u in task.devices if u.present.key == key_of(own.address))
            owner = next(here, None)
        if owner is not None:
            raise UsageError(f"--laptop {own}: that is the address of {owner}")
    if len(task.laptop) > 1 and not task.many:
        raise UsageError("--laptop-addresses one: give --laptop once")
    if task.setting == "remote":
        _check_remote(task)


def _check_remote(task: Task) -> None:
    if not task.laptop:
        raise UsageError("--remote needs --laptop: the address it stays at")
    view = View(task.laptop)
    for device in task.devices:
        for placement in (device.present, device.planned) if device.moves else ():
            if view.source(placement.key) is None and task.laptop_gateway is None:
                raise UsageError(
                    f"--remote: {device.name} at {placement.at} is not on-link to the laptop; "
                    "--laptop-gateway is needed"
                )


def finished(plan: Plan, task: Task, done: Iterable[str]) -> Plan:
    """The plan that records where the devices are now and where they are to be."""
    over = set(done)
    devices = []
    for moving in task.devices:
        start = moving.planned if moving.name in over else moving.present
        moved = moving.name in over or moving.moves
        device = moving.device
        if moved or device.present_address is not None:
            device = replace(device, present_address=start.at, present_gateway=start.gateway)
        devices.append(device)
    return replace(plan, devices=tuple(devices))
