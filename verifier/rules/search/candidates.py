"""Where a device that does not answer may be: only from the plan, and never many places.

Near slips are addresses that a hand makes that types one key wrong.

Special ranges (198.18/15, 100.64/10, loopback) count as the plan's as a whole once the plan has an
address there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import netaddr

from verifier.model.address import Address, Interface
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.search import Candidate, CandidateKind
from verifier.rules.fit.hosts import unusable

_OCTET_MAX, _GROUP_MAX = 0xFF, 0xFFFF
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")


def slips(address: Address) -> Iterator[tuple[Address, str]]:
    """Each address that is one slip away, once, with the slip in words; the last octet first.

    A digit doubled, dropped or two of them transposed; an octet one too high or too low; two
    neighbouring octets exchanged. For IPv6 the same with its groups as they are written. Which
    slips are made: common practice.
    """
    parts = _parts(address)
    met = {address.value}
    for position in range(len(parts) - 1, -1, -1):
        for value, what in _of_part(parts[position], _base(address)):
            if 0 <= value <= _largest(address):
                changed = [*parts[:position], _written(value, address), *parts[position + 1 :]]
                words = f"{_called(position, address)} {parts[position]} as {changed[position]}"
                yield from _new(_joined(changed, address), f"{words}: {what}", met)
    for position in range(len(parts) - 2, -1, -1):
        changed = list(parts)
        changed[position], changed[position + 1] = parts[position + 1], parts[position]
        words = f"{_called(position, address)} and next {_device(address)} exchanged"
        yield from _new(_joined(changed, address), words, met)


def _new(found: Address, words: str, met: set[int]) -> Iterator[tuple[Address, str]]:
    if found.value not in met:
        met.add(found.value)
        yield found, words


def _of_part(text: str, base: int) -> Iterator[tuple[int, str]]:
    """Slips of one octet or group, as numbers."""
    for i in range(len(text)):
        yield int(text[: i + 1] + text[i:], base), "digit doubled"
    for i in range(len(text) if len(text) > 1 else 0):
        yield int(text[:i] + text[i + 1 :], base), "digit dropped"
    for i in range(len(text) - 1):
        swapped = text[:i] + text[i + 1] + text[i] + text[i + 2 :]
        yield int(swapped, base), "digits transposed"
    value = int(text, base)
    yield value + 1, "one too high"
    yield value - 1, "one too low"


def _parts(address: Address) -> list[str]:
    bits, count = (8, 4) if address.is_v4 else (16, 8)
    largest = _largest(address)
    numbers = [address.value >> bits * (count - 1 - i) & largest for i in range(count)]
    return [_written(n, address) for n in numbers]


def _joined(parts: list[str], like: Address) -> Address:
    bits = 8 if like.is_v4 else 16
    value = 0
    for part in parts:
        value = value << bits | int(part, _base(like))
    return Address(netaddr.IPAddress(value, 4 if like.is_v4 else 6), like.zone)


def _written(value: int, like: Address) -> str:
    return str(value) if like.is_v4 else f"{value:x}"


def _base(address: Address) -> int:
    return 10 if address.is_v4 else 16


def _largest(address: Address) -> int:
    return _OCTET_MAX if address.is_v4 else _GROUP_MAX


def _device(address: Address) -> str:
    return "octet" if address.is_v4 else "group"


def _called(position: int, address: Address) -> str:
    return f"{_ORDINALS[position]} {_device(address)}"


MAX_CANDIDATES = 64
"""Number of addresses asked in one run; what was heard does not raise it."""
NOT_ROUTED = tuple(
    Interface.parse(text)
    for text in (
        "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "fc00::/7",
        "192.0.2.0/24", "198.51.100.0/24", "203.0.113.0/24", "2001:db8::/32", "3fff::/20",
    )
)  # fmt: skip
"""Private (RFC 1918 section 3, RFC 4193), documentation ranges (RFC 5737, RFC 3849, RFC 9637)."""
ISOLATED = tuple(Interface.parse(t) for t in ("198.18.0.0/15", "100.64.0.0/10", "127.0.0.0/8"))
"""Benchmarking (RFC 2544), shared (RFC 6598) and loopback: ranges of the plan as a whole if it has
an address there, for nobody on the internet can have one."""
Key = tuple[int, int]
"""Family and number of an address."""


def key_of(address: Address) -> Key:
    """What makes two addresses the same; a zone does not."""
    return address.version, address.value


def candidates(
    plan: Plan,
    device: Device,
    profiles: Mapping[str, Profile],
    *,
    temporary: Iterable[Interface] = (),
    own: Iterable[Address] = (),
) -> tuple[Candidate, ...]:
    """At most 64 addresses where `device` may be, the likeliest first, each once.

    Planned, present, factory and temporary addresses, then near slips of the planned one inside
    the ranges the plan uses, private and documentation ranges, those of the planned subnet first.

    `temporary` are addresses a runbook gives the device on its way, `own` this laptop's, left out.
    """
    owners = _owners(plan, device)
    met = {key_of(address) for address in own}
    found: list[Candidate] = []
    for at, kind, why in (*named(device, profiles, temporary), *_slips(plan, device, profiles)):
        key = key_of(at.address)
        if key not in met and len(found) < MAX_CANDIDATES:
            met.add(key)
            found.append(Candidate(address=at, kind=kind, why=why, owner=owners.get(key, "")))
    return tuple(found)


def heard(
    plan: Plan, device: Device, profiles: Mapping[str, Profile], address: Address, *, sure: bool
) -> Candidate | None:
    """An address that was heard on the cable, as a candidate; None where it must not be asked.

    `sure`: the device itself was heard there; then any host's address is one.
    """
    ranges = _ranges(plan, profiles)
    at = _placed(address, ranges, device.address)
    if at is None or not (sure or _allowed(address, ranges)):
        return None
    if address.is_link_local and not device.address.address.is_link_local:
        return None
    owner = _owners(plan, device).get(key_of(address), "")
    return Candidate(address=at, kind="heard", why="heard on the cable", owner=owner)


def named(
    device: Device, profiles: Mapping[str, Profile], temporary: Iterable[Interface] = ()
) -> Iterator[tuple[Interface, CandidateKind, str]]:
    """The addresses that plan, profile and runbook give a device: kind of each, and its words."""
    yield device.address, "planned", "planned address"
    for other in device.other_addresses:
        yield other.address, "planned", "a further planned address"
    if device.present_address is not None:
        yield device.present_address, "present", "present address by the plan"
    profile = profiles.get(device.profile)
    if profile is not None:
        words = f"factory address of profile {profile.id}"
        factory = profile.factory
        for at in (factory.address_for(device.tx_band), factory.address, factory.low, factory.high):
            if at is not None:
                yield at, "factory", words
    for at in temporary:
        yield at, "temporary", "temporary address of the runbook"


def _slips(
    plan: Plan, device: Device, profiles: Mapping[str, Profile]
) -> Iterator[tuple[Interface, CandidateKind, str]]:
    ranges = _ranges(plan, profiles)
    outside: list[tuple[Interface, CandidateKind, str]] = []
    for address, why in slips(device.address.address):
        at = _placed(address, ranges, device.address)
        if at is None or not _allowed(address, ranges):
            continue
        if device.address.holds(address):
            yield at, "slip", why
        else:
            outside.append((at, "slip", why))
    yield from outside


def _placed(address: Address, ranges: Sequence[Interface], planned: Interface) -> Interface | None:
    """The address with the prefix it is taken to have; None where no host can have it."""
    prefix = planned.prefix if planned.version == address.version else address.bits
    if not planned.holds(address):
        subnets = (r.prefix for r in ranges if r.holds(address) and r not in ISOLATED)
        prefix = max(subnets, default=prefix)
    at = Interface(address, prefix)
    return at if unusable(at) is None else None


def _allowed(address: Address, ranges: Sequence[Interface]) -> bool:
    return any(r.holds(address) for r in (*ranges, *NOT_ROUTED))


def _ranges(plan: Plan, profiles: Mapping[str, Profile]) -> tuple[Interface, ...]:
    """Every subnet that the plan, or a profile it names, puts a device or the laptop in."""
    found: dict[tuple[int, int, int], Interface] = {}

    def add(at: Interface | None) -> None:
        if at is not None:
            found.setdefault((at.version, at.first, at.prefix), at)

    add(plan.management.laptop)
    for device in plan.devices:
        add(device.address)
        add(device.present_address)
        for other in device.other_addresses:
            add(other.address)
    for profile in profiles.values():
        for at in (profile.factory.address, profile.factory.low, profile.factory.high):
            add(at)
    blocks = (b for b in ISOLATED if any(b.holds(at.address) for at in found.values()))
    return (*found.values(), *blocks)


def _owners(plan: Plan, device: Device) -> dict[Key, str]:
    """Who else has each address by the plan; the first of those that claim it."""
    found: dict[Key, str] = {}
    others = [d for d in plan.devices if d.name != device.name]
    for other in others:
        for at in (other.address, *(o.address for o in other.other_addresses)):
            found.setdefault(key_of(at.address), other.name)
    for host in plan.management.hosts:
        found.setdefault(key_of(host.address), f"host {host.name}")
    for each in plan.devices:
        for gateway in (each.gateway, each.present_gateway):
            if gateway is not None:
                found.setdefault(key_of(gateway), f"gateway of {each.name}")
    for other in others:
        if other.present_address is not None:
            found.setdefault(key_of(other.present_address.address), f"{other.name} now")
    return found
