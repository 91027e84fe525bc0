"""Who is at an address, and which of the places is the device's.

Hardware address, serial number, engine id and name decide; no echo does.

Hardware outranks a name, for a name is what a person has typed: a device with the planned hardware
address and another's name is the planned device, wrongly named.

What a lost device is known by is a ladder: hardware (MAC, serial number, engine id), then name,
then "of this family, without a name, where one without a name is expected", which is only *likely*.
A hardware address that answers at five candidates is a router's (proxy ARP).

A device that holds its address and cannot answer has a wrong mask most of the time. What reaches it
is an address in the smallest subnet around it that leaves a host: that lies inside every wider
mask.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from verifier.model.address import Interface, Mac
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.search import Answer, Candidate, HeardFrames, Identity, SearchedPlace, What
from verifier.rules.fit.hosts import highest_free, unusable
from verifier.rules.search.candidates import Key, key_of
from verifier.rules.selection import bare, same_device

_WORDS: dict[What, str] = {
    "arp-request": "ARP", "arp-reply": "ARP", "arp-probe": "ARP", "arp-announcement": "ARP",
    "lldp": "LLDP", "nd-solicitation": "neighbour discovery", "nd-probe": "neighbour discovery",
    "nd-advertisement": "neighbour discovery", "nd-router": "neighbour discovery",
    "packet": "its packets",
}  # fmt: skip
TENTATIVE: frozenset[What] = frozenset({"arp-probe", "nd-probe"})
"""Frames whose sender does not hold the address yet."""
_NEW = {"present", "factory", "temporary"}
"""Where a device need not have its name yet."""
MANY = 5
"""A hardware address that answers at so many candidates is a router's that answers for others
(proxy ARP, RFC 1027), not that many devices."""
_ENGINE_MAC, _ENGINE_HEADER = 3, 5
"""Octet 5 of an engine id says what follows: 3, a hardware address (RFC 3411 section 5)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sought:
    """The device that is looked for.

    Attributes:
        macs: its hardware addresses: the plan's, and what was seen of it before.
        engine_ids: what was seen of it before, hexadecimal.
    """

    plan: Plan
    device: Device
    profile: Profile | None = None
    macs: frozenset[Mac] = frozenset()
    engine_ids: frozenset[str] = frozenset()

    def is_it(self, heard: HeardFrames) -> bool:
        """Whether the device itself sent what was heard."""
        named = heard.what == "lldp" and same_device(heard.name, self.device.name)
        return heard.mac in self.macs or named


_Known = tuple[Identity, str, tuple[str, ...]]
"""Identity, another's name, and what it is known by."""


def identify(
    sought: Sought, asked: Iterable[tuple[Candidate, Answer]], heard: Sequence[HeardFrames]
) -> tuple[SearchedPlace, ...]:
    """Each candidate with who is there."""
    pairs = list(asked)
    others = routers(sought, (answer for _, answer in pairs))
    said: dict[Key, list[HeardFrames]] = {}
    for each in heard:
        if each.address is not None:
            said.setdefault(key_of(each.address), []).append(each)
    return tuple(
        _Comparison(
            sought,
            candidate,
            answer if others.isdisjoint(answer.macs) else _without(answer, others),
            said.get(key_of(candidate.address.address), []),
            others,
        ).place()
        for candidate, answer in pairs
    )


def _without(answer: Answer, others: frozenset[Mac]) -> Answer:
    return replace(answer, macs=tuple(m for m in answer.macs if m not in others))


def routers(sought: Sought, answers: Iterable[Answer]) -> frozenset[Mac]:
    """Hardware addresses that answer for others (proxy ARP); their answers name no device."""
    counts = Counter(mac for answer in answers for mac in answer.macs)
    return frozenset(m for m, n in counts.items() if n >= MANY and m not in sought.macs)


