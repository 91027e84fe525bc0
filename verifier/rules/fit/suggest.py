"""What to set at the laptop where it does not fit: one address for each subnet, and how.

Linux: ip-address(8), ip-link(8). macOS: ifconfig(8). Windows: netsh of Windows 10 1703 and later;
there an interface that gets its address by DHCP keeps it beside a fixed one only if told so.
Tried on Linux only.

Suggested is the plan's own address for the laptop where it fits, else the highest free one. Free is
what no device has, had or will have by the plan, no gateway, no management host and not the laptop.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from verifier.model.address import Address, Interface
from verifier.model.laptop import UNNAMED, Fit, Laptop, System
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.rules.fit.hosts import broadcast, highest_free, point_to_point, unusable
from verifier.rules.fit.ways import is_without_link

PLACEHOLDER = "INTERFACE"
"""Stands in a command where the interface is for a person to name."""


@dataclass(frozen=True, slots=True)
class _Syntax:
    """Lines with `{name}`, `{ip}`, `{prefix}`, `{mask}`; by address family where they differ."""

    add: dict[int, str]
    delete: dict[int, str]
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    tagged: tuple[str, ...] = ()


_NETSH = "netsh interface ipv"
_WINDOWS_BOTH = _NETSH + '4 set interface interface="{name}" dhcpstaticipcoexistence='
_SYNTAX: dict[System, _Syntax] = {
    "linux": _Syntax(
        add=dict.fromkeys((4, 6), "ip address add {ip}/{prefix} dev {name}"),
        delete=dict.fromkeys((4, 6), "ip address del {ip}/{prefix} dev {name}"),
        tagged=(
            "ip link add link {name} name {name}.{vlan} type vlan id {vlan}",
            "ip link set {name}.{vlan} up",
        ),
    ),
    "macos": _Syntax(
        add={
            4: "ifconfig {name} inet {ip} netmask {mask} alias",
            6: "ifconfig {name} inet6 {ip} prefixlen {prefix} alias",
        },
        delete={4: "ifconfig {name} inet {ip} -alias", 6: "ifconfig {name} inet6 {ip} -alias"},
        tagged=("ifconfig vlan{vlan} create vlan {vlan} vlandev {name}",),
    ),
    "windows": _Syntax(
        add={
            4: _NETSH + '4 add address name="{name}" address={ip} mask={mask} store=active',
            6: _NETSH + '6 add address interface="{name}" address={ip}/{prefix} store=active',
        },
        delete={
            4: _NETSH + '4 delete address name="{name}" address={ip} store=active',
            6: _NETSH + '6 delete address interface="{name}" address={ip} store=active',
        },
        before=(_WINDOWS_BOTH + "enabled",),
        after=(_WINDOWS_BOTH + "disabled",),
    ),
}


@dataclass(frozen=True, slots=True)
class AddressChange:
    """One change at the laptop: addresses to be taken off first, then the one to be added."""

    interface: str | None
    add: Interface
    remove: tuple[tuple[str, Interface], ...] = ()


def commands(change: AddressChange, system: System) -> tuple[str, ...]:
    """What to run to make the change, in order."""
    syntax, add = _SYNTAX[system], change.add
    before = syntax.before if add.address.is_v4 else ()
    return (
        *(_fill(syntax.delete[own.version], name, own) for name, own in change.remove),
        *(_fill(line, change.interface, add) for line in before),
        _fill(syntax.add[add.version], change.interface, add),
    )


def take_back(change: AddressChange, system: System) -> tuple[str, ...]:
    """What to run to have the laptop as it was, in order."""
    syntax, add = _SYNTAX[system], change.add
    after = syntax.after if add.address.is_v4 else ()
    return (
        _fill(syntax.delete[add.version], change.interface, add),
        *(_fill(line, change.interface, add) for line in after),
        *(_fill(syntax.add[own.version], name, own) for name, own in change.remove),
    )


def tagged_interface(interface: str | None, vlan: int, system: System) -> Sequence[str]:
    """What to run for an interface that tags; nothing where the driver's own dialogue does it."""
    return [
        line.format(name=interface or PLACEHOLDER, vlan=vlan) for line in _SYNTAX[system].tagged
    ]


def _fill(line: str, name: str | None, own: Interface) -> str:
    return line.format(
        name=name or PLACEHOLDER,
        ip=own.address.ip,
        prefix=own.prefix,
        mask=own.mask if own.address.is_v4 else "",
    )


Taken = frozenset[tuple[int, int]]
TAKE_BACK = "to take it back: "
"""So begins the note that says how to have the laptop as it was."""
_NOTHING_TO_SET = {"direct", "shadowed", "routed"}


def present(device: Device, profile: Profile | None) -> tuple[Interface, Address | None]:
    """Where the device is now, and the gateway it has there.

    `present_address`, else the profile's factory address, else the planned one; the gateway is
    `present_gateway`, else the planned one where it lies inside the present subnet.
    """
    at = device.present_address
    if at is None and profile is not None:
        at = profile.factory.address_for(device.tx_band)
    at = at or device.address
    gateway = device.gateway
    if device.present_gateway is not None:
        gateway = device.present_gateway
    elif gateway is not None and not _inside(gateway, at):
        gateway = None
    return at, gateway


def _inside(gateway: Address, subnet: Interface) -> bool:
    link_local = gateway.is_link_local and not gateway.is_v4 and subnet.version == gateway.version
    return link_local or subnet.holds(gateway)


