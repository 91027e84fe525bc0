"""This machine: its interfaces, its kernel's routes and neighbours, and what a run is made with."""

from __future__ import annotations

import contextlib
import ipaddress
import platform
import socket
import sys
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any, Final, NamedTuple

import psutil

from verifier import __version__
from verifier.errors import CannotMeasureError
from verifier.model.address import Address, Interface, Mac, prefix_of_mask
from verifier.model.laptop import Duplex, Laptop, LaptopInterface, Medium, Route
from verifier.probes.laptop.netlink import Netlink

_VLAN_CONFIG = Path("/proc/net/vlan/config")
_CLASS_NET = Path("/sys/class/net")
_ETHERNET, _LOOPBACK = "1", "772"
_TUNNELS = {"512", "65534", "768", "769", "776", "778", "823"}
"""ARPHRD_PPP, _NONE, _TUNNEL, _TUNNEL6, _SIT, _IPGRE, _IP6GRE (linux/if_arp.h)."""
_CAP_NET_ADMIN = 12
"""linux/capability.h."""
_IFF_UP = 0x1
"""linux/if.h."""
_UNKNOWN_MBPS = 65535
"""What the kernel gives for a speed it does not know: -1 in the 16 bits that psutil reads."""
_DUPLEX: Mapping[object, Duplex] = {
    psutil.NIC_DUPLEX_FULL: "full", psutil.NIC_DUPLEX_HALF: "half",
}  # fmt: skip
_FAMILIES = {socket.AF_INET, socket.AF_INET6}


def look() -> Laptop:
    """All interfaces with their addresses and link state; one without an address is there too."""
    addresses = psutil.net_if_addrs()
    states = psutil.net_if_stats()
    tagged = vlans()
    return Laptop(
        interfaces=tuple(
            LaptopInterface(
                name=name,
                up=name in states and states[name].isup,
                switched_on=name in states and _switched_on(states[name]),
                addresses=tuple(_addresses(addresses.get(name, ()))),
                vlan=tagged.get(name),
                medium=medium(name),
                speed_mbps=_speed(states.get(name)),
                duplex=_DUPLEX.get(getattr(states.get(name), "duplex", None)),
            )
            for name in sorted(set(addresses) | set(states))
        )
    )


def _speed(state: Any) -> int | None:
    """Megabits a second; what is 0, or the unknown of a virtual interface, is not known."""
    speed = getattr(state, "speed", 0)
    return speed if 0 < speed < _UNKNOWN_MBPS else None


def _switched_on(state: Any) -> bool:
    """By the flags that the kernel gives; where it gives none, an interface counts as on."""
    flags = str(getattr(state, "flags", "")).split(",")
    return "up" in flags or flags == [""]


def _addresses(entries: Iterable[object]) -> Iterable[Interface]:
    for entry in entries:
        family = getattr(entry, "family", None)
        mask = getattr(entry, "netmask", None)
        if family not in _FAMILIES or not mask:
            continue
        with contextlib.suppress(ValueError):
            address = Address.parse(getattr(entry, "address", ""))
            # psutil on Windows may give an IPv4 mask for an IPv6 address: then it is unknown.
            if family == socket.AF_INET:
                yield Interface.of(address, prefix_of_mask(mask))
            elif ":" in mask:
                ones = int(ipaddress.IPv6Address(mask.split("%")[0])).bit_count()
                yield Interface.of(address, ones)


def vlans(listed: Path = _VLAN_CONFIG) -> dict[str, int]:
    """VLAN of each tagged interface, from the kernel's own list (Linux 802.1Q).

    The list is root's; for anybody else the kernel is asked by rtnetlink.
    """
    if not listed.exists():
        return {}
    try:
        lines = listed.read_text().splitlines()
    except OSError:
        with contextlib.suppress(OSError), Netlink() as kernel:
            return dict(kernel.vlans())
        return {}
    rows = (
        [cell.strip() for cell in line.split("|")]
        for line in lines
        if line.count("|") == 2  # noqa: PLR2004
    )
    return {name: int(number) for name, number, _ in rows if number.isdigit()}


