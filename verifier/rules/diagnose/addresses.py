"""Who stands at which address: units and ends mixed up, masks, gateways, addresses held twice."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from verifier.model.result import Cause, Finding
from verifier.model.subject import Subject
from verifier.rules import decode
from verifier.rules.compare.identity import beside
from verifier.rules.diagnose.case import WRONG, Case, Causes, Certainty, Unit, cause
from verifier.rules.diagnose.places import in_place_of, owner

_SEVERAL = 3
"""Units wrong in the same way from which the plan is looked at too: our own choice."""
_PEERS = 2
"""As many others are named for comparison."""
_WHO_IT_IS = (
    "system.name", "system.serial", "system.part", "system.location", "neighbour.mac",
    "system.object-id",
)  # fmt: skip
"""Checks that tell which unit it is; they follow a unit to the place where it stands."""
_CROSSED = ("link.far-end", "radio.tx-frequency", "radio.rx-frequency", "radio.link-id")
"""What may follow it too: tied where the one end shows what is planned for the other."""


def causes(case: Case) -> Causes:
    """Everything about names, units, masks, gateways and hardware addresses."""
    swapped: set[str] = set()
    for found, names in _swapped_ends(case):
        yield found
        swapped |= names
    for unit in case.units.values():
        if unit.name not in swapped and (other := _stands_for(case, unit)) is not None:
            yield from _units_swapped(case, unit, other)
            yield from _name_besides(case, unit, other)
        elif unit.name not in swapped:
            yield from _identity(case, unit)
        yield from _twice(case, unit)
    yield from _proxies(case)
    yield from _same_setting(case, "address.mask", "mask-wrong", "the mask")
    yield from _same_setting(case, "address.gateway", "gateway-wrong", "the gateway")


def _swapped_ends(case: Case) -> Iterable[tuple[Cause, frozenset[str]]]:
    """Two ends under each other's names explain whatever else tells one unit from the other."""
    for link in case.plan.links:
        head = case.ends_swapped(link)
        if head is None:
            continue
        names = frozenset().union(*link.devices())
        ends = dict.fromkeys(e.device for c in link.carriers for _, e in c.ends())
        units = [case.units[n] for n in ends if n in case.units]
        odd = [f for u in units for f in u.found if f.verdict in WRONG]
        odd += [f for f in case.links[link.name] if f.check in _CROSSED and f.verdict in WRONG]
        serials = [f for u in units for f in u.all(["system.serial"], *WRONG)]
        certainty: Certainty = (
            "likely" if all(owner(case, f) in names for f in serials) else "possible"
        )
        text = f"the ends of {link.name} answer under each other's names"
        yield (
            cause(
                "ends-swapped", head.subject, certainty, text, [head, *odd], try_first=head.advice
            ),
            names,
        )  # fmt: skip


def _stands_for(case: Case, unit: Unit) -> Unit | None:
    """The planned unit whose hardware was found here, set up for this place; None: no such."""
    other = in_place_of(case, unit.name)
    if other is None or unit.get("system.serial", "pass") is not None:
        return None
    named = unit.get("system.name", "fail") is None
    mutual = in_place_of(case, other) == unit.name
    return case.units.get(other, Unit(other, case.devices[other])) if named or mutual else None


def _name_besides(case: Case, unit: Unit, other: Unit) -> Causes:
    """It stands where another is planned: whatever name it bears, it may not have been set up."""
    name = unit.get("system.name", "fail")
    if name is not None and not _several(name):
        said = str(name.observed)
        certainty: Certainty = "possible" if said == other.name else "likely"
        text = f"whoever stands at the place of {unit.name} bears another name: {said!r}"
        yield cause(
            "name-wrong", unit.subject, certainty, text,
            [name, *_heard_by_the_far_end(case, unit, said)],
        )  # fmt: skip


def _units_swapped(case: Case, unit: Unit, other: Unit) -> Causes:
    """Two units at each other's place, each set up for the place where it stands."""
    both = in_place_of(case, other.name) == unit.name
    if both and other.name < unit.name:
        return  # said of the other one already
    units = [u for u in (unit, other) if both or u is unit]
    odd = [f for u in units for f in u.all(_WHO_IT_IS, *WRONG)]
    names = [f for u in units for f in u.all(["system.name"], "pass")]
    text = f"{unit.name} and {other.name} stand at each other's place"
    text += ", set up for where they stand" if len(names) == len(units) else ""
    if not both:
        text = (
            f"the unit that is planned as {other.name} stands at the place of {unit.name}; they "
            f"may stand at each other's: {other.name} was not asked"
            if not other.found
            else f"the unit that is planned as {other.name} stands at the place of {unit.name}"
        )
    yield cause("units-swapped", unit.subject, "likely", text, [*odd, *names])