@dataclass(frozen=True, slots=True)
class _Comparison:
    """One candidate, and what tells who is there."""

    sought: Sought
    candidate: Candidate
    answer: Answer
    heard: list[HeardFrames]
    routers: frozenset[Mac]

    def place(self) -> SearchedPlace:
        for rule in (self.by_hardware, self.by_name, self.by_kind, self.by_rest):
            if (found := rule()) is not None:
                identity, who, by = found
                return SearchedPlace(
                    candidate=self.candidate, answer=self.answer, identity=identity, who=who, by=by
                )
        return SearchedPlace(candidate=self.candidate, answer=self.answer)

    def by_hardware(self) -> _Known | None:
        """Hardware address, serial number, engine id: the device's, or those of another."""
        sought, answer = self.sought, self.answer
        seen: dict[Mac, list[str]] = {}
        for mac, how in self.macs():
            if mac in sought.macs and how not in seen.setdefault(mac, []):
                seen[mac].append(how)
        by = [f"its hardware address {mac} ({', '.join(ways)})" for mac, ways in seen.items()]
        if answer.serial is not None and answer.serial == sought.device.serial:
            by.append(f"its serial number {answer.serial}")
        if answer.engine_id in sought.engine_ids:
            by.append("its SNMP engine id")
        if by:
            return "device", "", (*by, *self.name_words())
        return self.of_another()

    def of_another(self) -> _Known | None:
        """Hardware that is another's by the plan, or by its serial number."""
        serial = self.answer.serial
        macs = dict(self.macs())
        for device in self.sought.plan.devices:
            if device.mac in macs and device.mac is not None:
                return "another", device.name, (f"hardware address {device.mac}",)
            if serial and serial == device.serial:
                return "another", device.name, (f"serial number {serial}",)
        if serial and self.sought.device.serial is not None:
            who = self.answer.name or f"serial number {serial}"
            return "another", who, (f"serial number {serial}",)
        return None

    def by_name(self) -> _Known | None:
        """The name: the device's, or that of another of the plan."""
        if by := self.name_words():
            return "device", "", by
        for name, how in self.names():
            for device in self.sought.plan.devices:
                if same_device(name, device.name):
                    return "another", device.name, (f"name ({how})",)
        return None

    def by_kind(self) -> _Known | None:
        """A device of the right kind where one without its name is expected."""
        profile, answer = self.sought.profile, self.answer
        if self.candidate.kind not in _NEW or answer.snmp != "answered" or self.other_hardware():
            return None
        by = [f"it answers credentials {answer.credentials!r}"]
        if profile is not None and profile.object_id is not None:
            if not f"{answer.object_id}.".startswith(f"{profile.object_id}."):
                return None
            by.append(f"its sysObjectID is of profile {profile.id}")
        return "likely", "", tuple(by)

    def by_rest(self) -> _Known | None:
        """Somebody whom the plan does not know."""
        for name, how in self.names():
            if name:
                return "another", name, (f"name ({how})",)
        for mac in self.other_hardware():
            return "another", f"hardware address {mac}", (f"not {self.planned_macs()}",)
        return None

    def name_words(self) -> tuple[str, ...]:
        wanted = self.sought.device.name
        return tuple(f"its name ({how})" for name, how in self.names() if same_device(name, wanted))

    def names(self) -> Iterator[tuple[str, str]]:
        """What who is there is called, and how that is known."""
        if self.answer.name is not None:
            yield bare(self.answer.name), "SNMP"
        for name in dict.fromkeys(h.name for h in self.heard if h.what == "lldp" and h.name):
            yield name, "LLDP"

    def macs(self) -> Iterator[tuple[Mac, str]]:
        """Hardware addresses of who is there, and how each is known."""
        wire = "ARP" if self.candidate.address.address.is_v4 else "neighbour discovery"
        for mac in self.answer.macs:
            yield mac, wire
        for each in self.heard:
            stands = each.what not in TENTATIVE or each.mac in self.sought.macs
            if stands and each.mac not in {*self.routers, *self.answer.macs}:
                yield each.mac, _WORDS[each.what]
        if self.answer.port_mac is not None:
            yield self.answer.port_mac, "SNMP"
        if (mac_ := engine_mac(self.answer.engine_id)) is not None:
            yield mac_, "SNMP engine id"

    def other_hardware(self) -> list[Mac]:
        """Hardware addresses that are not the device's, where the plan knows the device's."""
        if not self.sought.macs:
            return []
        return [m for m, how in self.macs() if m not in self.sought.macs and "engine" not in how]

    def planned_macs(self) -> str:
        return ", ".join(sorted(str(m) for m in self.sought.macs))


