"""Who stands at which address: devices and ends mixed up, masks, gateways, addresses held twice."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from verifier.model import mib
from verifier.model.observations import NEIGHBOUR
from verifier.model.problem import Subject
from verifier.model.result import Cause, Finding
from verifier.rules import decode
from verifier.rules.diagnose.case import (
    WRONG,
    Causes,
    Certainty,
    DeviceFindings,
    FindingIndex,
    cause,
)
from verifier.rules.diagnose.places import in_place_of, owner
from verifier.rules.selection import beside

_SEVERAL = 3
"""Devices wrong in the same way from which the plan is looked at too: our own choice."""
_PEERS = 2
"""Number of other devices named for comparison."""
_WHO_IT_IS = (
    "identity.name", "identity.serial", "identity.part", "identity.location", "neighbour.mac",
    "identity.object-id",
)  # fmt: skip
"""Checks that tell which device it is; they follow a device to the place where it stands."""
_CROSSED = ("link.far-end", "radio.tx-frequency", "radio.rx-frequency", "radio.link-id")
"""These may be wrong too. They count where one end shows the value planned for the other."""


def causes(case: FindingIndex) -> Causes:
    """Everything about names, devices, masks, gateways and hardware addresses."""
    swapped: set[str] = set()
    for found, names in _swapped_ends(case):
        yield found
        swapped |= names
    for device in case.by_device.values():
        if device.name not in swapped and (other := _stands_for(case, device)) is not None:
            yield from _devices_swapped(case, device, other)
            yield from _name_besides(case, device, other)
        elif device.name not in swapped:
            yield from _identity(case, device)
        yield from _twice(case, device)
    yield from _proxies(case)
    yield from _same_setting(case, "address.mask", "mask-wrong", "the mask")
    yield from _same_setting(case, "address.gateway", "gateway-wrong", "the gateway")


def _swapped_ends(case: FindingIndex) -> Iterable[tuple[Cause, frozenset[str]]]:
    """Two ends under each other's names explain whatever else tells one device from the other."""
    for link in case.plan.links:
        head = case.ends_swapped(link)
        if head is None:
            continue
        names = frozenset().union(*link.devices())
        ends = dict.fromkeys(e.device for c in link.carriers for _, e in c.ends())
        devices = [case.by_device[n] for n in ends if n in case.by_device]
        odd = [f for u in devices for f in u.found if f.verdict in WRONG]
        odd += [f for f in case.links[link.name] if f.check in _CROSSED and f.verdict in WRONG]
        serials = [f for u in devices for f in u.all(["identity.serial"], *WRONG)]
        tied = all(owner(case, f) in names for f in serials)
        swapped = cause(
            "ends-swapped", head.subject, "likely" if tied else "possible",
            f"the ends of {link.name} answer under each other's names", [head, *odd],
            try_first=head.advice,
        )  # fmt: skip
        yield swapped, names


def _stands_for(case: FindingIndex, device: DeviceFindings) -> DeviceFindings | None:
    """The planned device whose hardware was found here, set up for this place; None: no such."""
    other = in_place_of(case, device.name)
    if other is None or device.get("identity.serial", "pass") is not None:
        return None
    named = device.get("identity.name", "fail") is None
    mutual = in_place_of(case, other) == device.name
    if not named and not mutual:
        return None
    return case.by_device.get(other, DeviceFindings(other, case.devices[other]))


def _name_besides(case: FindingIndex, device: DeviceFindings, other: DeviceFindings) -> Causes:
    """It stands where another is planned: whatever name it bears, it may not have been set up."""
    name = device.get("identity.name", "fail")
    if name is not None and not _several(name):
        said = str(name.observed)
        certainty: Certainty = "possible" if said == other.name else "likely"
        text = f"whoever stands at the place of {device.name} bears another name: {said!r}"
        yield cause(
            "name-wrong", device.subject, certainty, text,
            [name, *_heard_by_the_far_end(case, device, said)],
        )  # fmt: skip


def _devices_swapped(case: FindingIndex, device: DeviceFindings, other: DeviceFindings) -> Causes:
    """Two devices at each other's place, each set up for the place where it stands."""
    both = in_place_of(case, other.name) == device.name
    if both and other.name < device.name:
        return  # said of the other one already
    devices = [u for u in (device, other) if both or u is device]
    odd = [f for u in devices for f in u.all(_WHO_IT_IS, *WRONG)]
    names = [f for u in devices for f in u.all(["identity.name"], "pass")]
    text = f"{device.name} and {other.name} stand at each other's place"
    text += ", set up for where they stand" if len(names) == len(devices) else ""
    if not both:
        text = (
            f"the device that is planned as {other.name} stands at the place of {device.name}; "
            f"they may stand at each other's: {other.name} was not asked"
            if not other.found
            else f"the device that is planned as {other.name} stands at the place of {device.name}"
        )
    yield cause("devices-swapped", device.subject, "likely", text, [*odd, *names])