def _identity(case: Case, unit: Unit) -> Causes:
    """Another unit, or the right one with another name: the serial and hardware address tell."""
    name = unit.get("system.name", "fail")
    right = unit.all(("system.serial", "neighbour.mac"), "pass")
    wrong = unit.all(("system.serial", "neighbour.mac", "system.object-id"), "fail")
    also = unit.all(("system.part", "system.software", "system.location"), *WRONG)
    if name is None or _several(name):
        yield from _exchanged(unit, right, wrong, also)
        return
    if name.observed is None:
        return
    said = str(name.observed)
    heard = _heard_by_the_far_end(case, unit, said)
    also += heard
    if wrong:
        other = said in case.devices
        certainty: Certainty = "possible" if right else "likely"
        if not right and (other or len(wrong) > 1):
            certainty = "likely"
        text = f"another unit stands at the address of {unit.name}"
        text += f": {said}, which is planned elsewhere" if other else ""
        yield cause("wrong-unit", unit.subject, certainty, text, [name, *wrong, *also], right)
        if not right and not any(owner(case, f) == said for f in wrong):
            yield from _exchanged_only(unit, name, wrong, heard)
        if not right and said in case.devices:
            yield from _perhaps_swapped(case, unit, said)
    if right or not said:
        text = f"{unit.name} is the planned unit under another name: {said!r}" if said else (
            f"{unit.name} has no name: it was not set, or not saved"
        )  # fmt: skip
        certainty = "possible" if wrong else "likely"
        yield cause("name-wrong", unit.subject, certainty, text, [name, *heard, *right], wrong)
    if not right and not wrong and said:
        yield from _by_name_alone(case, unit, name, heard)


def _exchanged_only(
    unit: Unit, name: Finding, wrong: list[Finding], heard: list[Finding]
) -> Causes:
    """A spare that was not set up looks like any other unit: two faults instead of one."""
    serial = unit.get("system.serial", "fail")
    if serial is not None:
        yield cause(
            "unit-exchanged", unit.subject, "possible",
            f"{unit.name} may have been exchanged, and not been given its name",
            [serial, *wrong],
        )  # fmt: skip
    if name.observed:
        yield cause(
            "name-wrong", unit.subject, "possible",
            f"{unit.name} may have been exchanged and bear another name: {name.observed!r}",
            [name, *heard],
        )  # fmt: skip


def _perhaps_swapped(case: Case, unit: Unit, said: str) -> Causes:
    """The far end's unit stands here, and it does not answer under its name at its own place."""
    there = case.units.get(said)
    if there is not None and there.get("system.name", "pass") is not None:
        return
    for hop, end in case.hops_at.get(unit.name, ()):
        if hop.unit("b" if end == "a" else "a") == said:
            odd = [f for f in (*unit.found, *unit.of_ends) if f.verdict in WRONG]
            yield cause(
                "ends-swapped", Subject("link", hop.link.name), "possible",
                f"the ends of {hop.link.name} may be swapped: {said} answers at the place of "
                f"{unit.name}, and not at its own",
                [unit.get("system.name", "fail"), *odd],
            )  # fmt: skip


def _heard_by_the_far_end(case: Case, unit: Unit, said: str) -> list[Finding]:
    """Far ends that report the same strange name."""
    found = (
        hop.get("link.far-end", "b" if end == "a" else "a", *WRONG)
        for hop, end in case.hops_at.get(unit.name, ())
    )
    return [f for f in found if f is not None and str(f.observed) == said]


def _by_name_alone(case: Case, unit: Unit, name: Finding, heard: list[Finding]) -> Causes:
    """Nothing but the name was looked at."""
    said = str(name.observed)
    if (around := beside(said, unit.name)) is not None:
        text = f"the name of {unit.name} has {around}"
        yield cause("name-wrong", unit.subject, "likely", text, [name, *heard])
        return
    other = case.units.get(said) if said in case.devices else None
    twice = other.get("system.name", "pass") if other is not None else None
    likely: Certainty = "likely" if said in case.devices and twice is None else "possible"
    yield cause(
        "wrong-unit", unit.subject, likely,
        f"another unit may stand at the address of {unit.name}: it calls itself {said!r}",
        [name, *heard], [twice],
    )  # fmt: skip
    yield cause(
        "name-wrong", unit.subject, "possible",
        f"{unit.name} may be the planned unit under another name: {said!r}",
        [name, *heard, twice],
    )  # fmt: skip


def _several(name: Finding) -> bool:
    return isinstance(name.observed, (list, tuple))


def _exchanged(
    unit: Unit, right: list[Finding], wrong: list[Finding], also: list[Finding]
) -> Causes:
    """The name is right and the unit is not: exchanged, and set up as planned."""
    name = unit.get("system.name", "pass")
    serial = unit.get("system.serial", "fail")
    if name is None or not wrong or (right and serial is None):
        return
    also = [f for f in also if f.check != "system.location"]
    certainty: Certainty = "likely" if serial is not None and not right else "possible"
    yield cause(
        "unit-exchanged", unit.subject, certainty,
        f"{unit.name} was exchanged and set up again; the plan knows the unit before it",
        [*wrong, *also, name], right,
    )  # fmt: skip


