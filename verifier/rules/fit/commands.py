"""How an address is set at the laptop and taken away again, per operating system: data, then text.

Linux: ip-address(8), ip-link(8). macOS: ifconfig(8). Windows: netsh of Windows 10 1703 and later;
there an interface that gets its address by DHCP keeps it beside a fixed one only if told so.
Tried on Linux only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.model.address import Interface
from verifier.model.fit import System

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
