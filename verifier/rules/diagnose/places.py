"""Where a finding is, seen from a fault; which devices are silent, and which are cut off by one.

A place is what a fault is of, as a tuple: a device `(name,)`, a port `(name, port)`, an end
`(link, carrier, end)`, a carrier `(link, carrier)`, a link `(link,)`, two devices in the order of
their names, one finding `(check, subject)`, all that show one value `(value,)`, what is planned for
a subnet `(subnet, check)`, everything `()`.
`PLACES` gives for a finding each place at which a fault would stand to it in that way.

A device counts as down only if nothing that answers has to pass through it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from verifier.model.observations import ECHO
from verifier.model.plan import EndName
from verifier.model.result import Finding
from verifier.rules.diagnose.case import (
    UNTESTED,
    WRONG,
    CarrierFindings,
    DeviceFindings,
    FindingIndex,
)

Of = Literal[
    "device", "port", "end", "hop", "link", "two", "finding", "value", "gateway", "subnet", "all"
]
"""What a fault is of."""
At = Literal["self", "ends", "across", "whole", "behind", "device"]
"""Where a finding is, seen from the fault.

`self`: of the very thing, a device's ports with it. `ends`: at an end of a link that is the
device's or the carrier's own. `across`: at the far end. `whole`: of a carrier or link as one.
`behind`: of a device whose management traffic passes here. `device`: of the device, or of each
device, that stands at the end or ends.
"""
Place = tuple[object, ...]
"""Where a fault would have to be: name of a device, port or link, number of a carrier, end. Its
length and parts follow from what the fault is of; a device's name is always its first part."""
HARDWARE = ("identity.serial", "neighbour.mac")
"""Checks whose planned values no two devices share."""


def other_end(end: EndName) -> EndName:
    """The far end's name."""
    return "b" if end == "a" else "a"


def own_end(case: FindingIndex, finding: Finding) -> Iterator[tuple[CarrierFindings, EndName]]:
    """The end a finding of a link is at; of each of its carriers where it names none."""
    if finding.subject.kind == "link" and finding.subject.end is not None:
        yield from ((hop, finding.subject.end) for hop in case.hops_of(finding.subject))


def both_ends(case: FindingIndex, finding: Finding) -> Iterator[tuple[CarrierFindings, EndName]]:
    """Both ends of a finding that is of a carrier, or of a link, as a whole."""
    if finding.subject.kind == "link" and finding.subject.end is None:
        for hop in case.hops_of(finding.subject):
            yield from ((hop, end) for end, _ in hop.carrier.ends())


def device_of(finding: Finding) -> str | None:
    """The device that a finding is of, or of a port of; None: of something else."""
    return finding.subject.name if finding.subject.kind in {"device", "port"} else None


def ends_of(case: FindingIndex, finding: Finding) -> Iterator[tuple[CarrierFindings, EndName]]:
    """The ends at which the device of a finding stands."""
    if (name := device_of(finding)) is not None:
        yield from case.hops_at.get(name, ())


def _ports(case: FindingIndex, finding: Finding) -> Iterator[Place]:
    """Each port of the device that a finding is of."""
    device = case.devices.get(finding.subject.name)
    if finding.subject.kind == "device" and device is not None:
        yield from ((device.name, port.name) for port in device.ports)


def _before(case: FindingIndex, finding: Finding) -> Iterator[tuple[str]]:
    """Everybody whom the management traffic of a finding's device may pass through."""
    names = [name] if (name := device_of(finding)) is not None else []
    names += [hop.device(end) for hop, end in (*own_end(case, finding), *both_ends(case, finding))]
    seen = set(names)
    for name in names:
        device = case.devices.get(name)
        up = (*device.uplink, case.gateway_of(device)) if device is not None else ()
        for before in up:
            if before is not None and before not in seen:
                seen.add(before)
                names.append(before)
                yield (before,)


def owner(case: FindingIndex, finding: Finding) -> str | None:
    """The other device that the plan knows by the hardware found here; None where it is at home."""
    if finding.check not in HARDWARE or finding.verdict == "pass":
        return None
    name = case.owners.get((finding.check, str(finding.observed).strip().lower()))
    there = case.by_device.get(name) if name is not None else None
    at_home = there is not None and there.get(finding.check, "pass") is not None
    return None if at_home or name == finding.subject.name else name


def in_place_of(case: FindingIndex, name: str) -> str | None:
    """The planned device whose hardware was found in the place of this one."""
    device = case.by_device.get(name)
    found = device.all(HARDWARE, *WRONG) if device is not None else ()
    return next((o for f in found if (o := owner(case, f)) is not None), None)


def _two(case: FindingIndex, finding: Finding) -> Iterator[Place]:
    name = device_of(finding)
    other = in_place_of(case, name) if name is not None else None
    if name is not None and other is not None:
        yield tuple(sorted((name, other)))


PLACES: Mapping[tuple[Of, At], Callable[[FindingIndex, Finding], Iterator[Place]]] = {
    ("device", "self"): lambda _, f: iter([(n,)] if (n := device_of(f)) is not None else []),
    ("device", "ends"): lambda c, f: ((h.device(e),) for h, e in own_end(c, f)),
    ("device", "across"): lambda c, f: ((h.device(other_end(e)),) for h, e in own_end(c, f)),
    ("device", "whole"): lambda c, f: ((h.device(e),) for h, e in both_ends(c, f)),
    ("device", "behind"): _before,
    ("gateway", "behind"): lambda c, f: (p for p in _before(c, f) if p[0] in c.gateways),
    ("port", "self"): lambda _, f: iter([(f.subject.name, f.subject.port)]),
    ("port", "device"): _ports,
    ("end", "self"): lambda c, f: (h.place(e) for h, e in own_end(c, f)),
    ("end", "across"): lambda c, f: (h.place(other_end(e)) for h, e in own_end(c, f)),
    ("end", "whole"): lambda c, f: (h.place(e) for h, e in both_ends(c, f)),
    ("end", "device"): lambda c, f: (h.place(e) for h, e in ends_of(c, f)),
    ("hop", "ends"): lambda c, f: (h.place() for h, _ in own_end(c, f)),
    ("hop", "whole"): lambda c, f: (h.place() for h, _ in both_ends(c, f)),
    ("hop", "device"): lambda c, f: (h.place() for h, _ in ends_of(c, f)),
    ("hop", "behind"): lambda c, f: (
        h.place() for (n,) in _before(c, f) for h, _ in c.hops_at.get(n, ())
    ),
    ("link", "ends"): lambda c, f: ((h.link.name,) for h, _ in own_end(c, f)),
    ("link", "whole"): lambda c, f: ((h.link.name,) for h, _ in both_ends(c, f)),
    ("link", "device"): lambda c, f: ((h.link.name,) for h, _ in ends_of(c, f)),
    ("two", "self"): _two,
    ("finding", "self"): lambda _, f: iter([(f.check, f.subject)]),
    ("value", "self"): lambda _, f: iter([(str(f.observed),)]),
    ("subnet", "self"): lambda c, f: iter(
        [(c.devices[f.subject.name].address.subnet, f.check)] if f.subject.name in c.devices else []
    ),
    ("all", "self"): lambda _, __: iter([()]),
}


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