def medium(name: str, listed: Path = _CLASS_NET) -> Medium:
    """What kind of interface the kernel says it is (Linux); a name alone tells nothing."""
    place = listed / name
    try:
        kind = (place / "type").read_text().strip()
    except OSError:
        return "unknown"
    if (place / "wireless").exists() or (place / "phy80211").exists():
        return "wifi"
    if kind == _LOOPBACK:
        return "loopback"
    if kind in _TUNNELS:
        return "tunnel"
    return "cable" if kind == _ETHERNET else "unknown"


def routes(addresses: Iterable[Address]) -> dict[Address, Route | None]:
    """The kernel's choice for each address; None where it has no way.

    Raises CannotMeasureError if the kernel cannot be asked.
    """
    wanted = list(dict.fromkeys(addresses))
    if sys.platform != "linux":
        return {a: _route_by_socket(a) for a in wanted}
    names = dict(socket.if_nameindex())
    try:
        with Netlink() as kernel:
            return {a: _route(kernel, a, names) for a in wanted}
    except OSError as fault:
        raise CannotMeasureError(f"the kernel's routes cannot be read: {fault}") from fault


def _route(kernel: Netlink, to: Address, names: dict[int, str]) -> Route | None:
    try:
        route = kernel.route(to)
    except OSError:
        return None
    if route is None:
        return None
    index, source, next_hop = route
    return Route(
        interface=names.get(index, str(index)),
        source=_from_bytes(source),
        next_hop=_from_bytes(next_hop),
    )


def _from_bytes(packed: bytes | None) -> Address | None:
    return Address.parse(str(ipaddress.ip_address(packed))) if packed else None


def _route_by_socket(to: Address) -> Route | None:
    """What a connected UDP socket tells (nothing is sent). Untried: macOS, Windows.

    It does not tell the next hop: the unspecified address stands for "a gateway".
    """
    family = socket.AF_INET if to.is_v4 else socket.AF_INET6
    with socket.socket(family, socket.SOCK_DGRAM) as sock:
        try:
            sock.connect((str(to), 9))
        except OSError:
            return None
        source = Address.parse(sock.getsockname()[0])
    for interface in look().interfaces:
        for own in interface.addresses:
            if own.address == source:
                next_hop = None if own.holds(to) else _unspecified(to)
                return Route(interface=interface.name, source=source, next_hop=next_hop)
    return None


def preferred(addresses: Iterable[Address]) -> dict[Address, tuple[str, int]]:
    """The interface this machine's kernel would use for each, and the matching prefix's length.

    Linux only; what it has no way to is left out, and everything where it cannot be asked.
    """
    lengths: dict[Address, tuple[str, int]] = {}
    if sys.platform != "linux":
        return lengths
    names = dict(socket.if_nameindex())
    with contextlib.suppress(OSError), Netlink() as kernel:
        for address in dict.fromkeys(addresses):
            with contextlib.suppress(OSError):
                if (match := kernel.matched(address)) is not None and match[0] in names:
                    lengths[address] = names[match[0]], match[1]
    return lengths


def interface_names() -> frozenset[str]:
    """Names of this machine's interfaces."""
    return frozenset(psutil.net_if_stats())


class LinkState(NamedTuple):
    """Whether an interface is up with a carrier, and how often its carrier changed (Linux)."""

    up: bool
    changes: int = 0


def link_state(name: str, listed: Path = _CLASS_NET) -> LinkState:
    """The state of one interface now; one that is gone is down."""
    if sys.platform != "linux":
        states = psutil.net_if_stats()
        return LinkState(up=name in states and states[name].isup)
    place = listed / name
    try:
        flags = int((place / "flags").read_text(), 16)
        changes = int((place / "carrier_changes").read_text())
        carrier = (place / "carrier").read_text().strip()
    except (OSError, ValueError):  # `carrier` cannot be read of an interface that is set down
        return LinkState(up=False)
    return LinkState(up=bool(flags & _IFF_UP) and carrier != "0", changes=changes)


