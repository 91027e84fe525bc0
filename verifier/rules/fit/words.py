"""What is said about a laptop and a device: why the relation holds, and what else to know."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from verifier.model.address import Address, Interface
from verifier.model.laptop import Laptop, LaptopInterface, Relation
from verifier.rules.fit.hosts import point_to_point, unusable
from verifier.rules.fit.ways import PacketPath, Way


def interface_name(pair: PacketPath) -> str | None:
    """Where the laptop's packets leave, or where the address is that it would answer from."""
    if pair.route is not None:
        return pair.route.interface
    return next((i.name for i, a in pair.held if a == pair.source), None)


def masks(own: Interface, theirs: Interface) -> str:
    """Both prefix lengths, as a sum of words."""
    return f"the laptop has /{own.prefix}, the device /{theirs.prefix}"


def only_link_local(pair: PacketPath) -> str:
    """The laptop waits for an address in vain."""
    held = pair.held[0][1].address
    why = "no fixed address is set and no DHCP answer came"
    if not held.is_v4:
        why = "no fixed address is set and no router announced a prefix"
    return f"this laptop has only link-local addresses of IPv{held.version} ({held}): {why}"


def shadow(pair: PacketPath) -> str | None:
    """Why the device's packets may leave by another interface than one thinks, or None."""
    assert pair.route is not None
    to, used = pair.at.address, pair.route.interface
    if pair.route.elsewhere is not None:
        return (
            f"this machine's kernel would send to {to} by {pair.route.elsewhere}, not by {used}: "
            f"{_take_down(pair, pair.route.elsewhere)}"
        )
    for interface, own in pair.elsewhere():
        name = _called(interface)
        if not any(a.holds(to) for a in _addresses(pair, used)):
            return f"{name} ({own}) covers {to}, but {_swallowed(pair)}"
        taking = max((a for a in _addresses(pair, used) if a.holds(to)), key=lambda a: a.prefix)
        if own.prefix < taking.prefix:
            why = f"{used} ({taking}) has the longer prefix, so packets leave there"
        else:
            why = f"{used} ({taking}) too, and packets leave there"
        return f"{name} ({own}) covers {to}, {why}: {_take_down(pair, interface.name)}"
    return None


def _take_down(pair: PacketPath, name: str) -> str:
    interface = pair.interface(name)
    if interface is not None and interface.medium == "wifi":
        return f"switch the Wi-Fi ({name}) off while you work"
    return f"if the device is not behind it, take {name} out of the subnet"


def _swallowed(pair: PacketPath) -> str:
    assert pair.route is not None
    interface = pair.interface(pair.route.interface)
    used = _called(interface) if interface else pair.route.interface
    hint = ""
    if interface is not None and interface.medium == "tunnel":
        hint = ": end the VPN, or take this subnet out of it"
    return f"a more specific or preferred route sends it by {used}{hint}"


def _called(interface: LaptopInterface) -> str:
    kinds = {"wifi": " (Wi-Fi)", "tunnel": " (a tunnel, VPN)"}
    return interface.name + kinds.get(interface.medium, "")


def _addresses(pair: PacketPath, name: str) -> Iterator[Interface]:
    return (a for i, a in pair.held if i.name == name)


def routed(pair: PacketPath) -> str:
    """By which gateway each side goes."""
    next_hop = pair.route.next_hop if pair.route else None
    text = f"laptop to device: {_by(pair.there, next_hop)}; "
    text += f"device to laptop: {_by(pair.back, pair.gateway)}. Forwarding in between is not seen"
    if pair.there != pair.back and pair.source is not None:
        text += f"; only one side uses a gateway: {_hears(pair, pair.source)}"
    return text


def one_way(pair: PacketPath) -> str:
    """Who hears whom."""
    if pair.source is None:
        return f"this laptop's packets go towards {pair.at}, but carry no address it could answer"
    if pair.there == "none":
        return (
            f"{pair.at} has a way to {pair.source.address} ({_by(pair.back, pair.gateway)}), but "
            f"this laptop has none to it: {_hears(pair, pair.source)}"
        )
    next_hop = pair.route.next_hop if pair.route else None
    return (
        f"this laptop has a way to {pair.at} ({_by(pair.there, next_hop)}), but the device has "
        f"none back to {pair.source.address}: {_hears(pair, pair.source)}"
    )


def _hears(pair: PacketPath, source: Interface) -> str:
    """Which of the two masks keeps them apart."""
    if source.prefix == pair.at.prefix and source.subnet == pair.at.subnet:
        return "both are in one subnet, yet one of them goes elsewhere by its routes"
    ours, theirs = source.holds(pair.at.address), pair.at.holds(source.address)
    if theirs and not ours:
        return (
            f"the device hears nothing on-link, because the laptop's mask /{source.prefix} is "
            f"narrower than the device's /{pair.at.prefix} and leaves it out"
        )
    if ours and not theirs:
        return (
            f"the laptop's mask /{source.prefix} takes it for on-link, the device's "
            f"/{pair.at.prefix} leaves the laptop out: the device hears, its answers do not arrive "
            "on-link"
        )
    return f"the laptop is in {source.subnet}, the device in {pair.at.subnet}"


def off_subnet(pair: PacketPath) -> str:
    """What the laptop has instead."""
    bare = [i.name for i in pair.laptop.interfaces if i.up and not i.addresses]
    held = ", ".join(f"{a} ({i.name})" for i, a in pair.held)
    text = f"this laptop has {held or _none_held(pair)}"
    if bare:
        text += f"; {', '.join(bare)} is up without an address"
    return f"{text}; the device is in {pair.at.subnet}: neither has a way"


