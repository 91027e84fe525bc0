"""Which devices are silent, which answer, and which silent ones are cut off by one before them.

A device counts as down only if nothing that answers has to pass through it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

from verifier.model.observations import ECHO
from verifier.rules.diagnose.case import UNTESTED, DeviceFindings, FindingIndex

_ON_THE_CABLE = frozenset({"neighbour.duplicate", "neighbour.proxy"})
"""Checks that tell who answers on the cable, which may be another device."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Which devices are silent, answer, or let others' traffic pass; the rest is not known.

    Attributes:
        passing: silent, but an answering device has no other way than through them: which one.
        unsure: silent, and one of several through which an answering device's traffic may pass.
        reports: routers that sent an ICMP error themselves: these live.
    """

    silent: dict[str, DeviceFindings] = field(default_factory=dict)
    alive: set[str] = field(default_factory=set)
    passing: dict[str, str] = field(default_factory=dict)
    unsure: set[str] = field(default_factory=set)
    reports: dict[str, set[str]] = field(default_factory=dict)

    def down(self, name: str) -> bool:
        """Whether nothing speaks for this silent device letting anything pass."""
        return name in self.silent and name not in self.passing and name not in self.unsure


@dataclass(frozen=True, slots=True)
class Tree:
    """What hangs on what.

    Attributes:
        roots: silent devices that nothing before them explains.
        behind: the silent devices behind each root, nearest first.
    """

    roots: list[DeviceFindings]
    behind: dict[str, list[DeviceFindings]]


def standing_of(case: FindingIndex) -> Standing:
    """Where each device stands, by its own findings and those behind it."""
    standing = Standing()
    for device in case.by_device.values():
        head = device.get("echo.reply", "fail")
        others = [f for f in device.found if f is not head and f.check not in _ON_THE_CABLE]
        if head is not None and all(f.verdict in UNTESTED for f in others):
            standing.silent[device.name] = device
            standing.reports[device.name] = _reporters(case, device)
        elif any(f.verdict in {"pass", "fail"} for f in device.found):
            standing.alive.add(device.name)
    _pass_on(case, standing)
    return standing


def _pass_on(case: FindingIndex, standing: Standing) -> None:
    """Marks silent devices through which the traffic of answering ones goes."""
    work = [(name, name) for name in sorted(standing.alive)]
    while work:
        name, witness = work.pop()
        device = case.devices.get(name)
        uplinks = [u for u in dict.fromkeys(device.uplink) if u != device.name] if device else []
        if not uplinks or any(u not in standing.silent for u in uplinks):
            continue
        if any(u in standing.passing for u in uplinks):
            continue
        if len(uplinks) == 1:
            standing.passing[uplinks[0]] = witness
            work.append((uplinks[0], witness))
        else:
            standing.unsure.update(uplinks)


def _reporters(case: FindingIndex, device: DeviceFindings) -> set[str]:
    """Addresses of those that sent an ICMP error instead of a reply."""
    return {
        silence.reporter
        for series in case.seen_of(device.name).values(ECHO)
        for silence in series.silence
        if silence.reporter
    }


def routed(device: DeviceFindings) -> bool:
    """Whether the laptop and the device talk through a gateway, by `laptop.fit`."""
    fit = device.get("laptop.fit")
    return fit is not None and fit.reason.startswith("routed:")


def tree_of(case: FindingIndex, standing: Standing) -> Tree:
    """The roots of all silence; devices cut off in a circle are roots of their own."""
    gateways = gateway_devices(case)
    feeders: dict[str, list[str]] = {}
    for name, device in standing.silent.items():
        feeders[name] = _cut_by(standing, device, gateways)
    children: dict[str, list[str]] = defaultdict(list)
    for name, ups in feeders.items():
        for up in ups:
            children[up].append(name)
    roots = [u for n, u in standing.silent.items() if not feeders[n]]
    behind = {r.name: _below(r.name, children, standing) for r in roots}
    reached = {u.name for devices in behind.values() for u in devices}
    lost = [u for n, u in standing.silent.items() if feeders[n] and n not in reached]
    return Tree(roots=[*roots, *lost], behind=behind | {u.name: [] for u in lost})


def _cut_by(standing: Standing, one: DeviceFindings, gateways: Mapping[str, str]) -> list[str]:
    """The devices whose being down cuts this one off; none where it may have a way."""
    device = one.device
    if device is None:
        return []
    uplinks = [u for u in dict.fromkeys(device.uplink) if u != one.name]
    if uplinks and all(standing.down(u) for u in uplinks):
        return uplinks
    gateway = gateways.get(str(device.gateway)) if device.gateway and routed(one) else None
    if gateway is not None and gateway != one.name and standing.down(gateway):
        return [gateway]
    return []


def gateway_devices(case: FindingIndex) -> dict[str, str]:
    """The planned device that holds each address."""
    held: dict[str, str] = {}
    for device in case.plan.devices:
        for interface in (device.address, *(o.address for o in device.other_addresses)):
            held.setdefault(str(interface.address), device.name)
    return held


def _below(
    root: str, children: Mapping[str, list[str]], standing: Standing
) -> list[DeviceFindings]:
    found: dict[str, DeviceFindings] = {}
    work = [root]
    for name in work:
        for child in children.get(name, ()):
            if child != root and child not in found:
                found[child] = standing.silent[child]
                work.append(child)
    return list(found.values())
