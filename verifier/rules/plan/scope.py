"""What the offline rules look at, and what they find.

`READING` names what reading a plan finds: `files/` tells these before the rules run.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple

from verifier.model.address import Address, Interface
from verifier.model.plan import Carrier, Device, EndName, Link, Plan, Site
from verifier.model.problem import Subject
from verifier.model.profile import Profile
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
class PlanScope:
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
    def paths(self) -> dict[str, tuple[Site, Site, radio.RadioPath]]:
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


Find = Callable[[PlanScope], Found]


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


def network(scope: PlanScope) -> Subject:
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


class InputRule(NamedTuple):
    """A fault of reading: its name, severity and what it finds."""

    name: str
    severity: Severity
    about: str


READING: tuple[InputRule, ...] = (
    InputRule("unreadable-value", "error", "A value is no address, mask, number, date or word"),
    InputRule("unreadable-cell", "error", "A cell holds what its column cannot, or two readings"),
    InputRule("missing-field", "error", "A field that must be there is not"),
    InputRule("unknown-field", "warning", "A field or column that nothing is called"),
    InputRule("column-not-read", "warning", "A column of their sheet that nothing reads"),
    InputRule("words-not-read", "warning", "A column of remarks and the like that nothing reads"),
    InputRule("row-skipped", "warning", "Rows of their sheet that are no plan; skipped"),
    InputRule("figures-doubtful", "warning", "Figures that their field can hardly have; read"),
    InputRule("mapping-unsure", "error", "A line of a mapping that a person has not settled"),
    InputRule("secret-in-plan", "warning", "A field or column that looks like a secret; not read"),
    InputRule("mask-and-prefix-differ", "error", "Mask and prefix length of an address differ"),
    InputRule("modulation-twice", "error", "modulation beside the fields it stands for"),
    InputRule("carriers-twice", "error", "A carrier's field beside a list of carriers"),
    InputRule("carrier-twice", "error", "Two rows are the same carrier of a link"),
    InputRule("rows-differ", "error", "Rows of one link disagree on what is link-wide"),
    InputRule("link-ends", "error", "The rows of one link are not its two ends"),
    InputRule("unknown-device", "error", "A row of ports or addresses names no device"),
    InputRule("no-headings", "error", "A sheet without any known heading"),
    InputRule("heading-row", "warning", "The headings are not in the first row"),
    InputRule("unit-converted", "warning", "Figures in another unit were converted"),
    InputRule("unit-unknown", "warning", "What stands in a heading's brackets is no unit"),
    InputRule("wrong-unit", "error", "A heading's unit cannot be converted"),
    InputRule("duplicate-column", "error", "Two columns are the same field"),
    InputRule("duplicate-field", "error", "Two rows are the same field"),
    InputRule("missing-column", "error", "A column that must be there is not"),
    InputRule("cell-without-heading", "error", "A cell beyond the headings"),
    InputRule("merged-cells", "error", "Merged cells among the data"),
    InputRule("hidden-row", "warning", "Hidden rows, which are read"),
    InputRule("hidden-column", "warning", "Hidden columns, which are read"),
    InputRule("hidden-sheet", "warning", "A hidden sheet, which is read"),
    InputRule("filter-set", "warning", "A filter that hides rows, which are read"),
    InputRule("decimal-comma", "warning", "A decimal comma; read where it can mean nothing else"),
    InputRule("thousands-separator", "warning", "Marks between thousands; read as one number"),
    InputRule("degrees-converted", "warning", "Degrees, minutes and seconds were converted"),
    InputRule("percent-format", "warning", "A figure formatted as per cent; read as shown"),
    InputRule("number-as-text", "warning", "A number where text belongs; read as its digits"),
    InputRule("date-form", "warning", "A date written otherwise; read where it is clear"),
    InputRule("space-in-address", "warning", "Spaces in an address; read without"),
    InputRule("odd-space", "warning", "Non-breaking and other odd spaces; read as common ones"),
    InputRule("full-width", "warning", "Full-width characters; read as common ones"),
    InputRule("invisible-character", "warning", "Characters that cannot be seen; read without"),
    InputRule("unknown-sheet", "warning", "A sheet that nothing is called"),
    InputRule("sheet-twice", "error", "Two sheets or files are the same"),
    InputRule("csv-syntax", "error", "The text is no CSV"),
    InputRule("yaml-syntax", "error", "The text is no YAML, or too much of it"),
    InputRule("yaml-field", "error", "A field of a YAML file is written twice, or not as a word"),
    InputRule("yaml-tag", "error", "A YAML tag"),
)
