"""Settings of a device in the order in which they are entered; what cuts the connection comes last.

Identity first, so that a device is never taken for another; the transmitter off before anything of
the radio is changed; the address last, because the page that it is entered on goes away with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from verifier.model.plan import Carrier, Device, End, EndName, Host, Link, Plan
from verifier.model.profile import Profile
from verifier.rules import radio
from verifier.rules.cards.parts import CardLine, figure
from verifier.rules.radio import levels

Ends = list[tuple[Link, Carrier, EndName]]


def settings(
    plan: Plan, device: Device, ends: Ends, profiles: Mapping[str, Profile]
) -> Iterator[CardLine]:
    """Every planned setting of a device, each with a box to tick."""
    yield CardLine("Name", device.name, "box")
    if location := device.location or device.site:
        yield CardLine("Location", location, "box")
    if device.software:
        yield CardLine("Software", device.software, "box", "check before setting anything")
    if ends:
        yield CardLine("Transmitter", "off", "box", "until the antenna or attenuator is connected")
    for link, carrier, name in ends:
        several = f" carrier {carrier.carrier}" if len(ends) > 1 else ""
        for row in _of_radio(link, carrier, name, profiles[device.profile]):
            yield CardLine(row.what + several, row.value, row.fill, row.note)
    yield from _ports(device)
    yield from _of_management(plan, device)
    yield CardLine("Address", f"{device.address}", "box", f"mask {device.address.mask}")
    if device.gateway is not None:
        yield CardLine("Gateway", str(device.gateway), "box", "last: the connection ends here")
    elif device.no_gateway:
        yield CardLine("Gateway", "none", "box", "see that none is set")
    yield CardLine("Saved", "read again after a restart", "box")
    if ends:
        yield CardLine("Transmitter", "on", "box", "on site, nobody in front of the antenna")


def _of_radio(link: Link, carrier: Carrier, name: EndName, profile: Profile) -> Iterator[CardLine]:
    end, far = (carrier.a, carrier.b) if name == "a" else (carrier.b, carrier.a)
    rows = (
        ("Feature key", figure(link.key_capacity_mbps, "Mbit/s"), ""),
        ("Bandwidth", figure(link.bandwidth_mhz, "MHz"), _channel(link)),
        ("Tx frequency", figure(end.tx_mhz, "MHz"), ""),
        ("Rx frequency", figure(far.tx_mhz, "MHz"), _spacing(link)),
        ("Polarisation", carrier.polarisation or "", ""),
        ("Link id", end.link_id or "", ""),
        ("Modulation", _modulation(link), ""),
        ("Capacity", figure(link.capacity_mbps, "Mbit/s"), _shared(link)),
        ("Tx power", figure(end.tx_power_dbm, "dBm"), _aligning(link, end, profile)),
        ("ATPC", _atpc(end), "off while aligning" if end.atpc else ""),
    )
    for what, value, note in rows:
        if value:
            yield CardLine(what, value, "box", note)


def _shared(link: Link) -> str:
    """The planned capacity is the link's, whatever number of carriers it goes over."""
    count = radio.carrying(link)
    return f"of the link, over {count} carriers together" if count > 1 else ""


def _channel(link: Link) -> str:
    parts = (link.raster, f"channel {link.channel}" if link.channel else "")
    return ", ".join(p for p in parts if p)


def _spacing(link: Link) -> str:
    if link.duplexing == "tdd":
        return "time division"
    spacing = figure(link.duplex_spacing_mhz, "MHz")
    return f"spacing {spacing}" if spacing else ""


def _modulation(link: Link) -> str:
    lowest, highest = link.modulation_min, link.modulation_max
    if not (lowest and highest) or lowest == highest:
        return highest or lowest or ""
    return f"{lowest} to {highest}{', adaptive' if link.adaptive else ''}"


def _aligning(link: Link, end: End, profile: Profile) -> str:
    """The power while aligning; where the licence limits nothing, that is for a person to look."""
    power = levels.alignment_power(link, end, profile)
    words = "" if isinstance(power, str) else f"aligning {figure(power.value, 'dBm')}, {power.how}"
    if words and end.max_eirp_dbm is None:
        words += "; look into the licence"
    return words


def _atpc(end: End) -> str:
    if end.atpc is None:
        return ""
    if not end.atpc:
        return "off"
    lowest, highest = figure(end.atpc_min_dbm, "dBm"), figure(end.atpc_max_dbm, "dBm")
    target = figure(end.atpc_target_dbm, "dBm")
    parts = (f"{lowest} to {highest}" if lowest and highest else "", target and f"keeps {target}")
    return ", ".join(("on", *(p for p in parts if p)))


def _ports(device: Device) -> Iterator[CardLine]:
    for port in device.ports:
        speed = figure(port.speed_mbps, "Mbit/s")
        mtu = f"MTU {port.mtu}" if port.mtu else ""
        cable = " ".join(p for p in (port.media or "", figure(port.cable_m, "m")) if p)
        parts = (port.status or "", speed, port.duplex or "", mtu)
        to = f"to {port.neighbour}" if port.neighbour else ""
        value = ", ".join(p for p in parts if p)
        yield CardLine(f"Port {port.name}", value, "box", ", ".join(p for p in (to, cable) if p))


def _of_management(plan: Plan, device: Device) -> Iterator[CardLine]:
    if device.snmp is not None:
        yield CardLine("SNMP", f"entry {device.snmp}", "box", "keys: credentials file")
    told: dict[str, list[str]] = {}
    for use, what in (("trap", "Traps"), ("syslog", "Syslog"), ("ntp", "Time")):
        if hosts := [_host(h) for h in plan.management.hosts if use in h.uses]:
            told.setdefault(", ".join(hosts), []).append(what)
    for hosts_, whats in told.items():
        yield CardLine(", ".join((whats[0], *(w.lower() for w in whats[1:]))), hosts_, "box")
    if device.services.closed:
        closed = ", ".join(map(str, device.services.closed))
        yield CardLine("Services off", closed, "box")
    if device.management_vlan is not None:
        tagged = {True: "tagged", False: "untagged", None: ""}[device.management_tagged]
        value = f"{device.management_vlan} {tagged}".strip()
        yield CardLine("Management VLAN", value, "box", "with the address: the connection may end")


def _host(host: Host) -> str:
    return f"{host.name} {host.address}"