def _identity(case: FindingIndex, device: DeviceFindings) -> Causes:
    """Another device, or the right one with another name: the serial and hardware address tell."""
    name = device.get("identity.name", "fail")
    right = device.all(("identity.serial", "neighbour.mac"), "pass")
    wrong = device.all(("identity.serial", "neighbour.mac", "identity.object-id"), "fail")
    also = device.all(("identity.part", "identity.software", "identity.location"), *WRONG)
    if name is None or _several(name):
        yield from _exchanged(device, right, wrong, also)
        return
    if name.observed is None:
        return
    said = str(name.observed)
    heard = _heard_by_the_far_end(case, device, said)
    also += heard
    if wrong:
        other = said in case.devices
        certainty: Certainty = "possible" if right else "likely"
        text = f"another device stands at the address of {device.name}"
        text += f": {said}, which is planned elsewhere" if other else ""
        yield cause("wrong-device", device.subject, certainty, text, [name, *wrong, *also], right)
        if not right and not any(owner(case, f) == said for f in wrong):
            yield from _exchanged_only(device, name, wrong, heard)
        if not right and said in case.devices:
            yield from _perhaps_swapped(case, device, said)
    if right or not said:
        text = f"{device.name} is the planned device under another name: {said!r}" if said else (
            f"{device.name} has no name: it was not set, or not saved"
        )  # fmt: skip
        certainty = "possible" if wrong else "likely"
        yield cause("name-wrong", device.subject, certainty, text, [name, *heard, *right], wrong)
    if not right and not wrong and said:
        yield from _by_name_alone(case, device, name, heard)


def _exchanged_only(
    device: DeviceFindings, name: Finding, wrong: list[Finding], heard: list[Finding]
) -> Causes:
    """A spare that was not set up looks like any other device: two faults instead of one."""
    serial = device.get("identity.serial", "fail")
    if serial is not None:
        yield cause(
            "device-exchanged", device.subject, "possible",
            f"{device.name} may have been exchanged, and not been given its name",
            [serial, *wrong],
        )  # fmt: skip
    if name.observed:
        yield cause(
            "name-wrong", device.subject, "possible",
            f"{device.name} may have been exchanged and bear another name: {name.observed!r}",
            [name, *heard],
        )  # fmt: skip


def _perhaps_swapped(case: FindingIndex, device: DeviceFindings, said: str) -> Causes:
    """The far end's device stands here, and it does not answer under its name at its own place."""
    there = case.by_device.get(said)
    if there is not None and there.get("identity.name", "pass") is not None:
        return
    for hop, end in case.hops_at.get(device.name, ()):
        if hop.device("b" if end == "a" else "a") == said:
            odd = [f for f in (*device.found, *device.of_ends) if f.verdict in WRONG]
            yield cause(
                "ends-swapped", Subject("link", hop.link.name), "possible",
                f"the ends of {hop.link.name} may be swapped: {said} answers at the place of "
                f"{device.name}, and not at its own",
                [device.get("identity.name", "fail"), *odd],
            )  # fmt: skip


def _heard_by_the_far_end(case: FindingIndex, device: DeviceFindings, said: str) -> list[Finding]:
    """Far ends that report the same strange name."""
    found = (
        hop.get("link.far-end", "b" if end == "a" else "a", *WRONG)
        for hop, end in case.hops_at.get(device.name, ())
    )
    return [f for f in found if f is not None and str(f.observed) == said]


def _by_name_alone(
    case: FindingIndex, device: DeviceFindings, name: Finding, heard: list[Finding]
) -> Causes:
    """Nothing but the name was looked at."""
    said = str(name.observed)
    if (around := beside(said, device.name)) is not None:
        text = f"the name of {device.name} has {around}"
        yield cause("name-wrong", device.subject, "likely", text, [name, *heard])
        return
    other = case.by_device.get(said) if said in case.devices else None
    twice = other.get("identity.name", "pass") if other is not None else None
    likely: Certainty = "likely" if said in case.devices and twice is None else "possible"
    yield cause(
        "wrong-device", device.subject, likely,
        f"another device may stand at the address of {device.name}: it calls itself {said!r}",
        [name, *heard], [twice],
    )  # fmt: skip
    yield cause(
        "name-wrong", device.subject, "possible",
        f"{device.name} may be the planned device under another name: {said!r}",
        [name, *heard, twice],
    )  # fmt: skip


def _several(name: Finding) -> bool:
    return isinstance(name.observed, (list, tuple))


def _exchanged(
    device: DeviceFindings, right: list[Finding], wrong: list[Finding], also: list[Finding]
) -> Causes:
    """The name is right and the device is not: exchanged, and set up as planned."""
    name = device.get("identity.name", "pass")
    serial = device.get("identity.serial", "fail")
    if name is None or not wrong or (right and serial is None):
        return
    also = [f for f in also if f.check != "identity.location"]
    certainty: Certainty = "likely" if serial is not None and not right else "possible"
    yield cause(
        "device-exchanged", device.subject, certainty,
        f"{device.name} was exchanged and set up again; the plan knows the device before it",
        [*wrong, *also, name], right,
    )  # fmt: skip