def _twice(case: Case, unit: Unit) -> Causes:
    """Several units hold one address: two hardware addresses, doubled replies, names in turn."""
    macs = unit.get("neighbour.duplicate", "fail", "warn")
    name = unit.get("system.name", "fail")
    names = name if name is not None and _several(name) else None
    doubled = unit.get("icmp.duplicate", "warn", "fail")
    mac = unit.get("neighbour.mac", "fail")
    if macs is not None or names is not None:
        yield cause(
            "address-twice", unit.subject, "likely",
            f"several units hold the address of {unit.name}",
            [macs, names, doubled, mac],
        )  # fmt: skip
        return
    if doubled is not None:
        yield cause(
            "address-twice", unit.subject, "possible",
            f"a second unit may hold the address of {unit.name}: its echoes are answered twice",
            [doubled, mac],
        )  # fmt: skip
        yield cause(
            "path-doubled", unit.subject, "possible",
            f"the way to {unit.name} may be doubled: a loop, or two paths in parallel",
            [doubled],
        )  # fmt: skip
    elif mac is not None and _other_by_itself(case, unit):
        own = unit.all(("system.name", "system.serial"), "pass")
        text = (
            f"who answers for the address of {unit.name} on the cable is not who answers by SNMP:"
            " a second unit holds it, or a router answers for it"
        )
        yield cause("address-twice", unit.subject, "possible", text, [mac, *own])


def _other_by_itself(case: Case, unit: Unit) -> bool:
    """Whether the neighbour table and the unit itself tell different hardware addresses."""
    cable, itself = (
        {decode.hardware_address(str(o.value)) for o in case.values(unit.name, what)} - {None}
        for what in ("neighbour", "ifPhysAddress")
    )
    return bool(cable and itself and not cable & itself)


def _proxies(case: Case) -> Causes:
    """One hardware address for several addresses, and for one that nobody holds: proxy ARP."""
    told: set[str] = set()
    groups: dict[str, list[Finding]] = defaultdict(list)
    for unit in case.units.values():
        for finding in unit.all(["neighbour.proxy"], *WRONG):
            groups[str(finding.observed)].append(finding)
            told.add(unit.name)
    for mac, heads in groups.items():
        units = [case.units[f.subject.name] for f in heads]
        odd = [f for u in units for f in u.all(["neighbour.mac"], "fail")]
        yield cause(
            "proxy-arp", heads[0].subject, "likely",
            f"{mac} answers for {_listed(units)} and for addresses that nobody holds: a router "
            "answers in their place (proxy ARP)",
            [*heads, *odd],
        )  # fmt: skip
    shared: dict[str, list[Unit]] = defaultdict(list)
    for unit in case.units.values():
        if unit.name not in told and unit.get("neighbour.mac", "fail") is not None:
            for seen in case.values(unit.name, "neighbour")[:1]:
                shared[str(seen.value).lower()].append(unit)
    for mac, units in shared.items():
        if len(units) > 1:
            heads = [f for u in units for f in u.all(["neighbour.mac"], "fail")]
            names = [f for u in units for f in u.all(["system.name"], "pass")]
            yield cause(
                "proxy-arp", units[0].subject, "likely" if names else "possible",
                f"one hardware address, {mac}, answers for {_listed(units)}: a router in their "
                "place (proxy ARP), or one unit that holds all of them",
                [*heads, *names],
            )  # fmt: skip


def _listed(units: list[Unit]) -> str:
    if len(units) > _SEVERAL:
        return f"{len(units)} units"
    return ", ".join(u.name for u in units)


def _same_setting(case: Case, check: str, kind: str, words: str) -> Causes:
    """A mask or gateway: wrong in one unit of a subnet, or alike in all, as if the plan were."""
    subnets: dict[tuple[int, int, int], list[Unit]] = defaultdict(list)
    for unit in case.units.values():
        if unit.device is not None and unit.get(check, "pass", "fail") is not None:
            at = unit.device.address
            subnets[at.version, at.first, at.prefix].append(unit)
    for units in subnets.values():
        heads = [f for u in units for f in u.all([check], "fail")]
        right = [f for u in units for f in u.all([check], "pass")]
        if len(heads) >= _SEVERAL and not right and len({str(f.observed) for f in heads}) == 1:
            yield from _all_alike(case, kind, words, heads)
            continue
        for head in heads:
            beside = right[:_PEERS]
            text = f"{words} of {head.subject.name} is {head.observed} instead of {head.expected}"
            if beside:
                text += f"; {beside[0].subject.name} of the same subnet has the planned one"
            yield cause(kind, head.subject, "likely", text, [head, *beside], try_first=head.advice)


def _all_alike(case: Case, kind: str, words: str, heads: list[Finding]) -> Causes:
    network = Subject("network", case.plan.network.name)
    alike = f"all {len(heads)} units of the subnet have {heads[0].observed}"
    yield cause("plan-wrong", network, "possible", f"{words} in the plan is wrong: {alike}", heads)
    yield cause(kind, network, "possible", f"{words} was set wrong everywhere: {alike}", heads)
