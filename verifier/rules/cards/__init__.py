"""Field cards: all that is needed at each device, from the plan alone. Never a secret."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from verifier.model.address import Interface
from verifier.model.laptop import Laptop
from verifier.model.manual import ITEMS, Item
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.rules.cards.sections import (
    LEVEL,
    SEEN_THERE,
    Card,
    CardLine,
    Ends,
    Fill,
    Section,
    level,
    pointing,
    settings,
)
from verifier.rules.fit.suggest import Advisor, present, taken_addresses

__all__ = ["Card", "CardLine", "Section", "cards", "items"]


def cards(
    plan: Plan, profiles: Mapping[str, Profile], devices: Iterable[Device]
) -> tuple[Card, ...]:
    """A card for each of the devices, in their order; `profiles` are those of every device."""
    advisor = Advisor(
        laptop=Laptop(),
        taken=taken_addresses(plan, profiles),
        wanted=plan.management.laptop,
        interface=None,
        system="linux",
    )
    name = plan.network.name or "Unnamed plan"
    told = f"{name}, revision {plan.network.revision}" if plan.network.revision else name
    return tuple(_card(plan, profiles, device, advisor, told) for device in devices)


def items(plan: Plan, device: Device) -> Iterator[Item]:
    """What only a person can see at a device."""
    radio = any(plan.links_of(device.name))
    return (item for item in ITEMS if radio or not item.radio)


def _card(
    plan: Plan, profiles: Mapping[str, Profile], device: Device, advisor: Advisor, told: str
) -> Card:
    ends = [
        (link, carrier, name)
        for link in plan.links
        for carrier in link.carriers
        for name, end in carrier.ends()
        if end.device == device.name
    ]
    sections = [
        Section("Addresses", tuple(_addresses(device, profiles[device.profile], advisor))),
        Section("Settings, in order of entry", tuple(settings(plan, device, ends, profiles))),
    ]
    for link, carrier, name in ends:
        devices = {d.name: profiles[d.profile] for d in plan.devices}
        a, b = devices[carrier.a.device], devices[carrier.b.device]
        found = (
            pointing(plan, link, carrier, name),
            level(link, carrier, name, {"a": (a, b), "b": (b, a)}),
        )
        which = f", {link.name} carrier {carrier.carrier}" if len(ends) > 1 else ""
        sections += [Section(s.title + which, s.rows, s.rules) for s in found if s is not None]
    shown = SEEN_THERE if ends else frozenset()
    if any(s.title.startswith(LEVEL) for s in sections):
        shown |= {"manual.alignment-voltage"}
    left = tuple(_to_see(device, [i for i in items(plan, device) if i.check not in shown]))
    sections.append(Section("Seen by a person", left))
    return Card(
        device=device.name,
        label=device.label or device.name,
        site=device.site or "",
        address=str(device.address),
        plan=told,
        far=tuple(dict.fromkeys(_far(plan, ends))),
        sections=tuple(sections),
    )


def _far(plan: Plan, ends: Ends) -> Iterator[str]:
    devices = {d.name: d for d in plan.devices}
    for link, carrier, name in ends:
        far = devices[(carrier.b if name == "a" else carrier.a).device]
        licence = link.licence and link.licence.reference
        words = f"{link.name}: far end {far.name}" + (f" at {far.site}" if far.site else "")
        yield words + (f"; licence {licence}" if licence else "")


def _addresses(device: Device, profile: Profile, advisor: Advisor) -> Iterator[CardLine]:
    """Where the device is now and is to be, and what the laptop is set to for either."""
    at, gateway = present(device, profile)
    if at != device.address:
        yield CardLine("Now", f"{at}", note=f"gateway {gateway}" if gateway is not None else "")
        yield _laptop("Laptop, now", advisor, at)
    yield CardLine("Planned", f"{device.address}", note=f"mask {device.address.mask}")
    if device.gateway is not None:
        yield CardLine("Management gateway", str(device.gateway))
    for other in device.other_addresses:
        yield CardLine("Also", str(other.address), note=other.port or other.role or "")
    yield _laptop("Laptop" if at == device.address else "Laptop, then", advisor, device.address)


def _laptop(what: str, advisor: Advisor, at: Interface) -> CardLine:
    found = advisor.address_for(at)
    if found is None:
        return CardLine(what, "no address is free", note="`fit` says what can be done")
    return CardLine(what, str(found), note=f"mask {found.mask}")


def _to_see(device: Device, left: Iterable[Item]) -> Iterator[CardLine]:
    """The items of the sheet for --observed that have no room elsewhere on the card."""
    for item in left:
        planned = device.label or "" if item.check == "manual.label" else ""
        fill: Fill = "box" if item.kind == "flag" else "room"
        yield CardLine(item.title, planned, fill, item.ask)