def _unspecified(like: Address) -> Address:
    return Address.parse("0.0.0.0" if like.is_v4 else "::")  # noqa: S104


def neighbours() -> dict[Address, Mac]:
    """Hardware addresses the kernel has learnt (ARP, IPv6 neighbour discovery); Linux only."""
    if sys.platform != "linux":
        return {}
    with contextlib.suppress(OSError), Netlink() as kernel:
        return {
            Address.parse(str(ipaddress.ip_address(packed))): Mac.parse(mac.hex())
            for _, packed, mac in kernel.neighbours()
            if len(mac) == 6 and any(mac)  # noqa: PLR2004
        }
    return {}


def may_set_addresses(status: Path = Path("/proc/self/status")) -> bool:
    """Whether this process has CAP_NET_ADMIN (Linux; capabilities(7), proc_pid_status(5))."""
    with contextlib.suppress(OSError, ValueError):
        for line in status.read_text(encoding="ascii").splitlines():
            if line.startswith("CapEff:"):
                return bool(int(line.split()[1], 16) >> _CAP_NET_ADMIN & 1)
    return False


# --- during a long measurement ------------------------------------------------------------------

SETTLE_S: Final = 3.0
"""How long after an interface came up again a missing reply is still put down to it: the switch
port and the neighbour's entry come first."""


@dataclass(slots=True)
class _Link:
    """An interface. `good_s`: when it was last seen up, monotonic, and on the grid's clock."""

    state: LinkState
    good_s: tuple[float, float] | None = None
    down_from_s: float | None = None
    doubt: tuple[float, float] = (0.0, 0.0)


class Links:
    """The state of this machine's interfaces, looked at again and again."""

    def __init__(self, names: set[str], look: Callable[[str], LinkState]) -> None:
        self._look = look
        self._links: Mapping[str, _Link] = {name: _Link(look(name)) for name in sorted(names)}

    def is_up(self, name: str) -> bool:
        """Whether it was up when it was last looked at."""
        return self._links[name].state.up

    def look(
        self, now_s: float, monotonic_s: float
    ) -> list[tuple[str, tuple[float, float] | None]]:
        """Looks at all; those that were down since the last look, and the time if it is over."""
        gaps: list[tuple[str, tuple[float, float] | None]] = []
        for name, link in self._links.items():
            state = self._look(name)
            flapped = state.changes != link.state.changes
            good_s, good_monotonic_s = link.good_s or (now_s, monotonic_s)
            if link.down_from_s is None and (not state.up or flapped):
                link.down_from_s = good_s
                link.doubt = (good_monotonic_s, float("inf"))
            if link.down_from_s is not None and state.up:
                gaps.append((name, (link.down_from_s, now_s)))
                link.down_from_s = None
                link.doubt = (link.doubt[0], monotonic_s)
            if state.up:
                link.good_s = now_s, monotonic_s
            link.state = state
        return gaps

    def still_down(self) -> dict[str, float]:
        """Interfaces that are down, each with the grid's time since when."""
        return {n: k.down_from_s for n, k in self._links.items() if k.down_from_s is not None}

    def doubts(self, name: str, sent_s: float, settled_s: float) -> bool:
        """Whether an echo sent then, unanswered, may be this interface's fault.

        Until the first reply after it came up again, `SETTLE_S` at most, it still may.
        """
        start_s, end_s = self._links[name].doubt
        if start_s <= sent_s <= end_s:
            return True
        return end_s < sent_s <= end_s + SETTLE_S and settled_s <= end_s


# --- what a run is made with ---------------------------------------------------------------------

_LIBRARIES = ("icmplib", "pysnmp", "pyasn1", "cryptography", "netaddr", "pydantic")
"""Those that what was seen has passed through."""


def versions() -> dict[str, str]:
    """Version of this program, of Python, of the operating system and of each library."""
    return {
        "plan-verifier": __version__,
        "Python": platform.python_version(),
        platform.system(): platform.release(),
        **{name: metadata.version(name) for name in _LIBRARIES},
    }
