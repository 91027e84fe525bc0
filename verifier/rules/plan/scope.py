"""What the offline rules look at, and what they find."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple

from verifier.model.address import Address, Interface
from verifier.model.plan import Carrier, Device, EndName, Link, Plan, Site
from verifier.model.profile import Profile
from verifier.model.subject import Subject
from verifier.rules import radio

Severity = Literal["error", "warning"]
Place = tuple[str, ...]

ANY = "*"
"""Stands for any name in `RuleProblem.missing`."""


class RuleProblem(NamedTuple):
    """What a rule found.

    Attributes:
        path: of the value, see `Plan.origins`.
        message: what is wrong and what to do.
        missing: the name that the plan does not hold; no fault if it was written but not read.
    """

    subject: Subject
    path: Place
    message: str
    missing: str | None = None


Found = Iterator[RuleProblem]


@dataclass(frozen=True)
class Scope:
    """A plan, what is known besides, and what several rules need of it.

    Attributes:
        profiles: those that were read, by id; a device's may be missing.
        profile_ids: all that there are; None: not looked.
        today: None: rules that need the date are silent.
    """

    plan: Plan
    profiles: Mapping[str, Profile] = field(default_factory=dict)
    profile_ids: Collection[str] | None = None
    today: dt.date | None = None

    def written(self, *path: str) -> bool:
        """Whether something stands at `path`, readable or not."""
        return path in self.plan.origins

    def profile(self, device: str) -> Profile | None:
        """The profile of a device, if both are known."""
        known = self.devices.get(device)
        return self.profiles.get(known.profile) if known is not None else None

    def routes(self, device: Device) -> bool:
        """Whether a device forwards packets, and so has routes that no plan names."""
        profile = self.profiles.get(device.profile)
        return profile is not None and profile.kind == "router"

    @cached_property
    def devices(self) -> dict[str, Device]:
        """By name; of doubled ones the first."""
        return {d.name: d for d in reversed(self.plan.devices)}

    @cached_property
    def sites(self) -> dict[str, Site]:
        """By name; of doubled ones the first."""
        return {s.name: s for s in reversed(self.plan.sites)}

    def site_of(self, device: str) -> Site | None:
        """The site a device stands at, if both are known."""
        known = self.devices.get(device)
        return self.sites.get(known.site or "") if known is not None else None

    @cached_property
    def carriers(self) -> list[tuple[Link, Carrier]]:
        """Every carrier with its link."""
        return [(link, carrier) for link in self.plan.links for carrier in link.carriers]

    @cached_property
    def paths(self) -> dict[str, tuple[Site, Site, radio.Path]]:
        """By the link's name: both sites and the line between them, where coordinates give it."""
        found = {}
        times = Counter(link.name for link in self.plan.links)
        for link in self.plan.links:
            if link.carriers and times[link.name] == 1:
                a, b = (self.site_of(end.device) for _, end in link.carriers[0].ends())
                if a is not None and b is not None and (path := radio.path_between(a, b)):
                    found[link.name] = (a, b, path)
        return found

    @cached_property
    def addresses(self) -> list[tuple[Subject, Place, Address]]:
        """Every address as planned: of devices, the laptop and management hosts."""
        hosts = [
            (Subject("host", h.name), ("hosts", h.name, "address"), h.address)
            for h in self.plan.management.hosts
        ]
        return [*((s, p, i.address) for s, p, i in self.interfaces), *hosts]

    @cached_property
    def interfaces(self) -> list[tuple[Subject, Place, Interface]]:
        """Every planned address that has a prefix."""
        laptop = self.plan.management.laptop
        own = [(LAPTOP, ("management", "laptop"), laptop)] if laptop is not None else []
        return [*((device(d.name), p, i) for d in self.plan.devices for p, i in planned(d)), *own]

    @cached_property
    def subnets(self) -> dict[tuple[int, int, int], list[Device]]:
        """The devices of each subnet (family, first address, prefix length), by `address`."""
        found = defaultdict(list)
        for d in self.plan.devices:
            found[subnet_key(d.address)].append(d)
        return found


Find = Callable[[Scope], Found]


class Rule(NamedTuple):
    """A line of the table.

    Attributes:
        needs: what besides the plan must be known; empty: nothing.
    """

    name: str
    severity: Severity
    find: Find
    needs: str = ""

    @property
    def about(self) -> str:
        """What it finds, in a line."""
        return (self.find.__doc__ or "").partition("\n")[0].rstrip(".")


LAPTOP = Subject("laptop", "laptop")


def device(name: str) -> Subject:
    """A device as subject."""
    return Subject("device", name)


def device_path(name: str, what: str) -> Place:
    """The path of a device's field."""
    return "devices", name, what


def network(scope: Scope) -> Subject:
    """The whole as subject."""
    return Subject("network", scope.plan.network.name)


def end_of(link: Link, carrier: Carrier, end: EndName) -> Subject:
    """An end of a carrier as subject."""
    return Subject("link", link.name, carrier=carrier.carrier, end=end)


def end_path(link: Link, carrier: Carrier, end: EndName, what: str) -> Place:
    """The path of an end's field."""
    return "links", link.name, str(carrier.carrier), end, what


def planned(d: Device) -> Iterator[tuple[Place, Interface]]:
    """The addresses a device will have, each with its path."""
    yield device_path(d.name, "address"), d.address
    for other in d.other_addresses:
        yield ("devices", d.name, "other_addresses", str(other.address)), other.address


def subnet_key(interface: Interface) -> tuple[int, int, int]:
    """Equal for two addresses of one subnet."""
    return interface.version, interface.first, interface.prefix


def listed(names: list[str], limit: int = 3) -> str:
    """`a, b, c and 4 more`."""
    more = len(names) - limit
    return ", ".join(names[:limit]) + (f" and {more} more" if more > 0 else "")


def figure(value: float) -> str:
    """A number without needless digits: `54.1`, `12877`."""
    return f"{value:.3f}".rstrip("0").rstrip(".")
