"""Why a device cannot be moved, and the smallest way out."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace

from verifier.model.address import Interface
from verifier.rules.fit.hosts import downwards, unusable, with_value
from verifier.rules.readdress.placement import Key, MovingDevice, Net, Placement, host_in, key_of
from verifier.rules.readdress.run import ALL, Run, SegmentState
from verifier.rules.readdress.world import Segment, Task

_LISTED = 4


def obstacles(task: Task, blocked: Mapping[str, str]) -> dict[str, str]:
    """Devices that are blocked whatever the order of the steps is, with the reason; new ones only.

    A device that waits for the address of a blocked one is blocked too.
    """
    apart, remote = task.setting == "one-at-a-time", task.setting == "remote"
    found = dict(blocked)
    shared = Counter(u.present.key for u in task.devices)
    staying: dict[Key, MovingDevice] = {}
    while True:
        if not apart:
            staying = {u.present.key: u for u in task.devices if not u.moves or u.name in found}
        new: dict[str, str] = {}
        free: dict[Net, list[int]] = {}
        for device in task.devices:
            if device.moves and device.name not in found:
                reason = _standing(task, device, shared) or _held_by_one_that_stays(device, staying)
                if reason is None and not remote:
                    reason = _no_room(task, device, staying, free)
                if reason is not None:
                    new[device.name] = reason
        if not new:
            return {name: why for name, why in found.items() if name not in blocked}
        found.update(new)


def _standing(task: Task, device: MovingDevice, shared: Mapping[Key, int]) -> str | None:
    """What stands against a device on its own."""
    reason = _at_present(task, device) or _in_the_end(task, device)
    if reason is None and task.setting == "remote":
        return _shared(device) if shared[device.present.key] > 1 else _no_way(task, device)
    return reason


def _held_by_one_that_stays(
    device: MovingDevice, staying: Mapping[Key, MovingDevice]
) -> str | None:
    other = staying.get(device.planned.key)
    if other is None or other is device:
        return None
    return (
        f"its planned address {device.planned.at.address} is held by {other.name}, which stays "
        "there: move that one first"
    )


def _at_present(task: Task, device: MovingDevice) -> str | None:
    if (why := unusable(device.present.at)) is not None:
        return f"its present address cannot be right: {why}"
    if (owner := task.held.get(device.present.key)) is not None:
        return (
            f"its present address {device.present.at.address} is also that of {owner}: neither can "
            "be told from the other; take the device off and move it where that one is not attached"
        )
    return None


def _in_the_end(task: Task, device: MovingDevice) -> str | None:
    planned = device.planned
    if (owner := task.held.get(planned.key)) is not None:
        return (
            f"its planned address {planned.at.address} is held by {owner}: free it there first, "
            "or plan another one"
        )
    gateway = planned.gateway
    own = [planned, *(Placement(o.address) for o in device.device.other_addresses)]
    if gateway is not None and not (gateway.is_link_local and not gateway.is_v4):
        assert planned.gateway_key is not None
        if not any(s.holds(planned.gateway_key) for s in own):
            return (
                f"its gateway {gateway} lies outside {planned.at.subnet}: name one inside "
                f"(--change {device.name}={planned.at},GATEWAY)"
            )
    return None


def _shared(device: MovingDevice) -> str:
    return (
        f"another device has its present address {device.present.at.address} too: from afar they "
        "cannot be told apart; change them on the bench with --one-at-a-time"
    )


def _no_room(
    task: Task,
    device: MovingDevice,
    staying: Mapping[Key, MovingDevice],
    free: dict[Net, list[int]],
) -> str | None:
    """No address is left for the laptop in one of the subnets, whenever it comes there."""
    for placement in (device.present, device.planned):
        if placement.net not in free:
            unheld = (v for v in _hosts(placement) if not _held(task, staying, placement, v))
            free[placement.net] = list(itertools.islice(unheld, 2))
        if all(value == placement.key[1] for value in free[placement.net]):
            others = sorted(v for v in _hosts(placement) if v != placement.key[1])
            owners = {v: _held(task, staying, placement, v) or "" for v in others}
            return _full(placement, {with_value(placement.at, v): who for v, who in owners.items()})
    return None


def _no_way(task: Task, device: MovingDevice) -> str | None:
    """From where it stays, the laptop cannot reach the device, or the device not answer."""
    everywhere = Segment(replace(task, devices=(device,)))
    everywhere.device_gateways.clear()
    run = Run(everywhere, SegmentState(ALL, bytes(1), (), task.laptop))
    for when, placement in (("at present", device.present), ("once moved", device.planned)):
        if run.reaches(0, placement):
            continue
        if placement.key in run.view.keys:
            return f"the laptop itself holds {placement.at.address}, which is the device's {when}"
        if placement.gateway is None:
            return (
                f"{when}, at {placement.at}, it has no gateway and cannot answer this laptop: "
                "plan one, or stand beside it and use --segment"
            )
        return (
            f"{when}, at {placement.at} with gateway {placement.gateway}, it and this laptop "
            "have no way to each other: stand beside it and use --segment"
        )
    return None


def _hosts(placement: Placement) -> Iterator[int]:
    return (v for v in downwards(placement.at) if host_in(placement.net, v))


def _held(
    task: Task, staying: Mapping[Key, MovingDevice], placement: Placement, value: int
) -> str | None:
    key = (placement.net[0], value)
    return task.held.get(key) or (staying[key].name if key in staying else None)


def _full(placement: Placement, owners: Mapping[Interface, str]) -> str:
    subnet = placement.at.subnet
    if not owners:
        return (
            f"{subnet} has no second host, so no laptop can be on-link to {placement.at.address}: "
            "give the device a shorter prefix"
        )
    listed = [f"{host.address} while {owner} is detached" for host, owner in owners.items()]
    more = f" (or {len(listed) - _LISTED} more)" if len(listed) > _LISTED else ""
    return (
        f"no free address for the laptop in {subnet}: it may borrow "
        f"{', or '.join(listed[:_LISTED])}{more}; a device is detached with --one-at-a-time"
    )


def stuck(world: Segment, reached: SegmentState, i: int) -> str:
    """Why a device could not be moved, once all was done that could be."""
    device = world.movers[i]
    present, planned = world.placements[i]
    run = Run(world, reached)
    if world.remote:
        return _not_reached(world, run, i)
    if i in world.circle_of:
        names = [world.movers[j].name for j in world.circles[world.circle_of[i]]]
        return (
            f"{', '.join(names)} want each other's addresses and no free address is left to move "
            "one aside to: free one in any subnet of the plan, or use --one-at-a-time"
        )
    if reached.attached == ALL:
        holder = run.holder(planned.key)
        if holder is not None and holder != i:
            return (
                f"its planned address {planned.at.address} is held by "
                f"{world.movers[holder].name}, which is blocked too: move that one first"
            )
    net = next((n for n in (present.net, planned.net) if n in world.tight), present.net)
    placement = present if net == present.net else planned
    hosts = [h for h in world.hosts.get(net, []) if key_of(h.address) != placement.key]
    owners = {h: name for h in hosts if (name := _owner(world, key_of(h.address), device))}
    if not owners:
        return (
            f"the only other address of {placement.at.subnet}, {planned.at.address}, is needed by "
            "the laptop while the device is changed to it: move the device through another subnet"
        )
    return _full(placement, owners)


def _owner(world: Segment, key: Key, device: MovingDevice) -> str | None:
    for other in world.movers:
        if other is not device and key in (other.present.key, other.planned.key):
            return other.name
    return None


def _not_reached(world: Segment, run: Run, i: int) -> str:
    device = world.movers[i]
    present, planned = world.placements[i]
    assert world.waits is not None
    first = [world.movers[b].name for b in world.waits.below.get(i, ()) if run.status[b] != 4]  # noqa: PLR2004
    if first:
        return (
            f"{', '.join(first[:_LISTED])} must be moved first (far end first) and cannot be: "
            "move them where they are, or all of them with --segment"
        )
    holder = run.holder(planned.key)
    if holder is not None and holder != i:
        return (
            f"its planned address {planned.at.address} is held by {world.movers[holder].name}, "
            "which cannot be moved before it: plan another address, or use --segment"
        )
    if planned.key in run.view.keys:
        return f"the laptop itself holds its planned address {planned.at.address}"
    if not run.reaches(i, present):
        return f"the laptop has no way to {present.at.address}, or the device none back"
    return (
        f"once it is at {planned.at} the laptop and it have no way to each other, or "
        f"another device "
        f"would be cut off ({device.name} is its gateway): stand beside it and use --segment"
    )