def taken_addresses(
    plan: Plan, profiles: Mapping[str, Profile], others: Iterable[Address] = ()
) -> Taken:
    """Addresses that somebody has, had or will have; as family and number."""
    found = [h.address for h in plan.management.hosts]
    for device in plan.devices:
        found += _of_device(device, profiles.get(device.profile))
    return frozenset((a.version, a.value) for a in (*found, *others))


def _of_device(device: Device, profile: Profile | None) -> Iterable[Address]:
    interfaces = [device.address, *(o.address for o in device.other_addresses)]
    if device.present_address is not None:
        interfaces.append(device.present_address)
    if profile is not None:
        factory = profile.factory
        known = factory.address_for(device.tx_band)
        possible = (known,) if known else (factory.low, factory.high)
        interfaces += [i for i in possible if i is not None]
    gateways = (device.gateway, device.present_gateway)
    return [*(i.address for i in interfaces), *(g for g in gateways if g is not None)]


@dataclass(slots=True, frozen=True)
class Advisor:
    """Gives each device that does not fit what to set; the same for a whole subnet.

    Args:
        wanted: the plan's address for the laptop.
        taken: as `taken_addresses` finds them, the laptop's own and its gateways included.
        interface: which one to set; None: a person must name it.
    """

    laptop: Laptop
    taken: Taken
    wanted: Interface | None
    interface: str | None
    system: System
    _by_subnet: dict[tuple[int, int, int], Interface | None] = field(default_factory=dict)
    _written: dict[AddressChange, tuple[tuple[str, ...], str]] = field(default_factory=dict)

    def advise(self, fit: Fit, device: Device) -> Fit:
        """`fit` with what to set, how, and how to take it back."""
        if fit.relation in _NOTHING_TO_SET or unusable(fit.address) is not None:
            return fit
        if is_without_link(fit.explanation):
            return fit
        address = self.address_for(fit.address)
        if address is None:
            return replace(fit, explanation=f"{fit.explanation}; {_none_free(fit.address)}")
        change = AddressChange(
            self.interface, address, tuple(self._in_the_way(fit, device, address))
        )
        if change not in self._written:
            back = "; ".join(take_back(change, self.system))
            self._written[change] = commands(change, self.system), f"{TAKE_BACK}{back}"
        lines, back = self._written[change]
        return replace(
            fit,
            suggested=address,
            commands=lines,
            notes=(*fit.notes, *self._tagging(device), back),
        )

    def address_for(self, at: Interface) -> Interface | None:
        """What to set at the laptop for a device at `at`; None where nothing is free."""
        subnet = (at.version, at.first, at.prefix)
        if subnet not in self._by_subnet:
            fits = self.wanted is not None and self._fits(self.wanted, at)
            self._by_subnet[subnet] = self.wanted if fits else highest_free(at, self.taken)
        return self._by_subnet[subnet]

    def _fits(self, wanted: Interface, at: Interface) -> bool:
        """Whether every device of the subnet of `at` and `wanted` are in each other's subnet."""
        own = wanted.address
        return (
            at.holds(own)
            and wanted.prefix <= at.prefix
            and (own.version, own.value) not in self.taken
            and unusable(wanted) is None
            and unusable(Interface(own, at.prefix)) is None
        )

    def _in_the_way(
        self, fit: Fit, device: Device, new: Interface
    ) -> Iterable[tuple[str, Interface]]:
        """Addresses of the laptop beside which the new one would be of no use."""
        theirs = {fit.address.address.value}
        theirs |= {o.address.address.value for o in device.other_addresses}
        theirs |= {g.value for g in (device.gateway, device.present_gateway) if g is not None}
        for interface in self.laptop.interfaces:
            for own in interface.addresses if interface.up else ():
                if own.version != new.version:
                    continue
                same = (own.first, own.prefix) == (new.first, new.prefix)
                clash = fit.relation == "clash" and own.address.value in theirs
                useless = same and unusable(own) is not None
                if clash or useless or broadcast(own) == fit.address.address.value:
                    name = self.interface if interface.name == UNNAMED else interface.name
                    yield name or PLACEHOLDER, own

    def _tagging(self, device: Device) -> Iterable[str]:
        if device.management_tagged and device.management_vlan is not None:
            vlan = device.management_vlan
            if any(i.vlan == vlan and i.name == self.interface for i in self.laptop.interfaces):
                return
            lines = tagged_interface(self.interface, vlan, self.system)
            if lines:
                yield f"or set it on an interface that tags: {'; '.join(lines)}"


def _none_free(at: Interface) -> str:
    if at.prefix == at.address.bits:
        return (
            f"a /{at.prefix} has no second host: reach the device through its gateway, or give it "
            "a wider mask"
        )
    size = "both addresses" if point_to_point(at) else "all host addresses"
    return (
        f"{size} of {at.subnet} are taken: unplug one of its other hosts and borrow that address "
        "while it is off, or reach the device through its gateway"
    )


def candidates(laptop: Laptop) -> tuple[str, ...]:
    """Interfaces that an address can be set on: those named by hand, else those with a cable."""
    if laptop.assumed:
        names = [i.name for i in laptop.interfaces if i.name != UNNAMED]
    else:
        names = [i.name for i in laptop.interfaces if i.up and i.medium in {"cable", "unknown"}]
    return tuple(dict.fromkeys(names))