def engine_mac(engine_id: str | None) -> Mac | None:
    """The hardware address that an engine id (hexadecimal) is made of; None where it is not."""
    octets = bytes.fromhex(engine_id or "")
    if len(octets) != _ENGINE_HEADER + 6 or not octets[0] & 0x80:
        return None
    mac = octets[_ENGINE_HEADER:]
    return Mac(mac.hex(":")) if octets[4] == _ENGINE_MAC else None


_SMALLEST = {4: 30, 6: 126}
"""The longest prefix under which a device and this laptop have a host address each."""


def chosen(sought: Sought, places: Sequence[SearchedPlace]) -> SearchedPlace | None:
    """Where the device is: at its planned address if it is seen there, else at the first other."""
    for identity in ("device", "likely"):
        mine = [p for p in places if p.identity == identity]
        for place in sorted(mine, key=lambda p: not is_planned(sought, p)):
            return place
    return None


def tag_of(sought: Sought, place: SearchedPlace, heard: Sequence[HeardFrames]) -> int | None:
    """The VLAN whose tag all frames of the device carry that name this address; None without."""
    tags = {h.vlan for h in frames_for(place, (h for h in heard if sought.is_it(h)))}
    return next(iter(tags)) if len(tags) == 1 else None


def frames_for(place: SearchedPlace, heard: Iterable[HeardFrames]) -> list[HeardFrames]:
    """What was heard that names the address of a place."""
    key = key_of(place.candidate.address.address)
    return [h for h in heard if h.address is not None and key_of(h.address) == key]


def taken_for(sought: Sought, place: SearchedPlace, taken: Container[Key]) -> Interface:
    """The device's address there with its mask, as far as that is known.

    Where no answer comes back from an address that somebody holds, its mask is in doubt: then the
    smallest subnet with a free address, for that lies inside every wider one.
    """
    at = place.answer.held or place.candidate.address
    return reaching(at, taken) if is_mute(sought, place) else at


def reaching(at: Interface, taken: Container[Key]) -> Interface:
    """`at` with the longest prefix that leaves it a host and another host address free."""
    for prefix in range(_SMALLEST[at.version], at.prefix, -1):
        small = Interface(at.address, prefix)
        if unusable(small) is None and highest_free(small, {*_own(at), *_in(small, taken)}):
            return small
    return at


def _own(at: Interface) -> set[Key]:
    return {key_of(at.address)}


def _in(subnet: Interface, taken: Container[Key]) -> set[Key]:
    values = range(subnet.first, min(subnet.last, subnet.first + 0xFFFF) + 1)
    return {(subnet.version, v) for v in values if (subnet.version, v) in taken}


def is_planned(sought: Sought, place: SearchedPlace) -> bool:
    """Whether a place is the device's planned address."""
    return key_of(place.candidate.address.address) == key_of(sought.device.address.address)


def is_mute(sought: Sought, place: SearchedPlace) -> bool:
    """Whether it holds its planned address, was asked by echo and SNMP, and did not answer."""
    answer = place.answer
    return (
        is_planned(sought, place)
        and answer.echo is False
        and answer.snmp != "answered"
        and place.identity in {"device", "likely"}
    )