def _none_held(pair: PacketPath) -> str:
    """What a laptop without an address of the device's family has instead."""
    kind = f"IPv{pair.at.version} address"
    down = [
        f"{a} ({i.name})"
        for i in pair.laptop.interfaces
        if not i.up
        for a in i.addresses
        if a.version == pair.at.version
    ]
    return f"no {kind} on an interface that is up, only {', '.join(down)}" if down else f"no {kind}"


def _by(way: Way, next_hop: Address | None) -> str:
    if way == "on-link":
        return "on-link"
    return f"by gateway {next_hop}" if next_hop is not None and next_hop.value else "by a gateway"


def wrong_vlan(pair: PacketPath) -> tuple[str, ...]:
    """A note where the device wants its management in another VLAN than the interface's."""
    device = pair.device
    if not device.management_tagged or device.management_vlan is None:
        return ()
    name = interface_name(pair)
    interface = pair.interface(name) if name is not None else None
    if interface is None or interface.vlan == device.management_vlan:
        return ()
    return (
        (
            f"the device wants its management tagged with VLAN {device.management_vlan}: "
            "works only behind a switch port that tags"
        ),
    )


def notes(pair: PacketPath, relation: Relation) -> Iterator[str]:
    """What else to know about this laptop and this device."""
    if pair.at.address.is_loopback:
        return
    yield from _mask_notes(pair, relation)
    yield from _route_notes(pair, relation)
    yield from _zone_notes(pair)


def _mask_notes(pair: PacketPath, relation: Relation) -> Iterator[str]:
    source = pair.source
    if relation in {"direct", "shadowed"} and source and source.prefix != pair.at.prefix:
        side = "laptop's" if source.prefix < pair.at.prefix else "device's"
        yield (
            f"the masks differ ({masks(source, pair.at)}): these two hear each other, but the "
            f"{side} is the wider and takes more for on-link than the other"
        )
    if pair.at.address.is_v4 and point_to_point(pair.at):
        yield (
            f"{pair.at.subnet} has two hosts and no broadcast address (RFC 3021); not every "
            "operating system takes such a mask"
        )
    for _, own in pair.held:
        seen_from_here = Interface(pair.at.address, own.prefix)
        if own.holds(pair.at.address) and unusable(seen_from_here) and not unusable(pair.at):
            yield f"seen from this laptop ({own}), {unusable(seen_from_here)}"


def _route_notes(pair: PacketPath, relation: Relation) -> Iterator[str]:
    for interface in pair.laptop.interfaces:
        for own in () if interface.up else interface.addresses:
            if own.holds(pair.at.address):
                yield (
                    f"{interface.name} ({own}) covers {pair.at.address}, but it is down or has no "
                    "carrier: is the cable in?"
                )
    if pair.route is None:
        return
    if relation not in {"shadowed", "clash"}:
        for interface, own in pair.elsewhere():
            yield f"{_called(interface)} ({own}) covers {pair.at.address}, but {_swallowed(pair)}"
    used = pair.interface(pair.route.interface)
    cables = [i.name for i in pair.laptop.interfaces if i.up and i.medium == "cable"]
    if used is not None and used.medium == "wifi" and cables:
        yield f"packets leave by the Wi-Fi {used.name}, although {cables[0]} has a cable"


def _zone_notes(pair: PacketPath) -> Iterator[str]:
    at = pair.at.address
    if not at.is_link_local or at.is_v4:
        return
    if at.zone and pair.interface(at.zone) is None:
        yield f"this laptop has no interface {at.zone!r}, which the zone of {at} names"
    elif not at.zone:
        yield f"{at} is link-local: its zone says which interface is meant, as in {at}%eth0"


def laptop_notes(laptop: Laptop) -> tuple[str, ...]:
    """What is odd about the laptop as a whole, whatever device is asked about."""
    return tuple(_laptop_notes([i for i in laptop.interfaces if i.medium != "loopback"]))


def _laptop_notes(interfaces: Iterable[LaptopInterface]) -> Iterator[str]:
    up = [i for i in interfaces if i.up]
    for n, one in enumerate(up):
        for other in up[n + 1 :]:
            yield from _overlap(one, other)
    wireless = [i.name for i in up if i.medium == "wifi" and i.addresses]
    cables = [i.name for i in up if i.medium == "cable"]
    if wireless and cables:
        yield f"Wi-Fi ({wireless[0]}) and cable ({cables[0]}) are both up"
    for interface in up:
        v4 = [a for a in interface.addresses if a.address.is_v4]
        if not interface.addresses and interface.medium == "cable":
            yield f"{interface.name}: cable in, no address"
        elif v4 and all(a.address.is_link_local for a in v4):
            yield (
                f"{interface.name}: only the link-local {v4[0].address}: no fixed address is set "
                "and no DHCP answer came (RFC 3927)"
            )
        for own in v4:
            if (why := unusable(own)) is not None and not own.address.is_loopback:
                yield f"{interface.name}: {why}"


def _overlap(one: LaptopInterface, other: LaptopInterface) -> Iterator[str]:
    if one.name == other.name:
        return
    for mine in one.addresses:
        for theirs in other.addresses:
            if mine.address.is_link_local or theirs.address.is_link_local:
                continue
            wide, narrow = sorted((mine, theirs), key=lambda a: a.prefix)
            if wide.holds(narrow.address):
                yield (
                    f"{_called(one)} ({mine}) and {_called(other)} ({theirs}) are in one subnet: "
                    "packets may leave by the wrong one"
                )