def _twice(case: FindingIndex, device: DeviceFindings) -> Causes:
    """Several devices hold one address: two hardware addresses, doubled replies, names in turn."""
    macs = device.get("neighbour.duplicate", "fail", "warn")
    name = device.get("identity.name", "fail")
    names = name if name is not None and _several(name) else None
    doubled = device.get("echo.duplicate", "warn", "fail")
    mac = device.get("neighbour.mac", "fail")
    if macs is not None or names is not None:
        yield cause(
            "address-twice", device.subject, "likely",
            f"several devices hold the address of {device.name}",
            [macs, names, doubled, mac],
        )  # fmt: skip
        return
    if doubled is not None:
        yield cause(
            "address-twice", device.subject, "possible",
            f"a second device may hold the address of {device.name}: its echoes are answered twice",
            [doubled, mac],
        )  # fmt: skip
        yield cause(
            "path-doubled", device.subject, "possible",
            f"the way to {device.name} may be doubled: a loop, or two paths in parallel",
            [doubled],
        )  # fmt: skip
    elif mac is not None and _other_by_itself(case, device):
        own = device.all(("identity.name", "identity.serial"), "pass")
        text = (
            f"who answers for the address of {device.name} on the cable is not who answers by SNMP:"
            " a second device holds it, or a router answers for it"
        )
        yield cause("address-twice", device.subject, "possible", text, [mac, *own])


def _other_by_itself(case: FindingIndex, device: DeviceFindings) -> bool:
    """Whether the neighbour table and the device itself tell different hardware addresses."""
    seen = case.seen_of(device.name)
    cable = set(seen.values(NEIGHBOUR))
    itself = set(map(decode.hardware_address, seen.values(mib.IF_PHYS_ADDRESS))) - {None}
    return bool(cable and itself and not cable & itself)


def _proxies(case: FindingIndex) -> Causes:
    """One hardware address for several addresses, and for one that nobody holds: proxy ARP."""
    told: set[str] = set()
    groups: dict[str, list[Finding]] = defaultdict(list)
    for device in case.by_device.values():
        for finding in device.all(["neighbour.proxy"], *WRONG):
            groups[str(finding.observed)].append(finding)
            told.add(device.name)
    for mac, heads in groups.items():
        devices = [case.by_device[f.subject.name] for f in heads]
        odd = [f for u in devices for f in u.all(["neighbour.mac"], "fail")]
        yield cause(
            "proxy-arp", heads[0].subject, "likely",
            f"{mac} answers for {_listed(devices)} and for addresses that nobody holds: a router "
            "answers in their place (proxy ARP)",
            [*heads, *odd],
        )  # fmt: skip
    shared: dict[str, list[DeviceFindings]] = defaultdict(list)
    for device in case.by_device.values():
        if device.name not in told and device.get("neighbour.mac", "fail") is not None:
            for seen in case.seen_of(device.name).values(NEIGHBOUR)[:1]:
                shared[str(seen)].append(device)
    for mac, devices in shared.items():
        if len(devices) > 1:
            heads = [f for u in devices for f in u.all(["neighbour.mac"], "fail")]
            names = [f for u in devices for f in u.all(["identity.name"], "pass")]
            yield cause(
                "proxy-arp", devices[0].subject, "likely" if names else "possible",
                f"one hardware address, {mac}, answers for {_listed(devices)}: a router in their "
                "place (proxy ARP), or one device that holds all of them",
                [*heads, *names],
            )  # fmt: skip


def _listed(devices: list[DeviceFindings]) -> str:
    names = ", ".join(u.name for u in devices)
    return names if len(devices) <= _SEVERAL else f"{len(devices)} devices"


def _same_setting(case: FindingIndex, check: str, kind: str, words: str) -> Causes:
    """A mask or gateway: wrong in one device of a subnet, or alike in all, as if the plan were."""
    subnets: dict[tuple[int, int, int], list[DeviceFindings]] = defaultdict(list)
    for device in case.by_device.values():
        if device.device is not None and device.get(check, "pass", "fail") is not None:
            at = device.device.address
            subnets[at.version, at.first, at.prefix].append(device)
    for devices in subnets.values():
        heads = [f for u in devices for f in u.all([check], "fail")]
        right = [f for u in devices for f in u.all([check], "pass")]
        if len(heads) >= _SEVERAL and not right and len({str(f.observed) for f in heads}) == 1:
            yield from _all_alike(case, kind, words, heads)
            continue
        for head in heads:
            beside = right[:_PEERS]
            text = f"{words} of {head.subject.name} is {head.observed} instead of {head.expected}"
            if beside:
                text += f"; {beside[0].subject.name} of the same subnet has the planned one"
            yield cause(kind, head.subject, "likely", text, [head, *beside], try_first=head.advice)


def _all_alike(case: FindingIndex, kind: str, words: str, heads: list[Finding]) -> Causes:
    network = Subject("network", case.plan.network.name)
    alike = f"all {len(heads)} devices of the subnet have {heads[0].observed}"
    yield cause("plan-wrong", network, "possible", f"{words} in the plan is wrong: {alike}", heads)
    yield cause(kind, network, "possible", f"{words} was set wrong everywhere: {alike}", heads)
